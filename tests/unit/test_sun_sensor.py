"""The sun sensor against the clear sky and the night, and its drift over the years.

Plants and logs are invented; the clear sky is checked against pvlib.
"""

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pandas as pd
import pytest
from pvlib import atmosphere, clearsky

from analysis import sun
from analysis.assess import observe
from analysis.cloudless import clear_sky
from analysis.days import Happening
from analysis.energy import expected
from analysis.field_check.hours import HOUR_KIND
from analysis.site import Change
from analysis.sun_basis import sensor_notes
from analysis.sun_drift import drift_notes, drifts, without_drift
from fixtures.weather import SOUTHERN
from tests.bench import sun_drift
from tests.build import FULL_LOG, a_plant, a_report_of, a_site, a_table
from tests.reference._ref import Ref

clear_days = cache(sun_drift.clear_days)


def test_clear_sky_of_a_midsummer_noon():
    place = {"latitude_deg": 51.5, "longitude_deg": 0.0, "elevation_m": 30.0}
    time_s = np.array([1_750_507_200])  # 21 June 2025, 12:00 UTC
    height = sun.sun_vectors(time_s=time_s, **place).up
    # The recorded case takes 1366.1 W/m2 for the solar constant, as pvlib does.
    outside = sun.extraterrestrial_w_m2(time_s) * 1366.1 / sun.SOLAR_CONSTANT_W_M2
    found = clear_sky(cos_zenith=height, extraterrestrial_w_m2=outside, elevation_m=30.0, linke=3.0)
    source = "Ineichen & Perez (2002) through pvlib 0.16.1, Linke 3"
    # It names neither year nor air pressure; 2 W/m2 cover both.
    Ref(expected=887.99, atol=2.0, source=source).check(found.ghi[0])
    Ref(expected=892.61, atol=2.0, source=source).check(found.dni[0])
    Ref(expected=100.29, atol=2.0, source=source).check(found.dhi[0])


@pytest.mark.parametrize("linke", [2.0, 3.0, 6.0])
@pytest.mark.parametrize("elevation_m", [0.0, 800.0, 2500.0])
def test_clear_sky_equals_pvlib(linke, elevation_m):
    zenith = np.linspace(0.0, 89.0, 90)
    pressure = 101325.0 * (1.0 - 2.25577e-5 * elevation_m) ** 5.25588
    relative = atmosphere.get_relative_airmass(zenith)
    theirs = clearsky.ineichen(
        pd.Series(zenith), relative * pressure / 101325.0, linke, altitude=elevation_m,
        dni_extra=1364.0,
    )  # fmt: skip
    ours = clear_sky(
        cos_zenith=np.cos(np.radians(zenith)),
        extraterrestrial_w_m2=1364.0,
        elevation_m=elevation_m,
        linke=linke,
    )
    for name in ("ghi", "dni", "dhi"):
        np.testing.assert_allclose(getattr(ours, name), theirs[name], atol=1e-6)


@pytest.fixture(scope="module")
def plant():
    return a_plant(
        start="2025-05-01",
        days=30,
        step_s=300,
        sensors="perfect",
        channels=FULL_LOG,
        climate=SOUTHERN,
    )


def with_sun(plant, change):
    """Give the plant's days with its sun sensor reading something else."""
    values = change(plant.record.columns["irradiance_plane"])
    record = replace(plant.record, columns={**plant.record.columns, "irradiance_plane": values})
    return observe(site=plant.site, record=record, channels=plant.channels)


def test_clear_hours_are_found_by_shape_whatever_the_sensor_reads(plant):
    right = with_sun(plant, lambda values: values)
    dull = with_sun(plant, lambda values: 0.8 * values)
    clear = right.column("sensor_clear_h") >= 1.5
    assert 10 <= clear.sum() <= 29
    np.testing.assert_array_equal(
        right.column("sensor_clear_h")[clear], dull.column("sensor_clear_h")[clear]
    )
    ratio = dull.column("sensor_clear_ratio") / right.column("sensor_clear_ratio")
    np.testing.assert_allclose(ratio[clear], 0.8, rtol=1e-6)
    # The simulator's own clear sky is another one (0.715 to the power of the air mass).
    assert np.all(np.abs(right.column("sensor_clear_ratio")[clear] - 1.0) < 0.15)
    assert sensor_notes(right) == ()


def test_a_wrong_scale_a_wrong_zero_and_too_much_sun_are_said(plant):
    (half,) = sensor_notes(with_sun(plant, lambda values: 0.6 * values))
    assert "of what a clear sky gives" in half
    (zero,) = sensor_notes(with_sun(plant, lambda values: values + 12.0))
    assert "+12 W/m2 at night" in zero
    much = " ".join(sensor_notes(with_sun(plant, lambda values: 1.4 * values)))
    assert "more than the cleanest air lets through" in much


def test_a_plant_without_a_sensor_has_no_columns_of_one():
    plant = a_plant(days=2, channels=[name for name in FULL_LOG if "irradiance" not in name])
    assert not any(name.startswith("sensor_clear") for name in plant.table().columns)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_drift_of_five_years_is_proven_and_taken_out(seed):
    table, _ = clear_days(seed, years=5.0, per_year=-0.04)
    (found,) = drifts(table, a_site())
    assert found.proven
    assert abs(found.per_year + 0.04) < 1.96 * found.u_per_year
    fixed = without_drift(table, (found,))
    assert fixed.column("irradiation_kwh_m2")[-1] == pytest.approx(4.0, rel=0.06)
    assert table.column("irradiation_kwh_m2")[-1] < 3.4
    (said,) = drift_notes((found,))
    assert "reads" in said
    assert "less each year" in said


