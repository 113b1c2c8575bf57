"""The one door to logs: files in, one series and an honest account out.

Tidy logs need no map. A map (or the site's `[log]`) may tell column meanings, delimiter, decimal
sign, time format, zone and origin of the stamps; see `analysis.sitefile` for its keys.
"""

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

from analysis.channels import channel
from analysis.errors import LogError
from analysis.logs.joining import count_impossible, join, settle_shares
from analysis.logs.massflow import volume_flow_l_min
from analysis.logs.onefile import FileValues, Told, read_file
from analysis.logs.shapes import PROBLEMS_LISTED, LogSource, ParsedLog, ProblemList
from analysis.logs.stamps import StampFormat
from analysis.results import RowCount
from analysis.site import LogMap, Site


def read_logs(
    files: Sequence[LogSource],
    *,
    site: Site | None,
    log_map: LogMap | None = None,
    now_s: int | None = None,
    listed: int = PROBLEMS_LISTED,
) -> ParsedLog:
    """Read the logs of a site, in any order, overlapping or not.

    A pump or backup column without a unit, a tidy one too, is taken for 0/1 where it never goes
    above 1, else for percent.

    Parameters
    ----------
    files : sequence of LogSource
        Names and bytes, unpacked (see `analysis.logs.archives.unpack`).
    site : Site or None
        Its `[log]` table, zone, fluid and place of the flow meter count. Without one, as in a
        first look at a log, a clock that nothing tells is taken for UTC.
    log_map : LogMap, optional
        A map; what it says goes before the site's `[log]`.
    now_s : int, optional
        Present time, UTC epoch seconds; rows more than a day later are rejected [s].
    listed : int
        How many problems are listed; all are counted.

    Returns
    -------
    ParsedLog
        Values on strictly rising stamps as written, and everything that was not kept. A file of
        which nothing is usable is one problem without a line, as long as another file is.

    Raises
    ------
    LogError
        Nothing usable came out of any file.
    """
    if not files:
        raise LogError("no log was given; name at least one log file")
    log_map = _together(log_map, LogMap() if site is None else site.log)
    told = Told(
        log_map=log_map,
        zone=log_map.timezone or ("UTC" if site is None else site.place.timezone),
        now_s=now_s,
        stamp=log_map.stamp or "end",
    )
    problems = ProblemList(most=listed)
    read = _read_all(files, told, problems)
    _to_volume_flow(read, site)
    settle_shares(read)
    impossible = count_impossible(read)
    accounts = tuple(one.account for one in read)
    rows_read = sum(one.read for one in read)
    kept_once = sum(account.rows for account in accounts)
    stamp_s, columns = join(read)
    return ParsedLog(
        stamp_s=stamp_s,
        stamp=told.stamp,
        values=log_map.values,
        columns=columns,
        rows=RowCount(
            read=rows_read,
            kept=len(stamp_s),
            duplicate=kept_once - len(stamp_s),
            rejected=rows_read - kept_once,
        ),
        rejected=tuple(problems.listed),
        problems=problems.total,
        files=accounts,
        impossible=impossible,
        unseen=tuple(
            head
            for head, meaning in log_map.columns
            if meaning.channel not in columns and channel(meaning.channel) is not None
        ),
    )


def _to_volume_flow(read: Sequence[FileValues], site: Site | None) -> None:
    for one in read:
        for name in one.mass_flows:
            one.values[name] = volume_flow_l_min(
                flow_kg_min=one.values[name], values=one.values, site=site
            )


def _together(log_map: LogMap | None, site_map: LogMap) -> LogMap:
    """Let a map go before the site's own table, key by key."""
    if log_map is None:
        return site_map
    said: dict[str, Any] = {
        field.name: getattr(log_map, field.name)
        for field in fields(LogMap)
        if getattr(log_map, field.name) not in (None, ())
    }
    return replace(site_map, **said)


def _read_all(files: Sequence[LogSource], told: Told, problems: ProblemList) -> list[FileValues]:
    """Read each file; dates that one file leaves open may be told by another."""
    hints: dict[str, StampFormat] = {}
    read: dict[int, FileValues] = {}
    errors: dict[int, LogError] = {}
    waiting = list(enumerate(files))
    while waiting:
        known = len(hints)
        errors = {}
        again = []
        for place, source in waiting:
            own = ProblemList(most=problems.most)
            try:
                read[place] = read_file(source, told=told, problems=own, hints=hints)
            except LogError as unusable:
                errors[place] = unusable
                again.append((place, source))
                continue
            problems.extend(own.listed, total=own.total)
        # Only a new proof of the order of day and month can change the answer.
        waiting = again if again and len(hints) > known else []
    if not read:
        raise next(iter(errors.values()))
    for place, error in sorted(errors.items()):
        problems.add(file=files[place].name, line=error.line, column=error.column, why=error.what)
    return [read[place] for place in sorted(read)]
