"""Was a term of the papers kept? Judged from the record and the log, with what it rests on.

Each term is kept, not kept, or not known. The log only proves as much as it covers: hours that were
measured are there, hours that nobody logged are unknown. What is only on record counts as the
record stands, because that is what papers go by.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from analysis.days import DayTable
from analysis.site import Change, Site, Warranty, WarrantyTerm
from analysis.warranty.hot_years import HotYear, hot_years, hours_above

Kept = Literal["kept", "not_kept", "not_known"]

# Below this share of the time nothing is said to be kept for want of a measurement (engineering
# judgement; a day off does not hide a summer).
ENOUGH_FRAC = 0.9
# A yearly date is not missed by the days that it takes to arrange (engineering judgement).
_GRACE_DAYS = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What became of one term; `why` is the evidence in words, for the term's own line."""

    term: WarrantyTerm
    outcome: Kept
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Everything that terms are judged from.

    Attributes
    ----------
    site : the site file
    table : what each local day showed, None where there is no log
    visits : days of visits on record; None where nobody keeps such a record
    fluid : days on which visits tested or renewed the fluid; the site file has only the latest
    as_of : the day up to which is judged
    """

    site: Site
    table: DayTable | None
    visits: tuple[date, ...] | None
    as_of: date
    fluid: tuple[date, ...] = ()

    @property
    def papers(self) -> Warranty:
        """The papers; there are some."""
        assert self.site.warranty is not None
        return self.site.warranty

    @property
    def last(self) -> date:
        """The last day that counts: warranties end."""
        return min(self.as_of, warranty_end(self.papers) - timedelta(days=1))


def warranty_end(papers: Warranty) -> date:
    """Give the first day after the warranty."""
    return _later(papers.start, papers.years)


def judge(record: Record) -> tuple[Judged, ...]:
    """Judge every term of the papers, conditions in words last.

    Parameters
    ----------
    record : Record
        A site with a `[warranty]`.
    """
    in_words = [WarrantyTerm(kind="other", text=text) for text in record.papers.conditions]
    return tuple(_judged(record, term) for term in (*record.papers.terms, *in_words))


def _judged(record: Record, term: WarrantyTerm) -> Judged:
    if record.last < record.papers.start:
        return Judged(term=term, outcome="not_known", why="the warranty has not begun")
    outcome, why = _JUDGES[term.kind](record, term)
    if outcome == "not_known" and term.kept is not None:
        said = f"noted on {_day(term.noted)}{f' by {term.by}' if term.by else ''}"
        return Judged(term=term, outcome="kept" if term.kept else "not_kept", why=said)
    return Judged(term=term, outcome=outcome, why=why)


_Answer = tuple[Kept, str]


def fluid_days(site: Site) -> tuple[date, ...]:
    """Give the days on which fluid went in or passed a test, as on record, rising."""
    dated = {"commissioned.filled", "commissioned.fluid_tested"}
    days: set[date | None] = {
        one.value if one.key in dated and isinstance(one.value, date) else one.date
        for one in site.changes
        if one.key in {*dated, "loop.fluid", "loop.concentration"}
    }
    if site.commissioned is not None:
        days |= {site.commissioned.filled, site.commissioned.fluid_tested}
    return tuple(sorted(one for one in days if one is not None))


def _fluid_test(record: Record, term: WarrantyTerm) -> _Answer:
    return _at_least_every(record, term, {*fluid_days(record.site), *record.fluid}, "test or fill")


def _visit(record: Record, term: WarrantyTerm) -> _Answer:
    if not record.visits:
        return "not_known", "no visit is on record here"
    return _at_least_every(record, term, record.visits, "visit")


def _at_least_every(record: Record, term: WarrantyTerm, days: Iterable[date], what: str) -> _Answer:
    """Walk from the warranty's first day from one to the next."""
    assert term.years is not None
    before, last = record.papers.start, None
    for one in sorted(day for day in days if day <= record.last):
        if one > _due(before, term.years):
            return "not_kept", f"no {what} on record between {_day(before)} and {_day(one)}"
        before, last = max(before, one), one
    due = _later(before, term.years)
    on_record = f"last {what} on record {_day(last)}" if last else f"no {what} on record"
    if record.last > _due(before, term.years):
        return "not_kept", f"{on_record}; the next was due by {_day(due)}"
    return "kept", f"{on_record}; the next is due by {_day(due)}"


def _due(before: date, years: float) -> date:
    return _later(before, years) + timedelta(days=_GRACE_DAYS)


def _tubes_within(record: Record, term: WarrantyTerm) -> _Answer:
    assert term.within_days is not None
    facts = record.site.commissioned
    since = record.papers.start if term.after == "start" else facts.filled if facts else None
    fitted = facts.tubes_fitted if facts else None
    if fitted is None:
        return "not_known", "the day on which the tubes went in is not on record"
    if since is None:
        return "not_known", "the day of the fill is not on record"
    late = (fitted - since).days
    words = f"the tubes went in on {_day(fitted)}, {_count(abs(late), 'day')} "
    words += f"{'before' if late < 0 else 'after'} {_day(since)}"
    return ("kept" if late <= term.within_days else "not_kept"), words


def _hours_above(record: Record, term: WarrantyTerm) -> _Answer:
    assert term.limit_c is not None
    assert term.most_hours is not None
    if record.table is None:
        return "not_known", "there is no log"
    years = hours_above(record.table, term.limit_c, first=record.papers.start, last=record.last)
    worst = max(years, key=lambda one: one.least_h)
    if worst.least_h > term.most_hours:
        return "not_kept", f"at least {worst.least_h:.0f} h in {worst.year}"
    thin = [one for one in years if one.seen_frac < ENOUGH_FRAC]
    open_ = [one for one in years if one.most_h is None or one.most_h > term.most_hours]
    known = f"at most {max(one.most_h or 0.0 for one in years):.0f} h in a year were logged"
    if open_:
        return "not_known", f"the log does not tell the hours above {term.limit_c:g} °C apart"
    if thin:
        return "not_known", f"{known}, but {_thin(thin[0].year, thin[0].seen_frac)}"
    return "kept", f"{known}; {_seen(min(one.seen_frac for one in years))}"


