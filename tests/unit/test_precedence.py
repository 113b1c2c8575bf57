"""One cause, one finding: what explains what, and when it does not."""

import pytest

from analysis.precedence import EXPLAINS, sort_out
from tests.architecture.test_source_rules import PUBLISHED_KINDS
from tests.build_report import a_finding, at

UNTIL = at(12, 31)


def finding(kind, start=(5, 1), end=(6, 1), **given):
    return a_finding(
        kind=kind, start_s=at(*start), end_s=None if end is None else at(*end), **given
    )


def kinds(findings):
    return sorted(item.kind for item in findings)


def test_a_cause_explains_what_happens_within_its_time():
    kept, explained = sort_out(
        [finding("lost_circulation"), finding("stagnation", (5, 3), (5, 20))], until_s=UNTIL
    )
    assert kinds(kept) == ["lost_circulation"]
    assert [item.suppressed_by for item in explained] == ["lost_circulation"]


def test_what_happens_at_another_time_stands_by_itself():
    kept, explained = sort_out(
        [finding("lost_circulation"), finding("stagnation", (7, 3), (7, 20))], until_s=UNTIL
    )
    assert kinds(kept) == ["lost_circulation", "stagnation"]
    assert explained == ()


@pytest.mark.parametrize(("cause_from", "explained"), [((5, 25), True), ((6, 1), False)])
def test_half_of_the_time_decides(cause_from, explained):
    cause = finding("lost_circulation", cause_from, (6, 9))
    kept, _ = sort_out([cause, finding("yield_shortfall", (5, 20), (6, 9))], until_s=UNTIL)
    assert ("yield_shortfall" not in kinds(kept)) is explained


def test_findings_that_last_reach_up_to_the_present():
    kept, explained = sort_out(
        [finding("degraded_tubes", end=None), finding("yield_shortfall", (7, 1), None)],
        until_s=UNTIL,
    )
    assert kinds(kept) == ["degraded_tubes"]
    assert kinds(explained) == ["yield_shortfall"]


def test_a_broken_sensor_explains_only_what_rests_on_it():
    collector = finding("sensor_fault", channel="collector")
    pressure = finding("sensor_fault", channel="pressure")
    lost = finding("lost_circulation", (5, 3), (5, 20))
    assert kinds(sort_out([collector, lost], until_s=UNTIL)[0]) == ["sensor_fault"]
    assert kinds(sort_out([pressure, lost], until_s=UNTIL)[0]) == [
        "lost_circulation",
        "sensor_fault",
    ]


def test_an_explained_cause_explains_nothing_further():
    """Tubes not in explain the standstill; the standstill then does not explain other things."""
    kept, explained = sort_out(
        [
            finding("not_yet_fitted", (5, 1), (5, 10)),
            finding("lost_circulation", (5, 1), (5, 10)),
            finding("stagnation", (5, 2), (5, 9)),
        ],
        until_s=UNTIL,
    )
    assert kinds(kept) == ["not_yet_fitted"]
    assert {item.suppressed_by for item in explained} == {"not_yet_fitted"}


def test_nothing_is_lost_and_nothing_doubled():
    every = [finding(kind) for kind in ("not_yet_fitted", "stagnation", "silence", "frost_risk")]
    kept, explained = sort_out(every, until_s=UNTIL)
    assert kinds((*kept, *explained)) == kinds(every)


def test_only_the_sensor_that_saw_frost_explains_it_away():
    """What could burst is told beside anything but a fault of that very sensor."""
    seen_cold = finding("frost_risk", (5, 3), (5, 20), channel="loop_cold")
    for channel, stands in (
        ("collector", True), ("flow", True), ("irradiance_plane", True), ("loop_cold", False)
    ):  # fmt: skip
        cause = finding("sensor_fault", channel=channel)
        kept, _ = sort_out([cause, seen_cold], until_s=UNTIL)
        assert ("frost_risk" in kinds(kept)) is stands, channel


def test_silence_and_broken_sensors_are_never_explained_away():
    for kind, channels, explained in EXPLAINS:
        if "frost_risk" in explained:
            assert kind == "sensor_fault"
            assert channels is not None
            assert channels <= {"collector", "loop_hot", "loop_cold"}
        assert "silence" not in explained
        assert "sensor_fault" not in explained


def test_the_table_names_published_kinds_only():
    for kind, _, explained in EXPLAINS:
        assert {kind, *explained} <= PUBLISHED_KINDS
        assert kind not in explained


def test_a_limit_that_is_too_low_explains_the_heat_that_stays_on_the_roof():
    kept, explained = sort_out(
        [finding("charge_limit_low"), finding("lost_circulation"), finding("store_overheat")],
        until_s=UNTIL,
    )
    assert kinds(kept) == ["charge_limit_low", "store_overheat"]
    assert kinds(explained) == ["lost_circulation"]


def test_a_broken_tap_sensor_says_nothing_of_a_store_without_a_valve():
    broken = finding("sensor_fault", channel="hot_tap")
    at_the_taps = finding("scald_risk", channel="hot_tap")
    _, explained = sort_out([broken, at_the_taps], until_s=UNTIL)
    assert kinds(explained) == ["scald_risk"]
    overheat = finding("store_overheat", channel="store_top")
    assert kinds(sort_out([broken, overheat], until_s=UNTIL)[1]) == []
