"""What a bundle holds: for a third party the evidence, for a customer everything about them."""

import csv
import io
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from itertools import groupby
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from analysis.channels import channel
from analysis.days import local_midnight_s
from analysis.faults import CATALOGUE
from analysis.results import DayFigure, MonthFigure, Report, finding_json, report_json
from analysis.site import Site as SiteFacts
from analysis.sitefile import parse_site
from analysis.warranty.hot_years import LEVELS_C
from dashboards.links import finding_key
from dashboards.private import PRIVATE_KINDS, shareable
from dashboards.report_text import render_text
from dashboards.warranty_page import change_lines, commissioning_facts
from dashboards.warranty_words import term_words
from service.assessments import queries as assessment_queries
from service.db.models import Site
from service.evidence import queries
from service.evidence.archive import Member, text_member
from service.evidence.readme import readme
from service.ingest import queries as ingest_queries
from service.ingest.files import RawStore
from service.retention import queries as retention_queries
from service.sites import queries as site_queries
from service.visits import queries as visit_queries
from service.warranty.record import Kept, kept_record, last_day

_SAFE = re.compile(r"[^A-Za-z0-9._-]+")
_LONGEST_NAME = 60
_DAY_S = 86_400


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where the content comes from; `everything` is for the customer, else for a third party."""

    db: Session
    site: Site
    raw: RawStore
    everything: bool


def members(source: Source) -> list[Member]:
    """List the files of a bundle; the same state gives the same files.

    The record is judged as of the last day of the log, so that it does not change by itself.
    """
    db, site = source.db, source.site
    facts = parse_site(site.text)
    report = assessment_queries.latest_report(db, site_id=site.id)
    if report is not None and not source.everything:
        report = shareable(report)
    as_of = last_day(report, site, otherwise=site.created_at.astimezone(UTC).date())
    kept = kept_record(db, site=site, facts=facts, as_of=as_of)
    found = [
        text_member("README.txt", readme(site.name, as_of=as_of, everything=source.everything)),
        text_member("site.toml", site.text),
        *_site_files(source),
        *_logs(source),
        *_rows(source),
        *_record(facts, kept),
        *_visits(source),
        *_findings(source, report),
    ]
    if report is not None:
        texts = {fault.kind: fault.text for fault in CATALOGUE}
        found += [
            text_member("report.json", _json(report_json(report))),
            text_member("report.txt", render_text(report, texts=texts)),
        ]
    if source.everything:
        found += _private(source)
        if report is not None:
            found += [_table("days.csv", report.days), _table("months.csv", report.months)]
    return found


def _site_files(source: Source) -> Iterator[Member]:
    versions = site_queries.file_versions(source.db, site_id=source.site.id)
    for one in versions:
        yield text_member(f"site-files/{one.version:05d}.toml", one.text)
    rows = [
        (one.version, _at(one.replaced_at), one.replaced_by or "") for one in reversed(versions)
    ]
    yield _csv("site-files.csv", ("version", "replaced_at", "replaced_by"), rows)


def _logs(source: Source) -> Iterator[Member]:
    """Give the logs as they came, and a list that says what became of each.

    Of one that was removed for its age the list keeps name and hash.
    """
    rows = []
    for number, one in enumerate(
        queries.uploads_with_bytes(source.db, site_id=source.site.id), start=1
    ):
        name = f"logs/{number:05d}-{_safe(one.name)}" if one.bytes_gone_at is None else ""
        rows.append(
            (name, one.name, one.sha256, one.size_bytes, _at(one.received_at), one.via, one.state,
             one.rows_read, one.rows_kept, one.rows_duplicate, one.rows_rejected, one.message or "",
             _at(one.bytes_gone_at) if one.bytes_gone_at is not None else "")
        )  # fmt: skip
        if name:
            yield Member(name=name, chunks=_kept_bytes(source.raw, one.sha256 or ""))
    heads = (
        "file", "name_as_handed_in", "sha256", "bytes", "received_at", "via", "state", "rows_read",
        "rows_kept", "rows_duplicate", "rows_rejected", "message", "bytes_removed_at",
    )  # fmt: skip
    yield _csv("logs.csv", heads, rows)


def _kept_bytes(raw: RawStore, sha256: str) -> Callable[[], Iterable[bytes]]:
    return lambda: raw.chunks(sha256)


_KEPT_AS = {"means": "five-minute means", "gone": "nothing"}


def _rows(source: Source) -> Iterator[Member]:
    """Give the rows of days on which a gateway sent some: they never were a file.

    Beside them stands which days are not kept as they came any more.
    """
    yield _csv(
        "rolled-days.csv",
        ("day", "kept_as", "rows_before", "since"),
        [
            (f"{one.day}", _KEPT_AS[one.kind], one.rows, _at(one.rolled_at))
            for one in retention_queries.rolled_days(source.db, site_id=source.site.id)
        ],
    )
    days = queries.pushed_days(source.db, site_id=source.site.id)
    for month, held in groupby(days, key=lambda day: f"{day:%Y-%m}"):
        yield Member(name=f"rows/{month}.csv", chunks=_rows_of(source, list(held)))


def _rows_of(source: Source, days: Sequence[date]) -> Callable[[], Iterator[bytes]]:
    def chunks() -> Iterator[bytes]:
        starts = [local_midnight_s(day, "UTC") for day in days]
        blocks = [
            ingest_queries.load_rows(
                source.db, site_id=source.site.id, start_s=start, end_s=start + _DAY_S - 1
            )
            for start in starts
        ]
        names = sorted({name for block in blocks if block is not None for name in block.columns})
        heads = [found.tidy if (found := channel(name)) else name for name in names]
        yield (",".join(["time", *heads]) + "\n").encode("ascii")
        for block in blocks:
            if block is None:
                continue
            nothing = np.full(len(block), np.nan)
            columns = [block.columns.get(name, nothing) for name in names]
            for place, stamp in enumerate(block.stamp_s):
                cells = [_cell(column[place]) for column in columns]
                yield f"{_at(datetime.fromtimestamp(int(stamp), UTC))},{','.join(cells)}\n".encode()

    return chunks


def _cell(value: float) -> str:
    return f"{value:.10g}" if np.isfinite(value) else ""


def _record(facts: SiteFacts, kept: Kept) -> Iterator[Member]:
    yield _csv(
        "records/commissioning.csv",
        ("what", "value", "note"),
        [(one.label, one.value, one.note) for one in commissioning_facts(facts)],
    )
    yield _csv(
        "records/changes.csv",
        ("when", "what", "note"),
        [(one.when, one.what, one.note) for one in change_lines(facts)],
    )
    yield _csv(
        "records/terms.csv",
        ("kind", "says", "papers", "outcome", "why"),
        [
            (one.term.kind, term_words(one.term), one.term.text or "", one.outcome, one.why)
            for one in kept.judged
        ],
    )
    hours = [f"above_{level}_c_h" for level in LEVELS_C]
    yield _csv(
        "records/hot-years.csv",
        ("year", "days", "seen_frac", *hours, "standing_days", "peak_c", "low_bar", "high_bar"),
        [
            (one.year, one.days, round(one.seen_frac, 4),
             *((one.above_h or {}).get(level) for level in LEVELS_C),
             one.standing_days, one.peak_c, one.lowest_cold_bar, one.highest_bar)
            for one in kept.years
        ],
    )  # fmt: skip
    yield _csv(
        "records/visits.csv",
        ("visit", "day", "who", "changed"),
        [(one.number, one.day, one.who, "; ".join(one.what)) for one in kept.visits],
    )


def _visits(source: Source) -> Iterator[Member]:
    """Give what was typed on visits; plans and photos only to the customer."""
    shown = [
        one
        for one in visit_queries.visits_of_site(source.db, site_id=source.site.id)
        if source.everything or one.state == "finished"
    ]
    typed = [
        (one.id, entry.field, entry.value, entry.who, _at(entry.typed_at))
        for one in reversed(shown)
        for entry in visit_queries.entries_of(source.db, visit_id=one.id)
    ]
    heads = ("visit", "field", "value", "who", "typed_at")
    yield _csv("records/visit-entries.csv", heads, typed)
    if not source.everything:
        return
    plans = [
        {
            "visit": one.id,
            "planned_on": one.planned_on.isoformat(),
            "state": one.state,
            "note": one.note,
            "findings": one.findings,
            "made_by": one.made_by,
            "made_at": _at(one.made_at),
        }
        for one in queries.visits_of(source.db, site_id=source.site.id)
    ]
    yield text_member("records/visit-plans.json", _json(plans))
    for number, photo in enumerate(queries.photos_of(source.db, site_id=source.site.id), start=1):
        kind = photo.media_type.rpartition("/")[2]
        yield Member(
            name=f"photos/{number:05d}-visit-{photo.visit_id}.{kind}",
            chunks=_kept_bytes(source.raw, photo.sha256),
        )


def _findings(source: Source, report: Report | None) -> Iterator[Member]:
    """Give findings, and what people did about them."""
    found = (*report.findings, *report.explained) if report is not None else ()
    seen = {one.key: one for one in queries.findings_seen(source.db, site_id=source.site.id)}
    listed = []
    for one in found:
        known = seen.get(finding_key(one))
        first = _at(known.first_seen_at) if known is not None else None
        case = known.case_id if known is not None else None
        entry = {"key": finding_key(one), "first_seen_at": first, "case": case}
        listed.append({**finding_json(one), **entry})
    yield text_member("records/findings.json", _json(listed))
    hidden = frozenset() if source.everything else PRIVATE_KINDS
    yield _csv(
        "records/steps.csv",
        ("case", "kind", "channel", "at", "who", "state", "note"),
        [
            (case.id, case.kind, case.channel or "", _at(step.at), step.who, step.state, step.note)
            for case, step in queries.cases_with_steps(source.db, site_id=source.site.id)
            if case.kind not in hidden
        ],
    )


def _private(source: Source) -> Iterator[Member]:
    """Give what concerns the customer and nobody else."""
    db, site = source.db, source.site
    yield _csv(
        "records/consents.csv",
        ("purpose", "given_by", "given_on", "how", "recorded_by", "recorded_at", "withdrawn_by",
         "withdrawn_at"),
        [
            (one.purpose, one.given_by, one.given_on, one.how, one.recorded_by,
             _at(one.recorded_at), one.withdrawn_by or "", _at(one.withdrawn_at))
            for one in queries.consents_of(db, site_id=site.id)
        ],
    )  # fmt: skip
    yield _csv(
        "records/links.csv",
        ("for", "made_by", "made_at", "until", "withdrawn_at", "last_opened_at"),
        [
            (one.label, one.made_by, _at(one.created_at), _at(one.expires_at),
             _at(one.withdrawn_at), _at(one.opened_at))
            for one in queries.links_of(db, site_id=site.id)
        ],
    )  # fmt: skip
    yield _csv(
        "records/gateway-keys.csv",
        ("label", "made_at", "useless_since"),
        [
            (one.label, _at(one.created_at), _at(one.revoked_at))
            for one in queries.keys_of(db, site_id=site.id)
        ],
    )
    contact = queries.contact_of(db, site_id=site.id)
    yield _csv(
        "records/contact.csv",
        ("name", "address", "language", "changed_at"),
        []
        if contact is None
        else [(contact.name, contact.address, contact.language, _at(contact.changed_at))],
    )
    yield _csv(
        "records/letters.csv",
        ("year", "chosen_by", "chosen_at", "sent_at", "problem"),
        [
            (one.year, one.chosen_by, _at(one.chosen_at), _at(one.laid_at), one.problem or "")
            for one in queries.letters_of(db, site_id=site.id)
        ],
    )
    # A digest names other customers, too: of it only that it went out is theirs.
    mails = [
        {
            "to": one.recipient,
            "state": one.state,
            "made_at": _at(one.created_at),
            "sent_at": _at(one.sent_at),
            "subject": one.subject if own else "weekly digest",
            "text": one.text if own else None,
        }
        for one, own in queries.mails_about(db, site=site)
    ]
    yield text_member("records/mails.json", _json(mails))
    yield _csv(
        "records/trail.csv",
        ("at", "who", "what", "subject"),
        [
            (_at(one.at), one.who, one.what, one.subject or "")
            for one in queries.trail_about(db, site=site)
        ],
    )
    fetched = queries.weather_source(db, site_id=site.id)
    weather = queries.weather_with_bytes(db, site_id=site.id)
    names = [f"weather/{number:05d}-{_safe(one.name)}" for number, one in enumerate(weather, 1)]
    for name, one in zip(names, weather, strict=True):
        yield Member(name=name, chunks=_kept_bytes(source.raw, one.sha256))
    rows: list[tuple[object, ...]] = [
        (name, one.name, one.sha256, _at(one.received_at), one.via, one.state)
        for name, one in zip(names, weather, strict=True)
    ]
    if fetched is not None:
        rows.append(("", fetched.url, "", _at(fetched.asked_at), "address", ""))
    heads = ("file", "name_as_handed_in", "sha256", "received_at", "via", "state")
    yield _csv("weather.csv", heads, rows)


def _table(name: str, figures: Sequence[DayFigure] | Sequence[MonthFigure]) -> Member:
    rows = [one._asdict() if isinstance(one, DayFigure) else asdict(one) for one in figures]
    heads = list(rows[0]) if rows else []
    return _csv(name, heads, [tuple(row.values()) for row in rows])


def _csv(name: str, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> Member:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows([["" if cell is None else _guarded(cell) for cell in row] for row in rows])
    return text_member(name, out.getvalue())


def _guarded(cell: object) -> object:
    """Keep a spreadsheet from taking a text for a formula."""
    if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return f"'{cell}"
    return cell


def _json(content: Mapping[str, Any] | Sequence[Any]) -> str:
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _at(when: datetime | None) -> str:
    return f"{when.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}" if when is not None else ""


def _safe(name: str) -> str:
    """Give a name that every system can hold; the one as handed in stands in the list."""
    return (
        _SAFE.sub("-", name.encode("ascii", "ignore").decode()).strip("-.")[-_LONGEST_NAME:]
        or "log"
    )