@pytest.mark.parametrize(
    "seed", [*range(4), *(pytest.param(seed, marks=pytest.mark.thorough) for seed in range(4, 8))]
)
def test_haze_and_season_are_not_taken_for_drift(seed):
    table, _ = clear_days(seed, years=3.0, per_year=0.0)
    found = drifts(table, a_site())
    assert [one.proven for one in found] == [False]
    assert without_drift(table, found) is table
    assert "No drift of the sun sensor is proven" in drift_notes(found)[0]


def test_a_year_alone_cannot_tell():
    table, _ = clear_days(1, years=1.1, per_year=-0.10)
    assert drifts(table, a_site()) == ()


def test_a_new_sensor_begins_anew():
    table, _ = clear_days(1, years=5.0, per_year=-0.04)
    change = Change(
        date=date(2024, 6, 1), key="sensors.irradiance_percent", value=5.0, why="new sensor"
    )
    site = replace(a_site(), changes=(change,))
    (found,) = drifts(table, site)  # the second stretch is too short to tell
    changed = table.days.dates.index("2024-06-01")
    assert (found.first, found.last) == (0, changed)
    fixed = without_drift(table, (found,))
    same = fixed.column("irradiation_kwh_m2")[changed:]
    np.testing.assert_array_equal(same, table.column("irradiation_kwh_m2")[changed:])


def test_what_scales_with_the_sun_is_corrected_and_its_doubt_grows():
    table, clear = clear_days(2, years=5.0, per_year=-0.04)
    assert clear > 100
    size = len(table.days)
    parts = {"gain": 6.0, "standing": 1.0, "loss": 2.0, "pipe": 0.5, "stored": 0.0}
    full = a_table(
        first="2020-03-01",
        count=size,
        timezone="UTC",
        heat_kwh=4.0,
        expected_kwh=4.5,
        steady_cool_gain_kwh=3.0,
        steady_warm_gain_kwh=2.0,
        **{f"expected_{name}_kwh": value for name, value in parts.items()},
        **dict(table.columns),
    )
    found = drifts(full, a_site())
    fixed = without_drift(full, found)
    factor = fixed.column("irradiation_kwh_m2") / full.column("irradiation_kwh_m2")
    assert factor[-1] > 1.1
    more = fixed.column("expected_kwh") - full.column("expected_kwh")
    np.testing.assert_allclose(more, 7.0 * (factor - 1.0), rtol=1e-9)
    np.testing.assert_allclose(fixed.column("steady_cool_gain_kwh"), 3.0 * factor)
    np.testing.assert_allclose(fixed.column("steady_warm_gain_kwh"), 2.0 * factor)
    np.testing.assert_array_equal(fixed.column("expected_loss_kwh"), 2.0)
    early, late = (expected(fixed, np.array([day]), a_site()) for day in (0, size - 1))
    assert late.high - late.low > factor[-1] * (early.high - early.low)


def test_the_report_of_a_short_log_says_nothing_of_drift(plant):
    report = a_report_of(
        site=plant.site,
        table=plant.table(),
        record=plant.record,
        channels=plant.channels,
        until_s=plant.end_s,
    )
    assert not any("drift" in note for note in report.basis.notes)


def test_the_field_check_gets_the_corrected_sun_too():
    table, _ = clear_days(2, years=5.0, per_year=-0.04)
    values = {"estimated_w": 700.0, "estimated_hem_w": 600.0, "optical_w": 1000.0,
              "optical_hem_w": 900.0, "measured_w": 650.0}  # fmt: skip
    hour = Happening(
        kind=HOUR_KIND, date=table.days.dates[-1], start_s=0, end_s=3600, values=values
    )
    table = replace(table, happenings=(hour,))
    fixed = without_drift(table, drifts(table, a_site()))
    more = fixed.column("irradiation_kwh_m2")[-1] / table.column("irradiation_kwh_m2")[-1] - 1.0
    (found,) = fixed.happenings
    assert more > 0.1
    assert found.values["estimated_w"] == pytest.approx(700.0 + 1000.0 * more)
    assert found.values["estimated_hem_w"] == pytest.approx(600.0 + 900.0 * more)
    assert found.values["measured_w"] == 650.0


@pytest.mark.parametrize("step_frac", [0.10, -0.10])
def test_a_sensor_that_was_wiped_or_replaced_unrecorded_is_not_corrected_as_if_it_drifted(
    step_frac,
):
    """Invented series: the reading changes at once at half time."""
    table, _ = clear_days(3, years=3.0, per_year=0.0)
    late = np.arange(len(table.days)) >= len(table.days) // 2
    ratio = table.column("sensor_clear_ratio") * np.where(late, 1.0 + step_frac, 1.0)
    (found,) = drifts(
        replace(table, columns={**table.columns, "sensor_clear_ratio": ratio}), a_site()
    )
    assert not found.proven
    assert found.step_frac == pytest.approx(step_frac, abs=0.06)
    (note,) = drift_notes((found,))
    assert "nothing is corrected" in note
    assert "[[change]]" in note