def _never_above(record: Record, term: WarrantyTerm) -> _Answer:
    assert term.limit_c is not None
    return _years_within(
        record,
        value=lambda one: one.peak_c,
        allowed=lambda value: value <= term.limit_c,  # type: ignore[operator]
        says=lambda value, year: f"{value:.0f} °C in {year}",
        what="no temperature of the collector in the log",
    )


def _stagnation_days(record: Record, term: WarrantyTerm) -> _Answer:
    assert term.most_days is not None
    return _years_within(
        record,
        value=lambda one: None if one.peak_c is None else float(one.standing_days),
        allowed=lambda value: value <= term.most_days,  # type: ignore[operator]
        says=lambda value, year: f"{_count(round(value), 'day')} in {year}",
        what="no temperature of the collector in the log",
    )


def _years_within(
    record: Record,
    *,
    value: Callable[[HotYear], float | None],
    allowed: Callable[[float], bool],
    says: Callable[[float, int], str],
    what: str,
) -> _Answer:
    """Hold each year's own highest figure against what is allowed."""
    if record.table is None:
        return "not_known", "there is no log"
    years = hot_years(record.table, first=record.papers.start, last=record.last)
    known = [(found, one) for one in years if (found := value(one)) is not None]
    if not known:
        return "not_known", what
    worst, year = max(known, key=lambda pair: pair[0])
    words = f"at most {says(worst, year.year)}"
    if not allowed(worst):
        return "not_kept", says(worst, year.year)
    thin = next((one for one in years if one.seen_frac < ENOUGH_FRAC), None)
    if thin is not None:
        return "not_known", f"{words}, but {_thin(thin.year, thin.seen_frac)}"
    return "kept", f"{words}; {_seen(min(one.seen_frac for one in years))}"


def _pressure(record: Record, term: WarrantyTerm) -> _Answer:
    if record.table is None:
        return "not_known", "there is no log"
    years = hot_years(record.table, first=record.papers.start, last=record.last)
    lows = [one.lowest_cold_bar for one in years if one.lowest_cold_bar is not None]
    highs = [one.highest_bar for one in years if one.highest_bar is not None]
    if not lows and not highs:
        return "not_known", "the loop's pressure is not in the log"
    words = []
    if lows:
        words.append(f"the cold loop's lowest night {min(lows):.1f} bar")
    if highs:
        words.append(f"the highest {max(highs):.1f} bar")
    too_low = term.low_bar is not None and bool(lows) and min(lows) < term.low_bar
    too_high = term.high_bar is not None and bool(highs) and max(highs) > term.high_bar
    if too_low or too_high:
        return "not_kept", ", ".join(words)
    asked = ((term.low_bar, lows), (term.high_bar, highs))
    if any(limit is not None and not seen for limit, seen in asked):
        return "not_known", f"{', '.join(words)}; the other end is not in the log"
    thin = next((one for one in years if one.seen_frac < ENOUGH_FRAC), None)
    if thin is not None:
        return "not_known", f"{', '.join(words)}, but {_thin(thin.year, thin.seen_frac)}"
    return "kept", ", ".join(words)


def _concentration(record: Record, term: WarrantyTerm) -> _Answer:
    """Go by the strengths on record: the fill's, and each dated change."""
    low = term.low_concentration_frac if term.low_concentration_frac is not None else 0.0
    high = term.high_concentration_frac if term.high_concentration_frac is not None else 1.0
    changes: list[Change] = [
        one
        for one in record.site.changes
        if one.key == "loop.concentration" and one.date <= record.last
    ]
    strengths = [
        (record.site.loop.concentration_frac, record.papers.start),
        *((float(str(one.value)), one.date) for one in changes),
    ]
    for strength, since in strengths:
        if not low <= strength <= high:
            return "not_kept", f"{_percent(strength)} on record from {_day(since)} on"
    latest, since = strengths[-1]
    return "kept", f"{_percent(latest)} on record; a test of the fluid is what tells"


def _other(record: Record, term: WarrantyTerm) -> _Answer:
    del record, term
    return "not_known", "no data tell; somebody has to look, and note it"


_JUDGES: dict[str, Callable[[Record, WarrantyTerm], _Answer]] = {
    "fluid_test": _fluid_test,
    "visit": _visit,
    "tubes_within": _tubes_within,
    "hours_above": _hours_above,
    "never_above": _never_above,
    "stagnation_days": _stagnation_days,
    "pressure": _pressure,
    "concentration": _concentration,
    "other": _other,
}


def _later(day: date, years: float) -> date:
    """Give the same date some years later; a leap day becomes the first of March."""
    whole = int(years)
    try:
        moved = day.replace(year=day.year + whole)
    except ValueError:
        moved = date(day.year + whole, 3, 1)
    return moved + timedelta(days=round((years - whole) * 365.25))


def _day(when: date | None) -> str:
    return f"{when.day} {when:%B %Y}" if when is not None else "an unknown day"


def _count(number: int, one: str) -> str:
    return f"{number} {one if number == 1 else one + 's'}"


def _thin(year: int, seen_frac: float) -> str:
    return f"only {_percent(seen_frac)} of {year} is in the log"


def _seen(frac: float) -> str:
    return f"at least {_percent(frac)} of each year is in the log"


def _percent(frac: float) -> str:
    return f"{100.0 * frac:.0f} %"
