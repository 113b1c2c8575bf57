"""`suntally report`: one site file and its logs in, a report out, nothing kept.

Everything heavy is imported where it is used, so that `--help` and a wrong argument answer at
once. Whatever goes wrong ends in one plain message on standard error and status 2.
"""

import argparse
import json
import sys
import time
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from service.progress import Progress
from service.report_files import (
    STDOUT,
    CannotReportError,
    bytes_of,
    check_outputs,
    in_plain_words,
    map_of,
    say,
    site_of,
    sources_of,
    write_all,
)

if TYPE_CHECKING:
    from analysis.logs.shapes import ParsedLog
    from analysis.record import Record
    from analysis.results import Report
    from analysis.site import LogMap, Site
    from analysis.weather import Weather
    from dashboards.texts import Texts

MADE = 0
MADE_WITH_REJECTED_INPUT = 1
_EARLIEST, _LATEST = date(1950, 1, 1), date(2200, 12, 31)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("site", metavar="SITE.toml", help="the site file")
    parser.add_argument(
        "logs", metavar="LOG", nargs="+", help="logs of the site: CSV or TSV, also .gz or .zip"
    )
    parser.add_argument("--map", metavar="MAP.toml", help="a [log] table: how to read the logs")
    parser.add_argument(
        "--weather",
        metavar="FILE",
        help="hourly weather of the log's own days (EPW, TMY3 layout, PVGIS hourly, tidy CSV)",
    )
    parser.add_argument("--json", metavar="FILE", help="write the machine report; - for stdout")
    parser.add_argument("--html", metavar="FILE", help="write one self-contained page with plots")
    parser.add_argument("--from", dest="first", metavar="DATE", help="first local day, 2025-06-01")
    parser.add_argument("--to", dest="last", metavar="DATE", help="last local day, included")


def run(args: argparse.Namespace) -> int:
    """Make the report; give the exit status."""
    return in_plain_words("report", lambda progress: _run(args, progress))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Input:
    site: "Site"
    parsed: "ParsedLog"
    record: "Record"
    weather: "Weather | None"


def _run(args: argparse.Namespace, progress: Progress) -> int:
    first, last = _dates(args.first, args.last)
    check_outputs(
        inputs=(args.site, *args.logs, args.map, args.weather),
        outputs={"--json": args.json, "--html": args.html},
    )
    given = _read(args, progress, first=first, last=last)
    progress.say("Working out heat and faults")
    report = _assessed(given, first=first, last=last)
    files: dict[str, str] = {}
    if args.html:
        progress.say("Drawing the page")
        files[args.html] = _page(report, given)
    if args.json and args.json != STDOUT:
        files[args.json] = _json(report, ascii_only=False)
    write_all(files)
    progress.clear()
    if args.json == STDOUT:
        say(_json(report, ascii_only=True))  # whatever encoding it has, ASCII passes
    elif sys.stdout is not None or not files:
        say(_readable(report, given))
    rejected = given.parsed.problems or given.parsed.rows.rejected
    return MADE_WITH_REJECTED_INPUT if rejected else MADE


def _readable(report: "Report", given: _Input) -> str:
    from dashboards.logs_text import logs_text
    from dashboards.report_text import render_text

    parsed = given.parsed
    logs = logs_text(
        parsed.files,
        unseen=parsed.unseen,
        impossible=parsed.impossible,
        questions=parsed.questions,
    )
    return render_text(report, texts=_texts(), set_aside=parsed.set_aside, logs=logs)


def _read(
    args: argparse.Namespace, progress: Progress, *, first: date | None, last: date | None
) -> _Input:
    """Read everything, check it and cut it to the asked days and their neighbours."""
    from analysis.logs.against_map import contradicting, contradiction
    from analysis.logs.proposed_map import columns_of
    from analysis.logs.reading import read_logs
    from analysis.record import record_from_stamps
    from analysis.sunfit import check_sun

    site = site_of(args.site)
    log_map = map_of(args.map)
    weather = _weather(args.weather, site)
    sources = sources_of(args.logs, progress)
    parsed = read_logs(sources, site=site, log_map=log_map, now_s=int(time.time()))
    del sources
    contradicted = contradiction(parsed)
    if contradicted is not None:
        seen = contradicting(columns_of(parsed.files))
        entries = " and ".join(
            f'"{key}": despite = {json.dumps(said)}' for key, said in seen.items()
        )
        raise CannotReportError(
            f"{contradicted}; give that file with a map of its own, or, if the map is right, say "
            f"so in its entry: {entries}"
        )
    record = record_from_stamps(stamp_s=parsed.stamp_s, columns=parsed.columns, stamp=parsed.stamp)
    misfit = check_sun(site=site, record=record)
    if misfit:
        keys = _clock_keys(parsed, site, log_map)
        raise CannotReportError(f"{', '.join(args.logs[:3])}: {misfit}{keys}")
    cut = _cut(record, first=first, last=last, timezone=site.place.timezone)
    if weather is not None:
        _check_covers(weather, cut, args.weather, site.place.timezone)
    return _Input(site=site, parsed=parsed, record=cut, weather=weather)


