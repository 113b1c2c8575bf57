"""The one door to logs: files in, one series and an honest account out.

Tidy logs need no map. A map (or the site's `[log]`) may tell column meanings, delimiter, decimal
sign, time format, zone and origin of the stamps; see `analysis.sitefile` for its keys.
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import fields, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.channels import channel
from analysis.errors import LogError
from analysis.logs.against_map import with_own
from analysis.logs.asking import Proposal, Question
from analysis.logs.bounds import Known
from analysis.logs.degrees_change import degrees_change_at
from analysis.logs.joining import count_impossible, join, settle_shares
from analysis.logs.layout import nothing_known
from analysis.logs.massflow import volume_flow_l_min
from analysis.logs.onefile import RowsRead, read_rows
from analysis.logs.planning import FilePlan, Told, open_order, plan_file, settle_orders
from analysis.logs.proposals_of_files import (
    Proposals,
    alike,
    own_proposals_of_files,
    proposals_of_files,
    sure,
)
from analysis.logs.proposing import is_mapped, is_open, proposals_for_series
from analysis.logs.register_scale import asked_for_scale
from analysis.logs.repeats import lost_time
from analysis.logs.set_aside import groups_of
from analysis.logs.shapes import (
    PROBLEMS_LISTED,
    FileRead,
    LogSource,
    ParsedLog,
    ProblemList,
    quoted,
)
from analysis.logs.summaries import bare_dates, on_their_days
from analysis.logs.tenths import asked_for_tenths
from analysis.logs.understanding import FileValues, file_values, wide_plan, with_proposals
from analysis.results import RowCount
from analysis.site import LogMap, Site

# A counter that starts anew may stand in a few rows of one date (engineering judgement).
_MOST_ROWS_A_DATE = 4


def read_logs(
    files: Sequence[LogSource],
    *,
    site: Site | None,
    log_map: LogMap | None = None,
    now_s: int | None = None,
    listed: int = PROBLEMS_LISTED,
    keep_open: bool = False,
    beyond_map: bool = True,
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
        Present time, UTC epoch seconds; rows more than a day later are set aside [s].
    listed : int
        How many problems are listed; all are counted.
    keep_open : bool
        Whether to read the columns whose meaning is not sure too, as a preview needs them.
    beyond_map : bool
        Whether columns that the map does not name are read too where what they hold is sure. Where
        somebody chose what counts they stay out.

    Returns
    -------
    ParsedLog
        Values on strictly rising stamps as written, and everything that was not kept. A file of
        which nothing is usable is one problem without a line, as long as another file is.

    Raises
    ------
    LogError
        Nothing usable came out of any file, or they change from °C to °F on the way.
    """
    if not files:
        raise LogError("no log was given; name at least one log file")
    log_map = _together(log_map, LogMap() if site is None else site.log)
    told = Told(
        log_map=log_map,
        zone=log_map.timezone or ("UTC" if site is None else site.place.timezone),
        zone_from="map" if log_map.timezone is not None else "site",
        now_s=now_s,
        stamp=log_map.stamp or "end",
        place_zone=(log_map.timezone or "UTC") if site is None else site.place.timezone,
    )
    problems = ProblemList(most=listed)
    read, asked = _read_all(
        files, told, problems, site=site, keep_open=keep_open, beyond_map=beyond_map
    )
    _to_volume_flow(read, site)
    settle_shares(read)
    impossible = count_impossible(read)
    accounts = tuple(one.account for one in read)
    rows_read = sum(one.read for one in read)
    kept_once = sum(account.rows for account in accounts)
    added = _rows_added(read)
    bounds = read[0].bounds if len(read) == 1 else {}
    stamp_s, columns, open_columns = join(read)
    read.clear()
    _give_back()
    _of_one_kind_of_degrees(stamp_s, columns, accounts, bounds)
    return ParsedLog(
        stamp_s=stamp_s,
        stamp=told.stamp,
        values=log_map.values,
        columns=columns,
        rows=RowCount(
            read=rows_read,
            kept=len(stamp_s) - added,
            duplicate=kept_once - (len(stamp_s) - added),
            rejected=rows_read - kept_once,
        ),
        rejected=tuple(problems.listed),
        problems=problems.total,
        files=accounts,
        open_columns=open_columns,
        left_out=tuple(asked),
        impossible=impossible,
        unseen=tuple(
            head
            for head, meaning in log_map.columns
            if meaning.channel not in columns and channel(meaning.channel) is not None
        ),
    )


