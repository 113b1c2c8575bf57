"""How much of the commissioned flow moved, day by day: metered, else from spread and sun.

Without a meter a collector that gives too little looks like more flow, never like less: only a lack
of flow can be concluded from it. Without meter and sun the days whose curves prove a clear sky tell
it (`analysis.clear_sky`): no plant brings more than that sky, so a spread that says so says that
less flows. The plant's own earlier days carry the same errors of sensors, sky and papers.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.clear_days import EDGE_FRAC
from analysis.compiled import given
from analysis.days import DayTable, Happening
from analysis.faults._own_kernel import follow
from analysis.faults._share_kernel import sum_both
from analysis.record import Bools, Floats
from analysis.units import SECONDS_PER_HOUR

# The flow at commissioning belongs to full command; below it pumps are not linear (engineering
# judgement), so that part command is held against its own past alone.
BANDS_PERCENT = ((70.0, 101.0), (45.0, 70.0), (25.0, 45.0))
# Sun for which the healthy figure is large against its own error (engineering judgement).
_BRIGHT_FRAC = 0.4
# Both pipes differ by this at least, or their sensors decide (engineering judgement).
_LEAST_SPREAD_K = 2.0
_LEAST_H = 1.0
# So many sound days make the plant's own level, the latest so many count, and a day this near to
# it is sound (engineering judgement).
OWN_DAYS, _RECENT_DAYS = 12, 40
SOUND_FRAC = (0.75, 1.33)
# Days that agree lie this near to their edge: clear ones do, dull ones scatter (engineering
# judgement; on invented plants clear ones lay within 5 %).
_AGREE_FRAC = 0.1
# Below it nothing moves, or a dead meter shows nothing: no level of a plant.
_NOTHING_FRAC = 0.12


def metered_share(case: Case, band: tuple[float, float] = BANDS_PERCENT[0]) -> Floats:
    """Give metered over commissioned flow in a band of command; (days,), NaN unknown [-]."""
    pump, flow = case.binned("pump"), case.binned("flow")
    asked = case.model.flow_l_min * pump / 100.0
    return share_of(case, flow, asked, steady_in(pump, band) & np.isfinite(flow))


def sunlit_share(case: Case) -> Floats:
    """Give the share that spread and healthy heat tell; shape (days,), NaN unknown [-]."""
    pump = case.binned("pump")
    spread = case.binned("loop_hot") - case.binned("loop_cold")
    carried_w = case.model.flow_w_k * pump / 100.0 * spread
    healthy = case.expected.power_w
    bright = case.sky.gain_w > _BRIGHT_FRAC * case.model.brightest_w
    steady = steady_in(pump, BANDS_PERCENT[0])
    use = steady & bright & case.expected.carried & (spread > _LEAST_SPREAD_K)
    return share_of(case, healthy, carried_w, use & np.isfinite(healthy))


def clear_share(table: DayTable) -> Floats:
    """Give the share that days of an unseen but smooth sky tell; NaN where none does [-].

    Dull days seem to have more flow than there was, so it is the low edge that counts.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(1.0 / table.column("clear_ratio"))


def running_span_s(case: Case) -> dict[str, Floats]:
    """Give first and last instant of each day's pumping, columns of shape (days,) [epoch s]."""
    from_s, until_s = case.spans_s(case.binned("pump") >= BANDS_PERCENT[-1][0])
    return {"pumped_from_s": from_s, "pumped_until_s": until_s}


def happenings_of(
    kind: str, table: DayTable, days: Bools, values: dict[str, Floats]
) -> tuple[Happening, ...]:
    """Give a happening for each of these days, over its time of pumping."""
    start_s, end_s = table.column("pumped_from_s"), table.column("pumped_until_s")
    return tuple(
        Happening(
            kind=kind,
            date=table.days.dates[day],
            start_s=int(start_s[day]),
            end_s=int(end_s[day]),
            values={name: float(given[day]) for name, given in values.items()},
        )
        for day in np.flatnonzero(days & np.isfinite(start_s)).tolist()
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Own:
    """Each day's share over the plant's own level of before, and that level; NaN unknown."""

    share: Floats
    level: Floats


def against_own(
    share: Floats, *, edge_frac: float = 0.5, least: int = OWN_DAYS, agreeing: int | None = None
) -> Own:
    """Hold each day against the sound days before it.

    Parameters
    ----------
    share : shape (days,), NaN unknown
    edge_frac : which quantile of the sound days is their level
    least : so many sound days make a level, at most as many as are remembered
    agreeing : fewer make one as soon as so many of them lie near it; None: they never do
    """
    relative, level = np.full((2, len(share)), np.nan)
    follow(
        given(share),
        _NOTHING_FRAC,
        edge_frac,
        least,
        # More than there are days never agree.
        len(share) + 1 if agreeing is None else agreeing,
        _AGREE_FRAC,
        *SOUND_FRAC,
        np.empty((2, _RECENT_DAYS)),
        relative,
        level,
    )
    return Own(share=relative, level=level)


# The low edge of shares is the high edge of what came.
LOW_EDGE_FRAC = 1.0 - EDGE_FRAC


def steady_in(pump: Floats, band: tuple[float, float]) -> Bools:
    """Tell bins in a band of command whose neighbours are as well: no start or stop within."""
    on = (pump >= band[0]) & (pump < band[1])
    steady = np.zeros(on.shape, dtype=np.bool_)
    steady[:, 1:-1] = on[:, 1:-1] & on[:, :-2] & on[:, 2:]
    return steady


def share_of(case: Case, above: Floats, below: Floats, use: Bools) -> Floats:
    """Give one sum over another in chosen bins, NaN on days with less than an hour of them [-]."""
    share, used_s = np.empty((2, len(case.days)))
    sum_both(given(above), given(below), given(use), given(case.loop.known_s), share, used_s)
    return np.where(used_s / SECONDS_PER_HOUR >= _LEAST_H, share, np.nan)
