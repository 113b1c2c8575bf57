"""Which hours may be compared, what the balance says, and that it claims no more than it may."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.assess import observe
from analysis.days import Happening
from analysis.field_check.balance import OTHER_FACTOR, field_check
from analysis.field_check.hours import HOUR_KIND, STRICT
from analysis.record import record_from_stamps
from analysis.site import FieldCheckTerms
from analysis.sitefile import parse_site
from dashboards.check_facts import field_check_of
from dashboards.figures.checked_hours import checked_hours
from fixtures.scenario import Fault, home, site_toml
from fixtures.sensors import observe as read_sensors
from fixtures.simulate import simulate
from fixtures.weather import SOUTHERN
from tests.build import a_site, a_table, at
from tests.plants import examine, record_of
from tests.plotly_rules import drawn

DAY = at("2025-06-01T12:00")


def hours(count, *, measured=900.0, estimated=1000.0, strict=0.0, wind=0.0, start=DAY):
    """Give so many hours, one a day."""
    return tuple(
        Happening(
            kind=HOUR_KIND,
            date="2025-06-01",
            start_s=start + 86_400 * number,
            end_s=start + 86_400 * number + 3600,
            values={
                "measured_w": measured,
                "estimated_w": estimated,
                "estimated_hem_w": 2.0 * estimated,
                "pipe_w": 0.05 * estimated,
                "strict": strict,
                "wind_known": wind,
            },
        )
        for number in range(count)
    )


def checked(happenings, site=None):
    table = replace(a_table(first="2025-06-01", count=50), happenings=happenings)
    return field_check(table, site or a_site(), end_s=DAY + 90 * 86_400)


def test_without_valid_hours_there_is_no_check():
    assert checked(()) is None


def test_the_ratio_is_measured_over_the_lowered_estimate():
    found = checked(hours(25))
    sensors = a_site().sensors
    uncertain = 1.0 - np.hypot(sensors.flow_percent, sensors.irradiance_percent) / 100.0
    assert found.safety_factor == pytest.approx(0.95 * uncertain * OTHER_FACTOR)
    assert found.ratio == pytest.approx(0.9 / found.safety_factor)
    assert (found.mode, found.outcome) == ("indicative", "reached")
    assert found.scatter_frac == pytest.approx(0.0, abs=1e-12)


def test_agreed_factors_go_before_worked_out_ones():
    site = replace(
        a_site(),
        field_check=FieldCheckTerms(pipes_factor=0.97, uncertainty_factor=None, other_factor=0.95),
    )
    found = checked(hours(25), site)
    assert (found.pipes_factor, found.other_factor) == (0.97, 0.95)
    assert found.uncertainty_factor == checked(hours(25)).uncertainty_factor


def test_few_hours_give_no_verdict():
    assert checked(hours(STRICT.hours - 1)).outcome == "too_few_hours"


def test_strict_wants_enough_hours_by_the_book_and_a_known_wind():
    assert checked(hours(25, strict=1.0, wind=1.0)).mode == "strict"
    assert checked(hours(25, strict=1.0, wind=0.0)).mode == "indicative"
    mixed = hours(10, strict=1.0, wind=1.0) + hours(30, start=DAY + 20 * 86_400)
    assert checked(mixed).mode == "indicative"


def test_strict_uses_the_plain_equation():
    found = checked(hours(25, strict=1.0, wind=1.0))
    assert found.ratio == pytest.approx(0.45 / found.safety_factor)


def test_only_the_latest_year_counts():
    old = hours(25, measured=10.0, start=DAY - 700 * 86_400)
    assert checked(old + hours(25)).hours == 25


@pytest.fixture(scope="module")
def sound():
    return examine(home(), seed=5, step_s=60, days=60, start="2025-05-20")


@pytest.fixture(scope="module")
def dirty():
    fault = Fault(kind="soiling", start="2025-05-01", value=0.4)
    return examine(home(faults=(fault,)), seed=5, step_s=60, days=60, start="2025-05-20")


def test_a_sound_plant_reaches_the_estimate_and_a_dirty_one_does_not(sound, dirty):
    """Invented plants: what the check is for."""
    assert sound.report.field_check.outcome == "reached"
    assert dirty.report.field_check.outcome == "not_reached"
    # Four tenths of the light are gone; losses stay, so more than that of the heat.
    ratio = dirty.report.field_check.ratio / sound.report.field_check.ratio
    assert 0.45 < ratio < 0.62


def test_hours_lie_within_the_limits(sound):
    for item in sound.table.of_kind(HOUR_KIND):
        assert item.end_s - item.start_s == 3600
        assert item.values["measured_w"] > 0.0
    found = {item.values["strict"] for item in sound.table.of_kind(HOUR_KIND)}
    assert found == {0.0, 1.0}


def test_a_log_of_five_minutes_is_never_strict():
    coarse = examine(home(), seed=5, step_s=300, days=20, start="2025-06-01")
    assert coarse.table.of_kind(HOUR_KIND)
    assert not any(item.values["strict"] for item in coarse.table.of_kind(HOUR_KIND))


def test_without_a_sun_sensor_or_measured_heat_there_is_nothing_to_check():
    for missing in (("irradiance_plane",), ("flow",), ("ambient",)):
        poor = examine(home(), seed=5, days=20, start="2025-06-01", without=missing)
        assert poor.report.field_check is None


def test_a_house_in_front_of_the_array_takes_its_hours_out():
    shaded = home(
        horizon_azimuth_deg=(90.0, 150.0, 151.0, 270.0),
        horizon_elevation_deg=(75.0, 75.0, 0.0, 0.0),
    )

    # Until ten the sun of June stands in the south-east, well behind the house.
    def early(plant):
        seen = examine(plant, seed=5, days=20, start="2025-06-01").table.of_kind(HOUR_KIND)
        return [item for item in seen if (item.start_s - at("2025-06-01T00:00")) % 86_400 < 34_200]

    assert early(home())
    assert not early(shaded)


def test_the_words_claim_no_label(sound):
    facts = field_check_of(sound.report)
    words = " ".join(f"{fact.label} {fact.value} {fact.note}" for fact in facts)
    assert "not a certificate" in words
    assert "conform" not in words.lower()


def test_the_picture_holds_every_hour(sound):
    check = sound.report.field_check
    figure = drawn(checked_hours(check, timezone="Europe/London"))
    assert len(figure.data[1].x) == check.hours
    assert figure.layout.height == 340  # as the box on the page, whatever the window does
    assert figure.data[1].y[0] == pytest.approx(check.points.measured_w[0] / 1000.0)


def test_a_days_hours_do_not_depend_on_the_steps_of_other_days():
    """A log that goes from one minute to ten: the fine days keep their hours, the coarse have none.

    Invented; observed as one record and as its two parts.
    """
    run = simulate(home(climate=SOUTHERN), seed=1, start="2025-05-01", days=8)
    site = parse_site(site_toml(run.scenario))
    fine = record_of(read_sensors(run, seed=2, sensors="perfect", step_s=60))
    edge = int(fine.start_s[0]) + 4 * 86_400
    stamp = fine.start_s + 60
    kept = (stamp <= edge) | (stamp % 600 == 0)
    mixed = record_from_stamps(
        stamp_s=stamp[kept],
        columns={name: np.ascontiguousarray(one[kept]) for name, one in fine.columns.items()},
        stamp="end",
    )
    whole = observe(site=site, record=mixed, channels=frozenset(mixed.columns))
    rows = int(np.searchsorted(mixed.start_s, edge - 86_400))
    late = observe(
        site=site, record=mixed.part(rows, len(mixed)), channels=frozenset(mixed.columns)
    )
    dates = [item.date for item in whole.of_kind(HOUR_KIND)]
    assert dates
    assert max(dates) < "2025-05-05"
    assert [item.date for item in late.of_kind(HOUR_KIND)] == [
        date for date in dates if date >= "2025-05-04"
    ]