def _give_back() -> None:
    """Give back what the parser worked in; a process would hold it for as long as it lives."""
    import pyarrow as pa

    pa.default_memory_pool().release_unused()


def _of_one_kind_of_degrees(
    stamp_s: NDArray[np.int64],
    columns: Mapping[str, NDArray[np.float64]],
    accounts: Sequence[FileRead],
    bounds: Known,
) -> None:
    """Refuse logs whose temperatures change from °C to °F, or back, without a word."""
    found = degrees_change_at(stamp_s, columns, bounds)
    if found is None:
        return
    at_s, upward = found
    kinds = ("°C to °F", "°F to °C")
    when = datetime.fromtimestamp(at_s, tz=UTC).strftime("%Y-%m-%d %H:%M")
    name = next((one.name for one in accounts if one.first_s <= at_s <= one.last_s), None)
    raise LogError(
        f"at {when} UTC all temperatures leap at once, as from {kinds[0 if upward else 1]}, though "
        "no head says so; cut the file there and give both parts on their own, each with its unit",
        file=name,
    )


def _rows_added(read: Sequence[FileValues]) -> int:
    """Count the stamps that hold nothing but figures of days of files with other rows, too."""
    added_s = np.unique(np.concatenate([one.added_s for one in read]))
    if not len(added_s):
        return 0
    own_s = [one.stamp_s[: len(one.stamp_s) - len(one.added_s)] for one in read]
    return len(np.setdiff1d(added_s, np.concatenate(own_s)))


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


def _read_all(
    files: Sequence[LogSource],
    told: Told,
    problems: ProblemList,
    *,
    site: Site | None,
    keep_open: bool,
    beyond_map: bool,
) -> tuple[list[FileValues], list[Question]]:
    """Read all files; give the usable ones, and what keeps others from being read."""
    errors: dict[int, LogError] = {}
    plans: list[FilePlan] = []
    for place, source in enumerate(files):
        try:
            made = plan_file(source, told)
        except LogError as unusable:
            errors[place] = unusable
            continue
        plans.extend(replace(plan, source=place) for plan in made)
    settled, unsettled = settle_orders(plans, told)
    del plans
    for plan, question in unsettled:
        errors[plan.source] = open_order(question, plan)
    proposals = proposals_of_files(settled, told, site, beyond_map=beyond_map)
    read: list[FileValues] = []
    with ThreadPoolExecutor(max_workers=1) as beside:
        # The parser leaves the interpreter to others: what mapped columns show by themselves is
        # worked out meanwhile.
        own_proposals = beside.submit(own_proposals_of_files, tuple(settled), told, site)
        settled.reverse()
        while settled:
            plan = settled.pop()  # its text is let go of when it is read
            own = ProblemList(most=problems.most)
            try:
                found = _read_one(
                    plan,
                    told,
                    own,
                    proposals.get(alike(plan), ()),
                    own_proposals,
                    site=site,
                    keep_open=keep_open,
                    beyond_map=beyond_map,
                )
            except LogError as unusable:
                errors[plan.source] = unusable
                continue
            account = replace(found.account, set_aside=groups_of(plan, own))
            read.append(replace(found, account=account, bundle=files[plan.source].bundle))
            problems.extend(own)
    own_proposals.result()  # what is wrong with a sample of a file is wrong with the log
    if not read:
        first = errors[min(errors)]
        first.questions = tuple(one for error in errors.values() for one in error.questions)
        raise first
    for place, error in sorted(errors.items()):
        problems.add(file=files[place].name, line=error.line, column=error.column, why=error.what)
    return read, [one for error in errors.values() for one in error.questions]


