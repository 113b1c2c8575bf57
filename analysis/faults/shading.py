"""Shading: something new hides the sun from the collectors at the same places of the sky each day.

In the data: under a clear sky the collectors take up what is due, but for some directions of the
sun next to nothing, day after day; between the two lies a sharp edge. A sun sensor beside the
collectors that stays in the light says when the sky was clear; one that is shaded as well shows the
same gap against a clear sky's course. Looks alike and is not it: cloud (no two days at one place),
the horizon on record (it is part of what is due), lost tubes (all alike), a wrong azimuth
(a slope over the whole day, without an edge), a full store (such hours are left out).
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.compiled import given
from analysis.days import DayTable
from analysis.energy import delivered, expected
from analysis.faults._cautions import GLASS, HEIGHT, HOT_PARTS, LOCAL_CODES
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.faults._shade_kernel import mark_lasting
from analysis.faults._sun_path import (
    SECTOR_DEG,
    SECTORS,
    elevations_deg,
    sector_name,
    sun_path_columns,
)
from analysis.missed import Missed, missed_heat
from analysis.precedence_rules import OTHER_END
from analysis.quantiles import quantile_of
from analysis.record import Bools, Floats, Ints
from analysis.results import Evidence
from analysis.season import SEASON_DAYS
from analysis.sources import HAURWITZ, Source
from analysis.uncertainty import COVERAGE_95
from analysis.urgency import per_week, urgency_of

TEXT = FaultText(
    title="Something shades the collectors",
    customer=(
        "At some hours something stands between the sun and your collector that was not there "
        "before or is not on record. The system is in order, but it brings less heat."
    ),
    technician=(
        "Under a clear sky the collectors take up next to nothing while the sun stands in certain "
        "directions, and all that is due beside them, day after day. A tree has grown, something "
        "was built, or the horizon in the site file does not hold what is there."
    ),
    likely_causes=(
        "A tree or hedge that has grown, or is in leaf",
        "A new building, dormer, chimney, mast or scaffold",
        "Other collectors or modules put up in front",
        "An obstacle that always stood there and is not in the site file's horizon",
        "Azimuth of the collectors on record far off, if the edge is not sharp",
    ),
    check_next=(
        "From here: what stands in the directions named? Look at a photograph or a map",
        "Ask the customer what was built or planted, and for a picture from the garden",
        "If it is there to stay: put it into the horizon of the site file, so that the expected "
        "heat counts it",
        "From the ground, at the hour named: is there a shadow on the tubes?",
        "Have a tree cut by whoever is trained for it; whose tree it is comes first",
    ),
    cautions=(HEIGHT, HOT_PARTS, GLASS, LOCAL_CODES),
)

# So many sectors away a clear sky is still clear, and so many wide an obstacle may be (engineering
# judgement).
_NEIGHBOURS = 2
_EDGE_DEG = 4.0
_WIDEST = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Shading:
    """The sun is hidden at the same places of the sky day after day.

    Attributes
    ----------
    dark_frac : less than this share of what is due is dark: a clear sky's diffuse light is 0.1 to
        0.3 of it (engineering judgement)
    sensor_dark_frac : the same for the sun sensor, which sees more of the diffuse light
    free_frac : more than this is free of shade (engineering judgement)
    seen : so many days in a row that tell must be dark, where the sun sensor is in the light and
        says that the sky was clear
    sensor_seen : of so many all but one, where the sensor is dark itself and only the directions
        beside tell that the sky was clear (tuned on invented plants, as the next)
    lone_seen : the same where nobody measures the sun
    edge_frac, edge_days : of the dark days so many must have two free sectors beside each other,
        on the day itself or so many days before or after (engineering judgement)
    free_days : free days at the same places end it
    past_days : days before the onset that the plant is held against
    model_frac : 95 % reach of the healthy figure from one season to the next, against the plant's
        own past (engineering judgement)
    """

    dark_frac: float = 0.42
    sensor_dark_frac: float = 0.45
    free_frac: float = 0.7
    seen: int = 4
    sensor_seen: int = 8
    lone_seen: int = 6
    edge_frac: float = 0.5
    edge_days: int = 3
    free_days: int = 3
    past_days: int = 90
    model_frac: float = 0.06
    kind: str = "shading"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (HAURWITZ,)

    def observe(self, case: Case) -> Observation:
        """See what each direction of the sun brought."""
        return Observation(columns=sun_path_columns(case))

    def conclude(self, history: History) -> Conclusion:
        """Find directions that stay dark under a clear sky."""
        table = history.table
        lit, sun = _matrix(table, "lit"), _matrix(table, "sun")
        if not np.isfinite(lit).any() and not np.isfinite(sun).any():
            return NotJudged(
                why="neither the collectors' heat nor the sun is known in hours of high sun"
            )
        lit, sun = lit / _clear_level(lit), sun / _clear_level(sun)
        marks = self._marks(lit, sun)
        if max((mark.dark | mark.free).any(axis=1).sum() for mark in marks) < self.seen:
            return NotJudged(
                why="too few hours that prove by their neighbours that they were clear"
            )
        shaded = np.zeros(lit.shape, dtype=np.bool_)
        for mark in marks:
            lasting = mark.lasting()
            if lasting.any():
                shaded |= self._edged(_wide(lasting, mark.wide), mark.free)
        free = marks[0].free | marks[1].free | marks[2].free
        found = [
            self._found(history, days, shaded, free, lit, _blind(sun, shaded))
            for days in _spells(shaded)
            if len(days) >= self.seen
        ]
        return Judged(findings=tuple(found))

    def _edged(self, shaded: Bools, free: Bools) -> Bools:
        """Keep spells in which the sun was free elsewhere: what is dark all day is no shade."""
        beside = free & ~shaded
        lit = (beside[:, 1:] & beside[:, :-1]).any(axis=1)
        near = np.convolve(lit, np.ones(2 * self.edge_days + 1))[self.edge_days :] > 0.0
        kept = shaded.copy()
        for days in _spells(shaded):
            if near[days].sum() < self.edge_frac * len(days):
                kept[days] = False
        return kept

    def _marks(self, lit: Floats, sun: Floats) -> tuple["_Mark", ...]:
        """Tell day by day which sectors were dark under a clear sky, and which were free."""
        sensed = np.isfinite(sun).any(axis=1, keepdims=True)
        with np.errstate(invalid="ignore"):
            clear = sun >= self.free_frac
            # A sensor that stands at nothing tells of no share.
            share = lit / np.where(sun > 0.0, np.minimum(sun, 1.0), np.nan)
            dark_beside, free_beside = (
                clear & (share < self.dark_frac),
                clear & (share > self.free_frac),
            )
            sun_dark = _beside(sun, self.sensor_dark_frac, clear)
            lone_free = (lit > self.free_frac) & ~sensed
            lone_dark = _beside(lit, self.dark_frac, lone_free)
        return (
            _Mark(dark=dark_beside, free=free_beside, seen=self.seen, least=self.seen, wide=2),
            _Mark(
                dark=sun_dark,
                free=clear,
                seen=self.sensor_seen,
                least=self.sensor_seen - 1,
                wide=2,
            ),
            # A store that fills at noon, or a lock, may pass for a narrow shade.
            _Mark(
                dark=lone_dark,
                free=lone_free,
                seen=self.lone_seen,
                least=self.lone_seen - 1,
                wide=3,
            ),
        )

    def _found(
        self, history: History, days: Ints, shaded: Bools, free: Bools, lit: Floats, blind: bool
    ) -> Found:
        table = history.table
        sectors = np.flatnonzero(shaded[days].any(axis=0))
        height = elevations_deg(history.site, table)
        first, last = int(days[0]), int(days[-1])
        highest = float(height[days][shaded[days]].max())
        # An obstacle need not be as high as the sun in the middle of a sector.
        hidden = np.where(shaded[days], height[days], -np.inf).max(axis=0) - _EDGE_DEG
        lower = (free & (height < hidden))[:, sectors]
        after = lower[last + 1 :]
        over = bool(after.any(axis=1).sum() >= self.free_days)
        edges = table.days.edge_s
        start_s, end_s = int(edges[first]), int(edges[last + 1])
        before = lower[:first]
        new = bool(before.any(axis=1).sum() >= self.free_days)
        final = last if over else len(table.days) - 1
        sensed = np.isfinite(table.column("sky_source")[days]).any()
        missed = None if blind else self._missed(history, first, final)
        lost = None if missed is None else missed.lost
        certainty = 0.9 if new and len(sectors) > 1 else 0.75
        from_deg = SECTORS[int(sectors[0])]
        to_deg = SECTORS[int(sectors[-1])] + SECTOR_DEG
        week = per_week(lost, start_s=start_s, end_s=int(edges[final + 1]))
        sensor = "; the sun sensor is shaded as well" if blind and sensed else ""
        return Found(
            start_s=start_s,
            end_s=end_s if over else None,
            urgency=urgency_of(self.kind, certainty=certainty, lost_week=week),
            certainty=certainty,
            summary=f"With the sun between {from_deg}° and {to_deg}° (from north over east) and up "
            f"to {highest:.0f}° high, next to nothing arrives under a clear sky{sensor}",
            evidence=tuple(
                Evidence(what=what, start_s=start_s, end_s=end_s, value=value, unit=unit)
                for what, value, unit in (
                    ("from this azimuth of the sun, clockwise from north", from_deg, "°"),
                    ("to this azimuth", to_deg, "°"),
                    ("up to this height of the sun at least", highest, "°"),
                    ("days that showed it", float(len(days)), "days"),
                    (OTHER_END, _other_end(lit[days], shaded[days]), ""),
                )
                if np.isfinite(value)
            ),
            lost=lost,
            untaken_kwh=0.0 if missed is None else missed.untaken_kwh,
        )

    def _missed(self, history: History, first: int, last: int) -> Missed | None:
        """Give what is missing of the healthy figure, held against the plant's own past.

        As the store would have taken it: an emptier one made up for some at other hours.
        """
        table = history.table
        whole = np.isfinite(table.column("expected_kwh")) & np.isfinite(table.column("heat_kwh"))
        now = np.flatnonzero(whole[first : last + 1]) + first
        wanted, got = expected(table, now, history.site), delivered(table, now)
        if now.size == 0 or wanted is None or got is None or wanted.value <= 0.0:
            return None
        past = np.flatnonzero(whole[max(first - self.past_days, 0) : first])
        past = past + max(first - self.past_days, 0)
        due, had = expected(table, past, history.site), delivered(table, past)
        own = len(past) >= 20 and due is not None and had is not None and due.value > 0.0
        level = had.value / due.value if own and had is not None and due is not None else 1.0
        reach = self.model_frac * wanted.value
        if not own:
            reach = float(np.hypot(wanted.high - wanted.value, got.high - got.value))
        lacking = level * table.column("expected_kwh")[now] - table.column("heat_kwh")[now]
        return missed_heat(table, now, lacking, u_kwh=reach / COVERAGE_95)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Mark:
    """One way to tell dark from free, of shape (days, sectors), and how many days it takes.

    Of `seen` days in a row that tell, `least` must be dark, and `wide` sectors beside each other.
    """

    dark: Bools
    free: Bools
    seen: int
    least: int
    wide: int

    def lasting(self) -> Bools:
        """Tell where it was dark day after day."""
        shaded = np.zeros(self.dark.shape, dtype=np.bool_)
        told = np.empty(len(shaded), dtype=np.int64)
        dark, free = given(self.dark), given(self.free)
        mark_lasting(dark, free, self.seen, self.least, SEASON_DAYS, told, shaded)
        return shaded


def _wide(shaded: Bools, least: int) -> Bools:
    """Keep sectors on days on which so many beside each other were dark."""
    kept = np.zeros(shaded.shape, dtype=np.bool_)
    count = shaded.shape[1] - least + 1
    whole = np.all([shaded[:, at : at + count] for at in range(least)], axis=0)
    for at in range(least):
        kept[:, at : at + count] |= whole
    return kept


def _matrix(table: DayTable, what: str) -> Floats:
    return np.stack([table.column(sector_name(first, what)) for first in SECTORS], axis=1)


def _clear_level(share: Floats) -> float:
    """Give what a clear sky brings here: errors of heat, sensor and collector data are in it."""
    known = share[np.isfinite(share)]
    if known.size == 0:
        return 1.0
    return min(max(quantile_of(known, _CLEAR_QUANTILE), 0.4), 1.6)


# A sky is clear for a tenth of the time at least (engineering judgement).
_CLEAR_QUANTILE = 0.9


def _beside(share: Floats, dark_frac: float, free: Bools) -> Bools:
    """Tell dark sectors that two free ones in a row come close to, and what hangs on them.

    The edge is sharp: what is dark beside a slope, as a wrong azimuth makes it, is no shade.
    """
    if not free.any():
        return free
    pair = np.where(free[:, 1:] & free[:, :-1], np.fmin(share[:, 1:], share[:, :-1]), -np.inf)
    near = np.full(share.shape, -np.inf)
    for apart in range(1, _NEIGHBOURS + 1):
        near[:, apart + 1 :] = np.fmax(near[:, apart + 1 :], pair[:, :-apart])
        near[:, : -apart - 1] = np.fmax(near[:, : -apart - 1], pair[:, apart:])
    dark = share < dark_frac
    kept, grown = np.zeros(share.shape, dtype=np.bool_), dark & (share < dark_frac * near)
    for _ in range(_WIDEST + 1):
        # Mostly nothing hangs on them.
        if np.array_equal(kept, grown):
            break
        kept, grown = grown, grown.copy()
        grown[:, 1:] |= kept[:, :-1]
        grown[:, :-1] |= kept[:, 1:]
        grown &= dark
    return kept


def _other_end(lit: Floats, shaded: Bools) -> float:
    """Give what was taken up on the sunnier days while the sun stood as far before noon.

    Or after noon, where the shade lies before it; NaN where there is no such end.
    """
    sectors = np.asarray(shaded.any(axis=0))
    seen = lit[:, sectors[::-1] & ~sectors]
    seen = seen[np.isfinite(seen)]
    return quantile_of(seen, _SUNNY_QUANTILE)


# Of the days on which one end of the day is dark under a clear sky, the other is clear on one in
# four at least (engineering judgement).
_SUNNY_QUANTILE = 0.75


def _spells(shaded: Bools) -> list[Ints]:
    """Give the days of each spell; those within a season are one."""
    days = np.flatnonzero(shaded.any(axis=1))
    if days.size == 0:
        return []
    return list(np.split(days, np.flatnonzero(np.diff(days) > SEASON_DAYS) + 1))


def _blind(sun: Floats, shaded: Bools) -> bool:
    """Tell whether the sun sensor lay in the same shade, or there is none."""
    there = sun[shaded & np.isfinite(sun)]
    return there.size == 0 or float(np.median(there)) < 0.5
