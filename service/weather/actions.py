"""Use cases of weather: keep a file now, read it in the worker, fetch what an address offers.

Days whose weather became known or changed are marked, and with that observed anew.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import IO, TYPE_CHECKING

import numpy as np
from sqlalchemy.orm import Session

from analysis.blocks import Block, merge, split_days, utc_day
from analysis.days import local_date
from analysis.errors import AnalysisError
from analysis.sitefile import parse_site
from analysis.weather import HOUR_S, Weather
from service.clock import Clock
from service.db.engine import BYTES_LOCK, Database, one_at_a_time
from service.db.models import Site, WeatherFile, WeatherSource
from service.errors import NotFoundError
from service.ingest import queries as ingest_queries
from service.ingest.actions import bare_name
from service.ingest.blocks import change
from service.ingest.files import Kept, RawStore
from service.jobs import claims
from service.sites import queries as site_queries
from service.weather import queries
from service.weather.address import checked_template, days_to_ask, filled
from service.weather.fetch import FetchError, fetch

if TYPE_CHECKING:
    from service.settings import Settings

# An address is asked again after this, for the days that came meanwhile.
_AGAIN = timedelta(hours=6)
_FIRST_REST = timedelta(minutes=5)
_LONGEST_REST = timedelta(days=1)
# Weather that is not offered so long after its day never will be (engineering judgement).
_LATE = timedelta(days=40)
_CHUNK = 1024 * 1024
_COLUMNS = ("ghi_w_m2", "dni_w_m2", "dhi_w_m2", "t_ambient_c", "wind_m_s")


def receive(
    database: Database,
    *,
    raw: RawStore,
    site_id: int,
    file: IO[bytes],
    name: str,
    via: str,
    now: datetime,
) -> WeatherFile:
    """Keep a file's bytes and the note of them; both are on disk when this returns."""
    kept = _kept(raw, file)
    with database.session() as db:
        found = keep_file(
            db, site_id=site_id, kept=kept, name=bare_name(name) or "weather", via=via, now=now
        )
    if not raw.path(kept.sha256).exists():  # a purge met it between file and note
        _kept(raw, file)
    return found


def _kept(raw: RawStore, file: IO[bytes]) -> Kept:
    file.seek(0)
    return raw.keep(iter(lambda: file.read(_CHUNK), b""))


def keep_file(
    db: Session, *, site_id: int, kept: Kept, name: str, via: str, now: datetime
) -> WeatherFile:
    """Take note of kept bytes; the same ones again get the first answer, refused ones a new try."""
    if site_queries.locked_site(db, site_id) is None:
        raise NotFoundError("This site is gone.")
    one_at_a_time(db, BYTES_LOCK)
    found = queries.file_of_bytes(db, site_id=site_id, sha256=kept.sha256)
    if found is not None:
        if found.state == "refused":
            found.state, found.message, found.name = "kept", None, name
        return found
    new = WeatherFile(
        site_id=site_id,
        sha256=kept.sha256,
        name=name,
        size_bytes=kept.size_bytes,
        via=via,
        state="kept",
        hours=0,
        received_at=now,
    )
    db.add(new)
    db.flush()
    return new


def drop_file(db: Session, *, site: Site, file_id: int, now: datetime) -> str:
    """Forget a file and its hours; gives its hash, whose bytes may go after the commit."""
    site_queries.locked_site(db, site.id)
    found = queries.file_of(db, site_id=site.id, file_id=file_id)
    if found is None:
        raise NotFoundError("There is no such weather file at this site.")
    sha256 = found.sha256
    db.delete(found)
    db.flush()
    read_again(db, site_id=site.id, now=now)
    return sha256


def read_again(db: Session, *, site_id: int, now: datetime) -> None:
    """Forget the hours and have all files read anew: the place changed, or one file is gone."""
    queries.drop_hours(db, site_id=site_id)
    queries.keep_all_again(db, site_id=site_id)
    source = db.get(WeatherSource, site_id)
    if source is not None:
        source.next_at, source.tries, source.settled_before = now, 0, None
    ingest_queries.mark_everything(db, site_id=site_id, due_at=now)