def _read_one(
    plan: FilePlan,
    told: Told,
    problems: ProblemList,
    proposals: tuple[Proposal, ...],
    own_proposals: Future[Proposals],
    *,
    site: Site | None,
    keep_open: bool,
    beyond_map: bool,
) -> FileValues:
    key, own = alike(plan), None
    if plan.long is None:
        plan = with_proposals(plan, proposals)
        if keep_open:
            plan = replace(plan, layout=plan.layout.reading(*plan.layout.open))
        if not plan.layout.columns:
            raise _nothing(plan, proposals)
    rows = read_rows(plan, told=told, problems=problems)
    dated = bare_dates(plan)
    if dated and plan.long is None:
        _no_time_of_day(plan, rows)
    elif plan.long is None:
        _no_lost_time(plan, rows)
    if not len(rows.stamp_s):
        raise _nothing_left(plan.name, problems)
    if plan.long is not None:
        plan = wide_plan(plan, rows, told)
        if not plan.layout.columns or is_mapped(plan):
            every = proposals_for_series(plan, rows, site=site)
            if not plan.layout.columns:
                proposals = every if is_open(plan, told) else ()
            else:
                own = every
                proposals = sure(every) if beyond_map else ()
            plan = with_proposals(plan, proposals)
        if not plan.layout.columns and not keep_open:
            raise _nothing(plan, proposals)
        if keep_open:
            plan = replace(plan, layout=plan.layout.reading(*plan.layout.open))
        values = tuple(rows.values[column.place] for column in plan.layout.columns)
        rows = replace(rows, values=values)
    plan, in_tenths = asked_for_tenths(plan, rows)
    plan, out_of_scale = asked_for_scale(plan, rows, site=site)
    doubted = {one.place for one in out_of_scale}
    kept = (one for one in proposals if one.place not in doubted)
    proposals = (*kept, *in_tenths, *out_of_scale)
    if not keep_open and not any(one.channel is not None for one in plan.layout.columns):
        raise _nothing(plan, proposals)
    held = file_values(plan, rows, told, proposals=proposals, tells=_tells(problems))
    held = with_own(held, plan, told, own_proposals.result().get(key, ()) if own is None else own)
    return on_their_days(held, plan, told, dated=dated, keep_open=keep_open)


def _no_time_of_day(plan: FilePlan, rows: RowsRead) -> None:
    """Refuse a file of dates alone with many rows for each: their times would be lost."""
    days = len(np.unique(rows.stamp_s))
    if len(rows.stamp_s) <= _MOST_ROWS_A_DATE * days:
        return
    raise LogError(
        f"{len(rows.stamp_s)} rows share {days} dates, and no column with their time of day, "
        "written as 14:05, is known; export date and time together, or map the column: "
        '"its header" = { channel = "time_of_day" } under [log.columns], with unit = "s" where it '
        "holds the seconds of the day",
        file=plan.name,
        line=plan.dialect.first_line + plan.line_offset,
        column=plan.layout.stamp.head,
    )


def _no_lost_time(plan: FilePlan, rows: RowsRead) -> None:
    """Refuse a file whose rows share stamps that were rounded: all but one of each would go."""
    count = lost_time(rows.stamp_s, rows.values)
    if not count:
        return
    raise LogError(
        f"{count} of {len(rows.stamp_s)} rows share their time with a row that holds other "
        f"values, as {quoted(plan.stamp_example)} shows it: the date or the time of day was lost "
        "or rounded, perhaps in a spreadsheet; export the log again from the logger, with the "
        "full date and time in each row; where each row is one reading of one sensor, say "
        'table = "long" in [log]',
        file=plan.name,
        line=plan.dialect.first_line + plan.line_offset,
        column=plan.layout.stamp.head,
    )


def _tells(problems: ProblemList) -> dict[str, int]:
    return dict(problems.by_column)


def _nothing(plan: FilePlan, proposals: Sequence[Proposal]) -> LogError:
    error = nothing_known(plan.name, plan.dialect, plan.layout)
    error.questions = tuple(one for proposal in proposals for one in proposal.questions)
    return error


def _nothing_left(name: str, problems: ProblemList) -> LogError:
    if not problems.total:
        return LogError("the file holds a header but no rows; export the log again", file=name)
    first = next((one for one in problems.listed if one.file == name), None)
    if first is None:
        return LogError("no row of this log can be read", file=name)
    return LogError(
        f"no row of this log can be read; the first: {first.why}",
        file=name,
        line=first.line,
        column=first.column,
    )
