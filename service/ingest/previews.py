"""Looking at a kept file without storing anything, and saving the map that somebody made of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial

from sqlalchemy.orm import Session

from analysis.clock_check.whole_log import clock_question, look_at_clock
from analysis.errors import LogError
from analysis.logs.against_map import contradicting, with_despite
from analysis.logs.archives import unpack
from analysis.logs.preview import Preview, preview
from analysis.logs.proposed_map import columns_of
from analysis.logs.shapes import LogSource
from analysis.site import LogMap
from analysis.site import Site as SiteFacts
from analysis.sitefile import parse_site
from analysis.sitefile_splice import with_log
from service.db.models import Site
from service.errors import ConflictError, NotFoundError
from service.ingest import queries
from service.ingest.answers import for_nameless_columns
from service.ingest.files import RawStore
from service.ingest.settling import unanswered
from service.sites.actions import replace_site_file

# What a preview reads at most; a year of minutes fits.
_MOST_BYTES = 48 * 1024 * 1024
# A column that stays open is left out, and a clock stays as it is: these questions keep nothing
# else from being read.
_CAN_STAY_OPEN = ("column", "unit", "clock")


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A kept file and the site it is for.

    `contradicts` says where it showed something else than the site's map; `despite` what, by column
    keys.
    """

    upload_id: int
    sha256: str
    name: str
    state: str
    site_text: str
    contradicts: str | None
    despite: dict[str, list[str]]


def waiting_of(db: Session, *, site: Site, upload_id: int) -> Waiting:
    """Give a kept file of a site.

    Raises
    ------
    NotFoundError : the site has no such file
    """
    upload = queries.upload_of(db, site_id=site.id, upload_id=upload_id)
    if upload is None or upload.sha256 is None:
        raise NotFoundError("There is no such file at this site.")
    first = upload.files[0] if upload.files else {}
    return Waiting(
        upload_id=upload.id,
        sha256=upload.sha256,
        name=upload.name,
        state=upload.state,
        site_text=site.text,
        contradicts=first.get("contradicts"),
        despite=first.get("despite", {}),
    )


def sources_of(waiting: Waiting, *, raw: RawStore, limit_bytes: int) -> list[LogSource]:
    """Give the files of an upload, of many as many as a preview needs.

    Raises
    ------
    LogError : the bytes are gone, or no log is in them
    """
    try:
        data = raw.read(waiting.sha256)
    except FileNotFoundError:
        raise LogError(
            "its bytes are gone from the data folder; upload it again", file=waiting.name
        ) from None
    sources: list[LogSource] = []
    left = _MOST_BYTES
    for source in unpack(waiting.name, data, limit_bytes=limit_bytes):
        if len(source.data) > left and not sources:
            cut = source.data.rfind(b"\n", 0, left) + 1 or left
            source = LogSource(name=source.name, data=source.data[:cut])
        if len(source.data) > left:
            break
        left -= len(source.data)
        sources.append(source)
    return sources


def look(
    sources: list[LogSource],
    *,
    site: SiteFacts,
    told: LogMap,
    log_map: LogMap,
    now_s: int,
    clock_as_logged: LogMap | None = None,
) -> tuple[Preview, Preview]:
    """Read a file as it is with the answers, and as it was before them.

    `clock_as_logged` holds all answers but that about the clock, which is asked on; None: the clock
    is not looked at.
    """
    first = now = preview(sources, site=site, log_map=told, now_s=now_s)
    answered = partial(preview, sources, site=site, now_s=now_s, as_written=False, beyond_map=False)
    if log_map != told:
        now = answered(log_map=log_map)
    if clock_as_logged is None:
        return now, first
    logged = now
    if clock_as_logged != log_map:
        logged = answered(log_map=clock_as_logged)
    return _with_clock(now, logged, site=site, log_map=clock_as_logged), first


def _with_clock(now: Preview, logged: Preview, *, site: SiteFacts, log_map: LogMap) -> Preview:
    """Give a preview that also asks about the clock where it does not fit the sun."""
    if logged.parsed is None:
        return now
    seen = look_at_clock(logged.parsed, site=site, log_map=log_map)
    asked = clock_question(seen, files=[one.name for one in logged.parsed.files])
    return now if asked is None else replace(now, questions=(*now.questions, asked))


def save_map(
    db: Session,
    *,
    site: Site,
    log_map: LogMap,
    found: Preview,
    seen: Mapping[str, Sequence[str]],
    who: str,
    now: datetime,
) -> str | None:
    """Save a map into the site's file; everything that waits is read with it.

    What the file shows against the map, now and when it was `seen` to, is noted in the map: whoever
    accepts it all the same is believed.

    Raises
    ------
    ConflictError : the log could not be read with it, or something is still open
    analysis.errors.SiteFileError : the map does not fit into the site file
    """
    if found.problem is not None or found.parsed is None:
        raise ConflictError(found.problem or "The log cannot be read with this map.")
    # What was only worked out is no answer: it was shown, and it was not chosen.
    told = [one for one in found.columns if one.meaning is not None and one.source != "proposal"]
    if not told:
        raise ConflictError("No column has a meaning yet; say of at least one what it holds.")
    whole_file = [
        one for one in unanswered(found.questions, log_map) if one.kind not in _CAN_STAY_OPEN
    ]
    if whole_file:
        raise ConflictError(f"One answer is missing: {whole_file[0].why}.")
    shown = contradicting(columns_of(found.parsed.files))
    log_map = with_despite(with_despite(log_map, seen), shown)
    kept = for_nameless_columns(log_map, own=parse_site(site.text).log)
    text = with_log(site.text, kept)
    return replace_site_file(db, site=site, text=text, who=who, now=now)