def settle_file(
    database: Database, *, raw: RawStore, clock: Clock, file_id: int, holder: str, key: str
) -> None:
    """Read a kept file into hours, or refuse it; the claim ends in the same transaction."""
    with database.reading() as db:
        file = db.get(WeatherFile, file_id)
        site = None if file is None else db.get(Site, file.site_id)
        job = None
        if file is not None and site is not None and file.state == "kept":
            job = (file.name, file.sha256, site.id, site.text, site.version)
    if job is None:
        with database.session() as db:
            claims.finish(db, key=key, holder=holder)
        return
    name, sha256, site_id, text, version = job
    try:
        weather, refusal = _parsed(name, raw.read(sha256), site_text=text)
    except FileNotFoundError:
        weather = None
        refusal = f"{name}: its bytes are gone from the data folder; hand it in again"
    with database.session() as db:
        site = site_queries.locked_site(db, site_id)
        claims.finish(db, key=key, holder=holder)
        file = db.get(WeatherFile, file_id)
        if site is None or file is None or file.state != "kept" or site.version != version:
            return  # gone or changed meanwhile; what is still kept comes round again
        if weather is None:
            file.state, file.message = "refused", refusal
            return
        store_weather(db, site=site, weather=weather, now=clock.now())
        _stored(file, weather)


def _parsed(name: str, data: bytes, *, site_text: str) -> tuple[Weather | None, str | None]:
    """Give the weather, or why there is none."""
    from analysis.weatherfile import parse_weather

    try:
        return parse_weather(name, data, site=parse_site(site_text)), None
    except AnalysisError as error:
        return None, str(error)


def _stored(file: WeatherFile, weather: Weather) -> None:
    file.state, file.message = "stored", None
    file.hours = int(np.isfinite(weather.ghi_w_m2).sum())
    file.first_s = int(weather.time_s[0])
    file.last_s = int(weather.time_s[-1]) + HOUR_S


def store_weather(db: Session, *, site: Site, weather: Weather, now: datetime) -> None:
    """Lay hours over those that were known and mark the local days that changed."""
    new = _block(weather)
    first, last = utc_day(int(new.stamp_s[0])), utc_day(int(new.stamp_s[-1]))
    day = timedelta(days=1)
    held = queries.load_hours(db, site_id=site.id, first=first - day, last=last + day)
    merged = new if held is None else merge(_apart(held, new), new)
    touched = change(held, merged).touched_s
    if not len(touched):
        return
    days = {utc_day(int(stamp)) for stamp in touched}
    blocks = split_days(merged)
    queries.save_hours(db, site_id=site.id, blocks={one: blocks[one] for one in days})
    local = {local_date(int(stamp), site.timezone) for stamp in touched}
    local = {one + shift * day for one in local for shift in (-1, 0, 1)}
    logged = {
        one + shift * day for one in ingest_queries.days_stored(db, site.id) for shift in (-1, 0, 1)
    }
    ingest_queries.mark_days(db, site_id=site.id, days=local & logged, due_at=now)


def _block(weather: Weather) -> Block:
    told = np.isfinite(weather.ghi_w_m2)
    return Block(
        stamp_s=weather.time_s[told],
        columns={name: getattr(weather, name)[told] for name in _COLUMNS},
    )


def _apart(held: Block, new: Block) -> Block:
    """Give the known hours that do not overlap new ones of another offset within the hour."""
    place = np.searchsorted(new.stamp_s, held.stamp_s)
    before = held.stamp_s - new.stamp_s[np.maximum(place - 1, 0)]
    after = new.stamp_s[np.minimum(place, len(new) - 1)] - held.stamp_s
    apart = (np.abs(before) >= HOUR_S) & (np.abs(after) >= HOUR_S)
    kept = apart | np.isin(held.stamp_s, new.stamp_s)
    return Block(
        stamp_s=held.stamp_s[kept],
        columns={name: values[kept] for name, values in held.columns.items()},
    )


def load_weather(db: Session, *, site_id: int, start_s: int, end_s: int) -> Weather | None:
    """Give the weather around `[start_s, end_s)`, None where none is known."""
    day = timedelta(days=1)
    found = queries.load_hours(
        db, site_id=site_id, first=utc_day(start_s) - day, last=utc_day(end_s) + day
    )
    if found is None:
        return None
    nothing = np.full(len(found), np.nan)
    return Weather(
        time_s=found.stamp_s, **{name: found.columns.get(name, nothing) for name in _COLUMNS}
    )


def set_source(
    db: Session, *, site: Site, url: str, allow_private: bool, now: datetime
) -> WeatherSource:
    """Set the address that the site's weather is fetched from; it is asked soon.

    Raises
    ------
    InvalidError : the address cannot be used
    """
    template = checked_template(url, allow_private=allow_private)
    source = db.get(WeatherSource, site.id) or WeatherSource(site_id=site.id)
    source.url, source.next_at, source.tries = template, now, 0
    source.problem, source.asked_at, source.settled_before = None, None, None
    db.add(source)
    return source


