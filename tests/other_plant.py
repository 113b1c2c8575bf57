"""A second, much simpler invented plant, so that no detector fits one simulator's habits.

Nothing of `fixtures` is used: one node of collector, a hot pipe, three store layers, a coil in
the lowest two, a controller with its limit on a chosen sensor. The sun is a declination and an hour
angle under a clear sky of one transmittance; weather comes day by day from a seed. Every number is
invented and of the right size.
"""

from dataclasses import asdict, dataclass
from functools import cache
from math import cos, exp, pi, radians, sin

import numpy as np

from analysis.record import Record, record_from_stamps
from analysis.site import Site
from analysis.sitefile import parse_site

STEP_S, SAMPLES = 120.0, 5
LATITUDE_DEG, TILT_DEG = 40.0, 40.0
WATER_J_LK = 4140.0

SITE = """
schema = 1
[site]
name = "Another plant (invented)"
latitude = {latitude}
longitude = 0.0
elevation_m = 50
timezone = "UTC"
[[array]]
collector = "direct_flow"
tubes = 20
tilt_deg = {tilt}
azimuth_deg = 180
area_m2 = {area}
area_basis = "aperture"
eta0_beam = 0.70
a1_w_m2k = 1.5
a2_w_m2k2 = 0.006
heat_capacity_kj_m2k = {capacity_kj}
iam_diffuse = 1.0
iam_angles_deg = [0, 90]
iam_transversal = [1, 1]
iam_longitudinal = [1, 1]
[loop]
fluid = "water"
concentration = 0.0
flow_l_min = {flow}
pump_w = 30
kind = "drain_back"
pipe_length_m = {pipe_m}
[store]
volume_l = {volume}
limit_c = {limit}
[controller]
start_difference_k = 6
stop_difference_k = 2
collector_cutout_c = {cutout}
"""


@dataclass(frozen=True, kw_only=True)
class Other:
    """What the plant is and what happens to it; days count from the first."""

    start: str = "2025-04-01"
    days: int = 40
    seed: int = 1
    area: float = 2.5
    capacity_kj: float = 8.0
    flow: float = 2.5
    volume: float = 160.0
    litres_per_day: float = 90.0
    limit: float = 65.0
    hysteresis_k: float = 4.0
    limit_on_top: bool = False
    cutout: float = 130.0
    grain_k: float = 0.1
    clear: float = 0.6
    pipe_m: float = 10.0
    outdoors: bool = False
    dead: tuple[int, int] | None = None
    airlock: tuple[int, int] | None = None
    shade: tuple[int, int] | None = None

    @property
    def site(self) -> Site:
        """The facts as its site file states them."""
        return parse_site(SITE.format(latitude=LATITUDE_DEG, tilt=TILT_DEG, **asdict(self)))


def _within(day: float, span: tuple[int, int] | None) -> bool:
    return span is not None and span[0] <= day < span[1]


def _sun(time_s: float) -> tuple[float, float]:
    """Give the sine of the sun's height and the cosine on the plane, no equation of time."""
    year_day = time_s / 86400.0 % 365.25
    declination = radians(23.44) * sin(2.0 * pi * (year_day - 80.5) / 365.25)
    hour = 2.0 * pi * (time_s % 86400.0 / 86400.0 - 0.5)
    height = _cosine(radians(LATITUDE_DEG), declination, hour)
    return height, _cosine(radians(LATITUDE_DEG - TILT_DEG), declination, hour)


def _cosine(latitude: float, declination: float, hour: float) -> float:
    return sin(latitude) * sin(declination) + cos(latitude) * cos(declination) * cos(hour)


