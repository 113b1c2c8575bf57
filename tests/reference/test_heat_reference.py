"""Heat and its uncertainty through our own chain, against published examples and measured days."""

from pathlib import Path

import numpy as np
import pytest

from analysis.heat import heat_flow
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.record import record_from_stamps
from analysis.sitefile import parse_map
from analysis.uncertainty import COVERAGE_95, RECTANGLE
from analysis.units import kwh_from_j
from tests.build import a_record, a_site
from tests.reference._ref import Ref

# 40 % propylene glycol, 2.0 l/min in the cold pipe, 60/48 C, 1016.7 kg/m3, 3810 J/(kg K); limits of
# flow 3 %, of the fluid 2 % (rectangles), class A sensors, unpaired.
GUM_EXAMPLE = "JCGM 100:2008 eq. 10 on invented inputs, recomputed apart (example of 12 K spread)"
CLASS_B = "IEC 60751:2022 class B pair at 60/48 C, JCGM 100:2008 4.3.7, recomputed apart"


def example(*, temperature_class="A"):
    # Limits of 3 % as a rectangle are the 95 % limits that give the same standard uncertainty.
    flow_percent = 3.0 / RECTANGLE * COVERAGE_95
    site = a_site(
        sensors={
            "temperature_class": temperature_class,
            "strapped_on": False,
            "flow_percent": flow_percent,
        }
    )
    record = a_record(rows=2, flow=2.0, loop_hot=60.0, loop_cold=48.0)
    return heat_flow(site=site, record=record, channels=frozenset(record.columns))


def test_power_of_the_worked_example():
    # The example's rounded fluid numbers against the correlation: 0.3 %.
    Ref(expected=1549.5, rtol=3e-3, source=GUM_EXAMPLE).check(example().power_w)


def test_flow_share_of_the_worked_example():
    found = example()
    Ref(expected=0.01732, atol=1e-5, source=GUM_EXAMPLE).check(found.u_w["flow"] / found.power_w)


def test_temperature_share_of_the_worked_example():
    found = example()
    pair = np.hypot(found.u_w["hot"], found.u_w["cold"]) / found.power_w
    Ref(expected=0.01757, atol=1e-5, source=GUM_EXAMPLE).check(pair)


def test_combined_uncertainty_of_the_worked_example():
    found = example()
    # The example allows 2 % (rectangle) for the fluid; the site's own figure is replaced by it.
    parts = {**found.u_w, "fluid": found.power_w * 0.02 / RECTANGLE}
    combined = np.sqrt(sum(part**2 for part in parts.values())) / found.power_w
    Ref(expected=0.05449, atol=1e-4, source=GUM_EXAMPLE).check(2.0 * combined)


@pytest.mark.parametrize(
    ("spread_k", "ref"),
    [
        (12.0, Ref(expected=0.0388, atol=1e-4, source=CLASS_B)),
        (4.0, Ref(expected=0.1165, atol=2e-4, source=CLASS_B)),
    ],
)
def test_a_small_spread_is_read_badly(spread_k, ref):
    """The published shares are those of the limits at 60 and 48 C, laid over both spreads."""
    found = example(temperature_class="B")
    pair_k = np.hypot(found.u_w["hot"], found.u_w["cold"]) / found.capacity_w_k
    ref.check(pair_k / spread_k)


# Two measured days of an uncovered collector, 2 minutes a row, stamps at the start; see SOURCE.md
# beside the files (revised BSD licence). Real sensors and water, so good for the integral.
DATA = Path(__file__).parents[3] / "shared" / "data" / "collector-days-2min"
SOURCE = "collector test days, HTW Saar: Jonas, Theis, Frey, Solar Energy 193 (2019) 51-64"
MEASURED = [
    (1, Ref(expected=4.3298, rtol=0.003, source=SOURCE)),
    (4, Ref(expected=0.0888, atol=0.003, source=SOURCE)),
]
MAP = """
[log]
stamp = "start"
delimiter = " "
time_origin = "2019-01-01T00:00:00Z"
[log.columns]
"1" = { channel = "time", unit = "s" }
"2" = { channel = "irradiance_plane", unit = "W/m2" }
"12" = { channel = "ambient", unit = "C" }
"13" = { channel = "loop_cold", unit = "C" }
"15" = { channel = "loop_hot", unit = "C" }
"17" = { channel = "flow", unit = "kg/s" }
"""

needs_data = pytest.mark.skipif(not DATA.is_dir(), reason="the measured days are not at hand")


def water_site():
    return a_site(loop={"fluid": "water", "concentration_frac": 0.0})


def measured_text(number):
    return (DATA / f"PVT_UI_Typ{number}_measurements.txt").read_text(encoding="ascii")


def heat_kwh(record):
    found = heat_flow(
        site=water_site(), record=record, channels=frozenset({"flow", "loop_hot", "loop_cold"})
    )
    assert np.isfinite(found.power_w).all()
    return float(kwh_from_j(float((found.power_w * record.step_s).sum())))


@needs_data
@pytest.mark.parametrize(("number", "ref"), MEASURED)
def test_measured_day_from_its_numbers(number, ref):
    rows = [line.split() for line in measured_text(number).splitlines()[2:]]
    table = np.array([row for row in rows if len(row) == 25], dtype=np.float64)[:-1]
    cold, hot, mass = table[:, 12], table[:, 14], table[:, 16]
    # Mass to volume with an approximation of its own (Kell 1975, from memory), so that the density
    # inside the heat sum is checked too.
    density = 1000.0 * (
        1.0 - (cold + 288.9414) * (cold - 3.9863) ** 2 / (508929.2 * (cold + 68.13))
    )
    record = record_from_stamps(
        stamp_s=np.rint(table[:, 0]).astype(np.int64),
        columns={"loop_cold": cold, "loop_hot": hot, "flow": mass / density * 60_000.0},
        stamp="start",
    )
    ref.check(heat_kwh(record))


@needs_data
@pytest.mark.parametrize(("number", "ref"), MEASURED)
def test_measured_day_as_a_log_with_a_map(number, ref):
    lines = measured_text(number).splitlines()
    text = "\n".join(lines[:-1] if lines[-1].strip() else lines[:-2])
    parsed = read_logs(
        [LogSource(name="day.txt", data=text.encode())],
        site=water_site(),
        log_map=parse_map(MAP),
    )
    record = record_from_stamps(
        stamp_s=parsed.stamp_s, columns=dict(parsed.columns), stamp=parsed.stamp
    )
    assert parsed.stamp == "start"
    ref.check(heat_kwh(record))
