"""How much of a clear sky's heat the collectors took up, by the direction that the sun stood in.

An obstacle hides the sun at the same places of the sky on every day, so heat is summed by sectors
of the sun's azimuth. What the collectors took up is read from their own balance: heat that came
down, what they lost to the air, and what they hold. So a pump that stops in the shade tells as well
as one that runs.
"""

import numpy as np

from analysis.case import Case
from analysis.compiled import given
from analysis.days import DayTable
from analysis.faults._rest_kernel import warm_at_rest
from analysis.grid import BIN_S
from analysis.record import Bools, Floats, Ints, known_or_zero
from analysis.runs import lately
from analysis.site import Site
from analysis.sky import NO_SOURCE, Sky
from analysis.sun import azimuth_deg, sun_vectors

SECTOR_DEG = 10
FIRST_DEG, LAST_DEG = 70, 290
"""Sectors begin every ten degrees from the first on; the last one ends at the last."""
SECTORS = tuple(range(FIRST_DEG, LAST_DEG, SECTOR_DEG))

# A clear sky must offer this share of the brightest output, or errors of the balance decide, and a
# sector a quarter of an hour of it (engineering judgement).
_LEAST_OFFER_FRAC = 0.2
_LEAST_BINS = 3
# After a full store or a lock the balance is no sign for so long (engineering judgement).
_AFTER_BINS = 12
# A collector hotter than this holds heat in its tubes that its sensor does not see, and one near
# its cut-out is locked (engineering judgement).
_HOT_C = 105.0
# A clear sky would have started the loop by then: this far above the start difference (engineering
# judgement: the light of the first hour, and a heat pipe that starts cold).
_SURELY_K = 15.0


def sector_name(first_deg: int, what: str) -> str:
    """Give the column of a sector: `lit_` of the collectors, `sun_` of the sun sensor."""
    return f"{what}_{first_deg:03d}_frac"


def sun_path_columns(case: Case) -> dict[str, Floats]:
    """Give for each day and sector what a clear sky's share was; arrays of shape (days,).

    `lit_<azimuth>_frac` taken up by the collectors over what a clear sky offers them,
    `sun_<azimuth>_frac` read by the sun sensor over a clear sky's; NaN where the day does not tell.
    """
    clear, daylight = case.clear, case.daylight
    offered_w = clear.gain_w.ravel()[daylight.bins]
    sector = np.floor((azimuth_deg(daylight.toward) - FIRST_DEG) / SECTOR_DEG).astype(np.int64)
    bright = offered_w >= _LEAST_OFFER_FRAC * case.model.brightest_w
    chosen = np.flatnonzero(bright & (sector >= 0) & (sector < len(SECTORS)))
    bins, sector, offered_w = daylight.bins[chosen], sector[chosen], offered_w[chosen]
    day = bins // case.grid.shape[1]
    of_day = day * len(SECTORS) + sector
    taken_w = _taken_w(case).ravel()[bins]
    told = _telling(case, clear).ravel()[bins] & np.isfinite(taken_w)
    days = len(case.days)
    columns = _by_sector(taken_w[told], offered_w[told], of_day[told], days, "lit")
    sensed = case.sky.source != NO_SOURCE
    if sensed.any():
        read, due = (sky.g_plane_w_m2.ravel()[bins] for sky in (case.sky, clear))
        told = np.isfinite(read) & sensed[day]
        columns |= _by_sector(read[told], due[told], of_day[told], days, "sun")
    return columns


def _taken_w(case: Case) -> Floats:
    """Give what the collectors took up, by their own balance [W]."""
    loop, model, expected = case.loop, case.model, case.expected
    held_c = loop.t_inside_c
    rise_k = np.zeros(held_c.shape)
    rise_k[:, 1:-1] = (held_c[:, 2:] - held_c[:, :-2]) / 2.0
    still_w = model.collector_j_k * rise_k / BIN_S + model.loss_w(held_c - loop.t_ambient_c)
    running_w = loop.heat_w + expected.stored_w + expected.loss_w + expected.pipe_w
    return np.where(expected.carried, running_w, still_w)


def _telling(case: Case, clear: Sky) -> Bools:
    """Tell bins in which the balance says something of the sun.

    Before the first run of a day heat may hide in the tubes: there only what is long overdue tells.
    """
    loop = case.loop
    hot_c = min(_HOT_C, case.site.controller.collector_cutout_c - 20.0)
    recent = lately(case.full_or_locked | (loop.t_roof_c > hot_c), _AFTER_BINS)
    run = np.maximum.accumulate(case.expected.carried, axis=1)
    known = (loop.known_s >= 0.5 * BIN_S) & np.isfinite(loop.t_store_bottom_c)
    return np.asarray(known & ~recent & (run | _overdue(case, clear)))


def _overdue(case: Case, clear: Sky) -> Bools:
    """Tell bins in which a collector at rest would long be hot under a clear sky."""
    loop, model = case.loop, case.model
    air = np.where(np.isfinite(loop.t_ambient_c), loop.t_ambient_c, np.nan)
    begins = loop.t_store_bottom_c + case.site.controller.start_difference_k + _SURELY_K
    start_c = max(
        (array.heat_pipe_start_c or -np.inf for array in case.site.arrays), default=-np.inf
    )
    over = np.empty(air.shape)
    warm_at_rest(
        given(known_or_zero(clear.gain_w)),
        BIN_S / model.collector_j_k,
        model.loss_w_k,
        model.loss_w_k2,
        over,
    )
    return np.asarray(air + over > np.maximum(begins, start_c + _SURELY_K))


def _by_sector(
    values: Floats, offered: Floats, of_day: Ints, days: int, what: str
) -> dict[str, Floats]:
    """Sum bins by day and sector, whose number `of_day` is, sectors of a day in a row."""
    count, taken, due = (
        np.bincount(of_day, weights=weights, minlength=days * len(SECTORS))
        for weights in (None, values, offered)
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(count >= _LEAST_BINS, taken / due, np.nan).reshape(-1, len(SECTORS))
    return {
        sector_name(first_deg, what): share[:, number] for number, first_deg in enumerate(SECTORS)
    }


def elevations_deg(site: Site, table: DayTable) -> Floats:
    """Give how high the sun stands in the middle of each sector; shape (days, sectors) [°].

    NaN where it does not come there: azimuth, declination and latitude make a triangle.
    """
    place = site.place
    sun = sun_vectors(
        time_s=(table.days.edge_s[:-1] + table.days.edge_s[1:]) // 2,
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m,
    )
    latitude = np.deg2rad(place.latitude_deg)
    pole = sun.up * np.sin(latitude) + sun.north * np.cos(latitude)
    toward = np.deg2rad(np.array(SECTORS) + SECTOR_DEG / 2.0)
    level = np.cos(latitude) * np.cos(toward)
    with np.errstate(invalid="ignore"):
        height = np.arcsin(pole[:, None] / np.hypot(np.sin(latitude), level)[None, :])
    return np.asarray(np.rad2deg(height - np.arctan2(level, np.sin(latitude))))
