"""`suntally read`: what logs hold, how sure that is, what is asked; and a map to complete.

Nothing is stored and no report is made: it is the look before a log counts.
"""

import argparse
import textwrap
import time
from typing import TYPE_CHECKING

from service.progress import Progress
from service.report_files import (
    check_outputs,
    in_plain_words,
    map_of,
    say,
    site_of,
    sources_of,
    write_all,
)

if TYPE_CHECKING:
    from analysis.clock_check.whole_log import ClockSeen
    from analysis.errors import LogError
    from analysis.logs.shapes import ParsedLog
    from analysis.record import Record
    from analysis.site import LogMap, Site

ALL_UNDERSTOOD = 0
SOMETHING_OPEN = 1
_WRITTEN = "\nThe map is written to {name}: read it, complete it, give it with --map.\n"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "logs", metavar="FILE", nargs="+", help="logs of one site: CSV or TSV, also .gz or .zip"
    )
    parser.add_argument(
        "--site", metavar="SITE.toml", help="the site file: its place and zone make it surer"
    )
    parser.add_argument("--map", metavar="MAP.toml", help="a [log] table to read the files with")
    parser.add_argument(
        "--map-out", metavar="MAP.toml", help="write what is certain, and what is asked as comments"
    )


def run(args: argparse.Namespace) -> int:
    """Show what was understood; give the exit status."""
    return in_plain_words("read", lambda progress: _run(args, progress))


def _run(args: argparse.Namespace, progress: Progress) -> int:
    from analysis.apart import apart_words
    from analysis.clock_check.whole_log import clock_question
    from analysis.errors import LogError
    from analysis.logs.against_map import contradiction
    from analysis.logs.proposed_map import proposed_map
    from analysis.logs.reading import read_logs
    from analysis.record import record_from_stamps
    from analysis.site import LogMap
    from dashboards.read_text import map_text, read_text

    check_outputs(inputs=(args.site, args.map, *args.logs), outputs={"--map-out": args.map_out})
    site = site_of(args.site) if args.site else None
    log_map = map_of(args.map)
    sources = sources_of(args.logs, progress)
    told = log_map or (site.log if site is not None else LogMap())
    try:
        parsed = read_logs(
            sources, site=site, log_map=log_map, now_s=int(time.time()), keep_open=True
        )
    except LogError as error:
        return _unread(error, told, args.map_out, progress)
    clock = _clock(parsed, site, told)
    asked = clock_question(clock, files=[one.name for one in parsed.files])
    files = {}
    if args.map_out:
        questions = parsed.questions if asked is None else (*parsed.questions, asked)
        files[args.map_out] = map_text(proposed_map(parsed.files, told=told), questions)
    write_all(files)
    progress.clear()
    record = record_from_stamps(stamp_s=parsed.stamp_s, columns=parsed.columns, stamp=parsed.stamp)
    say(
        read_text(
            parsed.files,
            ranges=_ranges(parsed, record),
            notes=apart_words(record),
            questions=parsed.questions,
            set_aside=parsed.set_aside,
            impossible=parsed.impossible,
            timezone=site.place.timezone if site is not None else told.timezone or "UTC",
        )
    )
    contradicted = contradiction(parsed)
    if contradicted is not None:
        say("\n" + textwrap.fill(f"Look at the map: {contradicted}.", width=78) + "\n")
    if clock is not None:
        say("\n" + textwrap.fill(f"By the sun: {_said(clock)}.", width=78) + "\n")
    if args.map_out:
        say(_WRITTEN.format(name=args.map_out))
    all_clear = not (parsed.questions or parsed.problems or contradicted)
    return ALL_UNDERSTOOD if all_clear else SOMETHING_OPEN


def _unread(error: "LogError", told: "LogMap", map_out: str | None, progress: Progress) -> int:
    """Show what has to be answered before a log can be read; without a question, it cannot be."""
    from dashboards.read_text import map_text, questions_text

    if not error.questions:
        raise error
    if map_out:
        write_all({map_out: map_text(told, error.questions)})
    progress.clear()
    say(f"{error}\n\n{questions_text(error.questions)}")
    if map_out:
        say(_WRITTEN.format(name=map_out))
    return SOMETHING_OPEN


def _clock(parsed: "ParsedLog", site: "Site | None", told: "LogMap") -> "ClockSeen | None":
    """Look what the sun tells of the clock; None without a site file or where too few days do."""
    from analysis.clock_check.whole_log import look_at_clock

    return None if site is None else look_at_clock(parsed, site=site, log_map=told)


def _said(clock: "ClockSeen") -> str:
    """Say what a clock does, and which keys of the map would put it right."""
    from analysis.clock_check.proposal import keys_of

    keys = " or ".join(keys_of(one) for one in clock.corrections)
    return f"{clock.says}; to put it right, write in [log]: {keys}" if keys else clock.says


def _ranges(parsed: "ParsedLog", record: "Record") -> dict[str, tuple[float, float]]:
    """Give the lowest and highest value of each channel, and of each column left open."""
    found = {}
    for name, values in (*record.columns.items(), *record.daily.items()):
        used = values[values == values]
        if used.shape[0]:
            found[name] = (float(used.min()), float(used.max()))
    for key, values in parsed.open_columns.items():
        used = values[values == values]
        if used.shape[0]:
            found[key] = (float(used.min()), float(used.max()))
    return found
