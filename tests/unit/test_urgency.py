"""One rule says how urgent a finding is; its bounds are its own judgement."""

from itertools import product

import pytest

from analysis.faults import CATALOGUE
from analysis.results import URGENCIES, Bounded
from analysis.urgency import (
    AT_MOST,
    ELECTRICITY_WEIGHT,
    STAKES,
    SURE,
    VISIT_KWH_WEEK,
    is_fresh,
    per_week,
    urgency_of,
)
from tests.architecture.test_source_rules import PUBLISHED_KINDS

DAY = 86_400
LEVELS = ("none", "possible", "present", "acute")


def lost(kwh: float, *, low: float | None = None) -> Bounded:
    return Bounded(value=kwh, low=kwh if low is None else low, high=2.0 * kwh)


def test_every_published_kind_has_its_stake():
    assert set(STAKES) == PUBLISHED_KINDS
    assert {fault.kind for fault in CATALOGUE} <= set(STAKES)


@pytest.mark.parametrize(
    ("kind", "level", "urgency"),
    [
        ("scald_risk", "acute", "act"),
        ("scald_risk", "present", "visit"),
        ("scald_risk", "possible", "watch"),
        ("frost_risk", "acute", "act"),
        ("pressure_loss", "acute", "act"),
        ("lost_circulation", "acute", "visit"),
        ("degraded_tubes", "present", "visit"),
        ("fluid_stress", "present", "watch"),
        ("silence", "present", "watch"),
    ],
)
def test_danger_asks_and_its_class_bounds(kind, level, urgency):
    assert urgency_of(kind, certainty=0.95, level=level) == urgency


@pytest.mark.parametrize(
    ("kwh", "low", "urgency"),
    [
        (VISIT_KWH_WEEK, VISIT_KWH_WEEK, "visit"),
        (0.9 * VISIT_KWH_WEEK, 0.9 * VISIT_KWH_WEEK, "watch"),
        (2.0 * VISIT_KWH_WEEK, 0.2 * VISIT_KWH_WEEK, "watch"),  # known too poorly
    ],
)
def test_heat_lost_in_a_week_is_worth_a_visit_from_a_bound_on(kwh, low, urgency):
    given = urgency_of("poor_heat_transfer", certainty=0.9, lost_week=lost(kwh, low=low))
    assert given == urgency


def test_what_is_over_or_old_is_never_for_today():
    assert urgency_of("scald_risk", certainty=0.95, level="acute", today=False) == "visit"
    assert is_fresh(0, 14 * DAY)
    assert not is_fresh(0, 15 * DAY)


def test_doubt_and_nothing_to_be_done_ask_for_less():
    unsure = {"act": SURE["act"] - 0.01, "visit": SURE["visit"] - 0.01}
    assert urgency_of("frost_risk", certainty=unsure["act"], level="acute") == "visit"
    assert urgency_of("low_flow", certainty=unsure["visit"], level="present") == "watch"
    assert urgency_of("shading", certainty=0.9, lost_week=lost(9.0), can_act=False) == "watch"


def test_what_healthy_plants_show_is_on_record_whatever_else():
    for kind, level in product(STAKES, LEVELS):
        assert urgency_of(kind, certainty=1.0, level=level, normal=True) == "record"


def test_no_kind_passes_its_class():
    for kind, level in product(STAKES, LEVELS):
        given = urgency_of(kind, certainty=1.0, level=level, lost_week=lost(99.0))
        assert URGENCIES.index(given) >= URGENCIES.index(AT_MOST[STAKES[kind].danger]), kind


def test_a_week_is_a_mean_week_of_the_time_it_showed():
    given = per_week(lost(12.0, low=6.0), start_s=0, end_s=28 * DAY)
    assert given == Bounded(value=3.0, low=1.5, high=6.0)
    assert per_week(lost(12.0), start_s=0, end_s=6 * DAY) is None
    assert per_week(None, start_s=0, end_s=28 * DAY) is None


def test_electricity_weighs_more_than_heat():
    given = per_week(None, start_s=0, end_s=7 * DAY, pump_kwh=2.0)
    assert given is not None
    assert given.value == given.low == 2.0 * ELECTRICITY_WEIGHT