def drop_source(db: Session, *, site: Site) -> None:
    """Ask the address no more; the hours that it gave stay."""
    source = db.get(WeatherSource, site.id)
    if source is not None:
        db.delete(source)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What an address is asked for."""

    template: str
    site_text: str
    span: tuple[date, date] | None


def fetch_weather(
    database: Database,
    *,
    raw: RawStore,
    settings: "Settings",
    clock: Clock,
    site_id: int,
    holder: str,
    key: str,
) -> None:
    """Ask a site's address for the days that are logged and have no weather yet.

    What comes is kept like a file that was handed in, and read here. What fails is asked again
    later, each time after a longer rest.
    """
    now = clock.now()
    with database.reading() as db:
        asked = _asked(db, site_id, today=now.date())
    came: Kept | None = None
    weather, problem = None, None
    if asked is not None and asked.span is not None:
        try:
            data = fetch(
                _address(asked, asked.span),
                limit_bytes=settings.max_weather_bytes,
                allow_private=settings.weather_private_hosts,
            )
            weather, problem = _parsed("the answer", data, site_text=asked.site_text)
            problem = problem or _beside(weather, asked.span)
            came = None if problem else raw.keep([data])
        except FetchError as error:
            problem = str(error)
    with database.session() as db:
        site = site_queries.locked_site(db, site_id)
        claims.finish(db, key=key, holder=holder)
        source = db.get(WeatherSource, site_id)
        if site is None or source is None or asked is None or source.url != asked.template:
            return
        if site.text != asked.site_text:
            return  # its place may be another now; it stays due
        if asked.span is None:
            source.next_at = now + _AGAIN
            return
        source.asked_at = now
        if problem is not None or weather is None or came is None:
            _failed(source, problem or "nothing came", now=now)
            return
        name = f"fetched for {asked.span[0]} to {asked.span[1]}"
        file = keep_file(db, site_id=site_id, kept=came, name=name, via="fetch", now=now)
        store_weather(db, site=site, weather=weather, now=now)
        _stored(file, weather)
        _succeeded(db, source, asked.span, now=now)


def _asked(db: Session, site_id: int, *, today: date) -> _Asked | None:
    source, site = db.get(WeatherSource, site_id), db.get(Site, site_id)
    if source is None or site is None or site.deleted_at is not None:
        return None
    return _Asked(template=source.url, site_text=site.text, span=_span(db, source, today=today))


def _span(db: Session, source: WeatherSource, *, today: date) -> tuple[date, date] | None:
    return days_to_ask(
        ingest_queries.days_stored(db, source.site_id),
        covered=queries.covered_days(db, site_id=source.site_id),
        settled_before=source.settled_before,
        today=today,
    )


def _address(asked: _Asked, span: tuple[date, date]) -> str:
    place = parse_site(asked.site_text).place
    return filled(asked.template, place=place, first=span[0], last=span[1])


def _beside(weather: Weather | None, span: tuple[date, date]) -> str | None:
    """Say that an answer holds none of the days that were asked for."""
    if weather is None:
        return None
    days = _utc_days(weather.time_s[np.isfinite(weather.ghi_w_m2)])
    if any(span[0] <= one <= span[1] for one in days):
        return None
    return (
        f"the answer covers {min(days)} to {max(days)}, asked for were {span[0]} to {span[1]}; "
        "check that {from} and {to} stand in the address where the source wants them"
    )


def _utc_days(stamp_s: Iterable[int]) -> set[date]:
    return {utc_day(int(one)) for one in stamp_s}


def _failed(source: WeatherSource, problem: str, *, now: datetime) -> None:
    source.tries += 1
    source.problem = problem
    rest = min(_FIRST_REST * 2.0 ** min(source.tries - 1, 10), _LONGEST_REST)
    source.next_at = now + rest


def _succeeded(
    db: Session, source: WeatherSource, span: tuple[date, date], *, now: datetime
) -> None:
    """Note what is settled; a further year is asked for at once, late days after some hours."""
    source.tries, source.problem = 0, None
    over = min(span[1] + timedelta(days=1), (now - _LATE).date())
    if source.settled_before is None or over > source.settled_before:
        source.settled_before = over
    db.flush()
    left = _span(db, source, today=now.date())
    source.next_at = now if left is not None and left[0] > span[1] else now + _AGAIN