def _clock_keys(parsed: "ParsedLog", site: "Site", log_map: "LogMap | None") -> str:
    """Name the keys that would put the clock right, "" where too few days tell."""
    from analysis.clock_check.proposal import keys_of
    from analysis.clock_check.whole_log import look_at_clock

    seen = look_at_clock(parsed, site=site, log_map=log_map or site.log)
    keys = " or ".join(keys_of(one) for one in seen.corrections) if seen is not None else ""
    return f". If it is the clock, write in [log]: {keys}" if keys else ""


def _assessed(given: _Input, *, first: date | None, last: date | None) -> "Report":
    from analysis.assess import assess, observe
    from analysis.days import local_midnight_s, part_of, span_s

    site, record, parsed = given.site, given.record, given.parsed
    channels = frozenset(parsed.columns)
    zone = site.place.timezone
    table = observe(site=site, record=record, channels=channels, weather=given.weather)
    span = span_s(table)
    assert span is not None  # the record has rows
    start_s, end_s = span
    if first is not None or last is not None:
        # The neighbours were wanted only to see the edges of the asked days.
        start_s = max(start_s, local_midnight_s(first, zone)) if first else start_s
        end_s = min(end_s, local_midnight_s(last + timedelta(days=1), zone)) if last else end_s
        low, high = first or date.min, last or date.max
        asked = [low <= date.fromisoformat(day) <= high for day in table.days.dates]
        start = asked.index(True)
        table = part_of(table, first=start, last=start + sum(asked))
    return assess(
        site=site,
        table=table,
        start_s=start_s,
        end_s=end_s,
        until_s=end_s,
        channels=channels,
        rows=parsed.rows,
        rejected=parsed.rejected,
    )


def _cut(record: "Record", *, first: date | None, last: date | None, timezone: str) -> "Record":
    """Keep the rows of the asked local days and of their neighbours."""
    from analysis.assess import MARGIN_DAYS
    from analysis.days import local_midnight_s
    from dashboards import format as fmt

    if first is None and last is None:
        return record
    start_s = record.start_s
    end_s = record.start_s + record.step_s
    low, high = int(start_s[0]), int(end_s[-1])
    asked_from = local_midnight_s(first, timezone) if first else low
    asked_to = local_midnight_s(last + timedelta(days=1), timezone) if last else high
    if not bool(((start_s < asked_to) & (end_s > asked_from)).any()):
        raise CannotReportError(
            "the logs hold nothing in the days asked for; they cover "
            f"{fmt.span(low, high, timezone)}. Change --from and --to"
        )
    margin = timedelta(days=MARGIN_DAYS)
    if first:
        low = local_midnight_s(first - margin, timezone)
    if last:
        high = local_midnight_s(last + timedelta(days=1) + margin, timezone)
    return record.part(
        int(start_s.searchsorted(low, side="left")), int(start_s.searchsorted(high, side="left"))
    )


def _dates(first: str | None, last: str | None) -> tuple[date | None, date | None]:
    def read(option: str, text: str | None) -> date | None:
        if text is None:
            return None
        try:
            # No log reaches beyond these days, and neighbours of a day must be days, too.
            return min(max(date.fromisoformat(text), _EARLIEST), _LATEST)
        except ValueError:
            raise CannotReportError(
                f"{option} is '{text}', which is no date; write it as 2025-06-01"
            ) from None

    start, end = read("--from", first), read("--to", last)
    if start and end and start > end:
        raise CannotReportError(
            f"--from {start} is later than --to {end}; both days are included, exchange them"
        )
    return start, end


def _weather(name: str | None, site: "Site") -> "Weather | None":
    if name is None:
        return None
    from analysis.weatherfile import parse_weather

    return parse_weather(name, bytes_of(name), site=site)


def _check_covers(weather: "Weather", record: "Record", name: str, timezone: str) -> None:
    from analysis.weather import HOUR_S
    from dashboards import format as fmt

    inside = (weather.time_s < record.start_s[-1]) & (weather.time_s + HOUR_S > record.start_s[0])
    if bool(inside.any()):
        return
    logged = fmt.span(int(record.start_s[0]), int(record.start_s[-1] + record.step_s[-1]), timezone)
    covered = fmt.span(int(weather.time_s[0]), int(weather.time_s[-1]) + HOUR_S, timezone)
    raise CannotReportError(
        f"{name} covers {covered}, the logs cover {logged}; give weather of the log's own days, "
        "or leave --weather out"
    )


def _texts() -> "Texts":
    from analysis.faults import CATALOGUE

    return {fault.kind: fault.text for fault in CATALOGUE}


def _page(report: "Report", given: _Input) -> str:
    from dashboards.report_page import render_report

    return render_report(report, given.site, texts=_texts(), record=given.record)


def _json(report: "Report", *, ascii_only: bool) -> str:
    from analysis.results import report_json

    text = json.dumps(report_json(report), ensure_ascii=ascii_only, allow_nan=False, indent=1)
    return text + "\n"
