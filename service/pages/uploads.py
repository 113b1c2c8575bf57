"""The files of a site in words: what became of each, what replaced it, what was set aside."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from analysis.channels import channel
from analysis.problem_groups import ProblemGroup, with_others
from analysis.results import Problem
from dashboards.format import day, moment, number, plural, sentence
from dashboards.links import site_path
from dashboards.preview_page import unit_words
from dashboards.set_aside_words import set_aside_facts
from dashboards.site_facts import Fact
from service.db.models import Site, Upload
from service.ingest import queries
from service.ingest.closed import NOT_UNDONE
from service.ingest.schemas import Replaced
from service.ingest.shown import Naming
from service.retention.queries import uploads_of_closed_days

LATEST = 12
_STATES = {
    "kept": "being read",
    "asking": "waits for you",
    "refused": "refused",
    "undone": "undone",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class UploadLine:
    """An upload in words.

    `path` is where its buttons lead; `standing` says in a word whether it counts; `not_undone` why
    one that counts cannot be undone any more.
    """

    id: int
    name: str
    state: str
    standing: str
    can_undo: bool
    not_undone: str
    path: str
    when: str
    span: str
    size: str
    sha256: str | None
    has_bytes: bool
    says: str
    set_aside: int
    problems: tuple[Fact, ...]
    understood: tuple[str, ...]


def uploads_of(db: Session, site: Site, *, limit: int | None = LATEST) -> tuple[UploadLine, ...]:
    """Give uploads in words, the latest first; those that wait for somebody always."""
    found = queries.list_uploads(db, site.id, limit=limit)
    held = {upload.id for upload in found}
    waiting = queries.uploads_in_state(db, site_id=site.id, state="asking")
    found = [*(one for one in waiting if one.id not in held), *found]
    naming = Naming.of(db, site.id)
    closed = uploads_of_closed_days(db, site_id=site.id)
    return tuple(
        _line(upload, site, naming.of_upload(upload.id), closed=upload.id in closed)
        for upload in found
    )


def _line(upload: Upload, site: Site, replaced: list[Replaced], *, closed: bool) -> UploadLine:
    files = upload.files or []
    counts = upload.state == "stored" and upload.pushed_on is None
    groups = _set_aside(upload)
    return UploadLine(
        id=upload.id,
        name=upload.name if upload.pushed_on is None else f"Rows of a gateway, {upload.pushed_on}",
        state=upload.state,
        standing=_standing(upload, replaced),
        can_undo=counts and not closed,
        not_undone=NOT_UNDONE if counts and closed else "",
        path=f"{site_path(site.slug)}/logs/{upload.id}",
        when=moment(int(upload.received_at.timestamp()), site.timezone),
        span=_span(files, site.timezone),
        size=_size(upload.size_bytes),
        sha256=upload.sha256,
        has_bytes=upload.sha256 is not None and upload.bytes_gone_at is None,
        says=f"{_says(upload, replaced)}{_gone(upload)}",
        set_aside=sum(group.count for group in groups),
        problems=set_aside_facts(groups),
        understood=tuple(_understood(one, site.timezone) for one in files),
    )


def _set_aside(upload: Upload) -> tuple[ProblemGroup, ...]:
    """Give what was set aside by reason; files stored before reasons were kept have a list."""
    kept = [
        ProblemGroup(**{**group, "lines": tuple(group["lines"])})
        for one in upload.files or []
        for group in one.get("set_aside", ())
    ]
    return with_others(kept, (Problem(**item) for item in upload.problems or []))


def _standing(upload: Upload, replaced: list[Replaced]) -> str:
    if upload.state != "stored":
        return _STATES.get(upload.state, upload.state)
    return "replaced in part" if replaced else "in force"


def _span(files: list[dict[str, Any]], timezone: str) -> str:
    if not files:
        return ""
    first_s, last_s = min(one["first_s"] for one in files), max(one["last_s"] for one in files)
    return f"{moment(first_s, timezone)} to {moment(last_s, timezone)}"


def _size(size_bytes: int) -> str:
    if size_bytes < 1_000_000:
        return f"{max(size_bytes / 1000, 0.1):,.1f} kB"
    return f"{size_bytes / 1e6:,.1f} MB"


def _gone(upload: Upload) -> str:
    if upload.bytes_gone_at is None:
        return ""
    return f" The file itself was removed for its age on {day(upload.bytes_gone_at.date())}."


def _says(upload: Upload, replaced: list[Replaced]) -> str:
    if upload.state == "refused":
        return sentence(f"Refused: {(upload.message or '').removeprefix(f'{upload.name}: ')}")
    if upload.state == "kept":
        return "Safely kept; being read."
    if upload.state == "asking":
        return sentence(f"Nothing of it is stored yet: {upload.message or 'it waits for you'}")
    if upload.state == "undone":
        return sentence(upload.message or "its rows were taken out")
    said = [
        f"Read: {plural(upload.rows_read, 'row')}, {number(upload.rows_kept)} new, "
        f"{number(upload.rows_duplicate)} doubled, {number(upload.rows_rejected)} set aside."
    ]
    said += [
        f"{plural(one.rows, 'row')} of it {'is' if one.rows == 1 else 'are'} replaced by "
        f"{one.name or 'a later file'}."
        for one in replaced
    ]
    if upload.message:
        said.append(sentence(upload.message))
    return " ".join(said)


def _says_channel(name: str) -> str:
    known = channel(name)
    return known.says if known else name


def _understood(file: Mapping[str, Any], timezone: str) -> str:
    columns = ", ".join(
        f"“{column['head']}” is {_says_channel(column['channel'])} [{unit_words(column['unit'])}]"
        for column in file.get("columns", ())
    )
    ignored = ", ".join(f"“{head}”" for head in file.get("ignored", ()))
    span = f"{moment(file['first_s'], timezone)} to {moment(file['last_s'], timezone)}"
    left = f" Left out: {ignored}." if ignored else ""
    return f"{file['name']}: {file['dialect']}, {span}. {columns}.{left}"