def _weather(plant: Other) -> np.ndarray:
    """Give the share of the beam that gets through, step by step: days come in runs of a kind."""
    random = np.random.default_rng(plant.seed)
    per_day = int(86400 / STEP_S)
    beam = np.ones((plant.days, per_day))
    kind = "clear"
    for day in range(plant.days):
        if random.random() > 0.6:
            kind = "clear" if random.random() < plant.clear else random.choice(["broken", "dull"])
        if kind == "dull":
            beam[day] = 0.03
        elif kind == "broken":
            cloud = np.repeat(random.random(per_day // 6) < 0.45, 6)
            beam[day, cloud] = 0.05
    return beam.ravel()


CHANNELS = ("collector", "loop_hot", "loop_cold", "store_bottom", "store_top", "ambient",
            "irradiance_plane", "flow", "pump")  # fmt: skip


def log_of(plant: Other, *, without: tuple[str, ...] = ()) -> Record:
    """Give the log: means of ten minutes, stamped at their ends, temperatures in whole grains."""
    sampled = _sampled(plant).reshape(-1, SAMPLES, len(CHANNELS)).mean(axis=1)
    random = np.random.default_rng(plant.seed + 1)
    columns = {}
    for name, values in zip(CHANNELS, sampled.T, strict=True):
        if name.startswith(("collector", "loop", "store", "ambient")):
            noisy = values + 0.05 * random.standard_normal(len(values))
            values = np.round(noisy / plant.grain_k) * plant.grain_k
        if name not in without:
            columns[name] = np.ascontiguousarray(values)
    step_s = int(STEP_S * SAMPLES)
    stamps = _begin_s(plant) + step_s * np.arange(1, len(sampled) + 1, dtype=np.int64)
    return record_from_stamps(stamp_s=stamps, columns=columns, stamp="end")


def heat_kwh(plant: Other) -> np.ndarray:
    """Give the heat that the coil truly handed over on each day [kWh]."""
    return np.array([row[-1] for row in _steps(plant)]).reshape(plant.days, -1).sum(axis=1) / 3.6e6


def _begin_s(plant: Other) -> int:
    return int(np.datetime64(plant.start, "s").astype(np.int64))


def _sampled(plant: Other) -> np.ndarray:
    """Give the channels at every step, shape (steps, channels)."""
    return np.array(_steps(plant))[:, :-1]


@cache
def _steps(plant: Other) -> list[tuple[float, ...]]:
    """Run the plant; give the channels at every step and the heat into the store [J]."""
    rows: list[tuple[float, ...]] = []
    roof, hot, low, mid, top = 10.0, 18.0, 20.0, 30.0, 45.0
    on = full = locked = False
    layer_l = plant.volume / 3.0
    layer_j_k, roof_j_k = layer_l * WATER_J_LK, plant.area * plant.capacity_kj * 1000.0
    for number, beam in enumerate(_weather(plant).tolist()):
        day, hour = divmod(number * STEP_S / 3600.0, 24.0)
        height, facing = _sun(_begin_s(plant) + (number + 0.5) * STEP_S)
        air = 14.0 + 5.0 * sin((hour - 9.0) / 12.0 * pi)
        sun = 0.0
        if height > 0.02:
            direct = 1361.0 * 0.72 ** ((1.0 / (height + 0.05)) ** 0.678)
            sun = direct * beam * max(facing, 0.0) + height * (110.0 + 160.0 * (1.0 - beam))
        gain = 0.70 * sun * plant.area * (0.62 if _within(day, plant.shade) else 1.0)

        watched = top if plant.limit_on_top else low
        full = watched >= plant.limit or (full and watched > plant.limit - plant.hysteresis_k)
        locked = roof > plant.cutout or (locked and roof > plant.cutout - 10.0)
        on = roof - low > (2.0 if on else 6.0) and not full and not locked
        flow = plant.flow if on and not _within(day, plant.dead) else 0.0
        flow *= 0.04 if _within(day, plant.airlock) else 1.0

        # The coil: the middle layer first, then the lowest.
        stream = flow / 60.0 * WATER_J_LK
        share = 1.0 - exp(-0.75 * (plant.flow / flow) ** 0.5) if flow else 0.0
        between = hot - share * (hot - mid)
        cold = between - share * (between - low)
        pipe_w_k, around = 0.09 * plant.pipe_m, air if plant.outdoors else 18.0
        back = cold - pipe_w_k * (cold - around) / stream if stream else cold
        # The roof is the mean of what comes and goes; taken implicitly.
        loss_w_k = plant.area * (1.5 + 0.006 * abs(roof - air))
        given = gain - loss_w_k * (roof - air) - 2.0 * stream * (roof - back)
        roof += STEP_S * given / (roof_j_k + STEP_S * (loss_w_k + 2.0 * stream))
        to_hot = stream * (2.0 * roof - back - hot) - pipe_w_k * (hot - around)
        hot += STEP_S * to_hot / (450.0 * plant.pipe_m + STEP_S * (stream + pipe_w_k))
        # What leaves the pipe in this step is what the store gets: no heat is lost between steps.
        brought_j = STEP_S * stream * (hot - cold)
        mid += STEP_S * stream * (hot - between) / layer_j_k
        low += STEP_S * stream * (between - cold) / layer_j_k

        if hour > 5.0 and top < 50.0:
            top += STEP_S * 6000.0 / layer_j_k
        if 7.0 <= hour < 8.0 or 19.0 <= hour < 20.0:
            part = plant.litres_per_day * (0.8 + 0.1 * (day % 5)) / layer_l * STEP_S / 7200.0
            top += part * (mid - top)
            mid += part * (low - mid)
            low += part * (11.0 - low)
        if low > mid:
            low = mid = (low + mid) / 2.0
        if mid > top:
            mid = top = (mid + top) / 2.0
        top -= STEP_S * 0.7 * (top - 18.0) / layer_j_k
        shown = cold if flow else 18.0 + 0.3 * (hot - 18.0)
        rows.append((roof, hot, shown, low, top, air, sun, flow, 100.0 * on, brought_j))
    return rows
