"""One cause, one finding: what explains what, and when it does not."""

from dataclasses import replace

import pytest

from analysis.channels import channel
from analysis.precedence import CAUSES, RESTS_ON, sort_out
from analysis.precedence_rules import (
    CLOCK_AHEAD,
    CLOCK_AHEAD_BY_ROOF,
    GAVE_NO_VALUE,
    OFF_ITS_SCALE,
    OTHER_END,
    ROOF_OVER_STORE,
    of_the_roof_in_place,
    same_channel,
    swapped_words,
)
from analysis.results import Bounded, Evidence
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


def test_a_low_limit_shows_itself_some_days_late():
    standing = finding("lost_circulation", (5, 1), (5, 4))
    for from_day, told in (
        (3, ["charge_limit_low"]),
        (5, ["charge_limit_low", "lost_circulation"]),
    ):
        limit = finding("charge_limit_low", (5, from_day), (5, 20))
        assert kinds(sort_out([limit, standing], until_s=UNTIL)[0]) == told
    valve = finding("pressure_loss", (5, 3), (5, 20))
    assert kinds(sort_out([valve, standing], until_s=UNTIL)[0]) == [
        "lost_circulation",
        "pressure_loss",
    ]


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
    for sensor, stands in (
        ("collector", True), ("flow", True), ("irradiance_plane", True), ("loop_cold", False)
    ):  # fmt: skip
        cause = finding("sensor_fault", channel=sensor)
        kept, _ = sort_out([cause, seen_cold], until_s=UNTIL)
        assert ("frost_risk" in kinds(kept)) is stands, sensor


def test_silence_and_broken_sensors_are_never_explained_away():
    for row in CAUSES:
        told = row.brings | row.feigns
        assert "silence" not in told
        # But for a place that reads what the roof gets to.
        assert "sensor_fault" not in told or row.only is of_the_roof_in_place
        assert "frost_risk" not in told or row.kind == "sensor_fault"


def test_the_tables_name_published_kinds_and_known_channels_only():
    whole = [row.kind for row in CAUSES if row.only is same_channel]
    assert len(whole) == len(set(whole))
    for row in CAUSES:
        assert {row.kind, *row.brings, *row.feigns} <= PUBLISHED_KINDS
        assert row.kind not in row.brings | row.feigns
        assert not row.brings & row.feigns
    assert set(RESTS_ON) == PUBLISHED_KINDS - {"sensor_fault", "silence"}
    for kind, names in RESTS_ON.items():
        assert all(channel(name) is not None for name in names), kind


def test_no_two_kinds_explain_each_other_unless_their_evidence_tells_them_apart():
    told = {(row.kind, other) for row in CAUSES for other in row.brings | row.feigns}
    both = {frozenset(pair) for pair in told if pair[::-1] in told}
    apart = {
        ("shading", "clock_wrong"),
        ("lost_circulation", "poor_heat_transfer"),
        ("sensor_fault", "sensors_swapped"),
    }
    assert both == {frozenset(pair) for pair in apart}


def shown(kind, *named, **given):
    """Give a finding with pieces of evidence by name."""
    evidence = tuple(
        Evidence(what=what, start_s=at(5, 1), end_s=at(6, 1), value=value, unit="")
        for what, value in named
    )
    return finding(kind, evidence=evidence, **given)


@pytest.mark.parametrize(
    ("told_by", "other_end", "stands"),
    [
        (CLOCK_AHEAD_BY_ROOF, 0.9, "shading"),
        (CLOCK_AHEAD_BY_ROOF, 1.4, "clock_wrong"),
        # What a sun sensor says of the clock no shade feigns.
        (CLOCK_AHEAD, 0.9, "clock_wrong"),
    ],
)
def test_a_dark_afternoon_is_shade_where_the_morning_is_as_it_was(told_by, other_end, stands):
    both = [shown("clock_wrong", (told_by, -60.0)), shown("shading", (OTHER_END, other_end))]
    kept, explained = sort_out(both, until_s=UNTIL)
    assert kinds(kept) == [stands]
    assert [item.suppressed_by for item in explained] == [stands]


@pytest.mark.parametrize(
    ("over_k", "stands"), [(40.0, "poor_heat_transfer"), (100.0, "lost_circulation")]
)
def test_a_roof_far_above_the_store_is_no_matter_of_the_coil(over_k, stands):
    standing = shown("lost_circulation", (ROOF_OVER_STORE, over_k))
    kept, _ = sort_out([finding("poor_heat_transfer"), standing], until_s=UNTIL)
    assert kinds(kept) == [stands]


def test_a_meter_at_nought_does_not_explain_a_roof_that_stands_hot():
    standing = shown("lost_circulation", (ROOF_OVER_STORE, 100.0))
    meter = finding("sensor_fault", channel="flow")
    wrong = finding("flow_reading_wrong", channel="flow")
    kept, _ = sort_out([meter, wrong, standing], until_s=UNTIL)
    assert "lost_circulation" in kinds(kept)
    assert kinds(sort_out([wrong, standing], until_s=UNTIL)[0]) == ["lost_circulation"]
    broken = finding("sensor_fault", channel="collector")
    assert kinds(sort_out([broken, standing], until_s=UNTIL)[0]) == ["sensor_fault"]


def test_a_gap_of_one_sensor_explains_nothing_that_others_saw():
    lost = finding("lost_circulation", (5, 3), (5, 20))
    gone = shown("sensor_fault", ("days on which the sensor " + GAVE_NO_VALUE, 9.0))
    for channel_name in ("loop_hot", "collector"):
        kept, _ = sort_out([replace(gone, channel=channel_name), lost], until_s=UNTIL)
        assert kinds(kept) == ["lost_circulation", "sensor_fault"]


@pytest.mark.parametrize(
    ("cause", "by_roof"),
    [
        (finding("sensor_fault", channel="flow"), True),
        (finding("sensor_fault", channel="store_bottom"), True),
        (finding("sensor_fault", channel="irradiance_plane"), False),
        (finding("flow_reading_wrong", channel="flow"), True),
    ],
)
def test_what_feigns_a_clock_depends_on_what_tells_it(cause, by_roof):
    for told_by in (CLOCK_AHEAD, CLOCK_AHEAD_BY_ROOF):
        clock = shown("clock_wrong", (told_by, 50.0))
        explained = [item.kind for item in sort_out([cause, clock], until_s=UNTIL)[1]]
        expected = ["clock_wrong"] if (told_by == CLOCK_AHEAD_BY_ROOF) is by_roof else []
        assert explained == expected


@pytest.mark.parametrize(
    ("one", "other", "stands"),
    [("collector", "store_bottom", False), ("loop_hot", "loop_cold", True)],
)
def test_swapped_sensors_explain_only_what_rests_on_them(one, other, stands):
    swap = shown("sensors_swapped", (swapped_words(one, other), 9.0))
    hot = finding("store_overheat", channel="store_bottom")
    kept, _ = sort_out([swap, hot, finding("hygiene_temperature")], until_s=UNTIL)
    assert ("store_overheat" in kinds(kept)) is stands
    # The tap's water comes from the top, which neither pair touches.
    assert "hygiene_temperature" in kinds(kept)


@pytest.mark.parametrize(
    ("other", "did", "stands"),
    [
        ("store_bottom", OFF_ITS_SCALE, False),
        ("store_bottom", GAVE_NO_VALUE, True),
        ("store_top", OFF_ITS_SCALE, True),
    ],
)
def test_only_a_sensor_in_the_roofs_place_is_not_broken(other, did, stands):
    swap = shown("sensors_swapped", (swapped_words("collector", other), 9.0))
    off = shown("sensor_fault", ("days on which the sensor " + did, 9.0), channel="store_bottom")
    assert ("sensor_fault" in kinds(sort_out([swap, off], until_s=UNTIL)[0])) is stands


def test_spells_of_one_cause_explain_together_what_none_of_them_does_alone():
    spells = [finding("low_flow", (5, day), (5, day + 5)) for day in (1, 8, 15)]
    long = finding("pipe_heat_loss", (5, 1), (5, 21))
    assert kinds(sort_out([*spells, long], until_s=UNTIL)[0]) == ["low_flow"] * 3
    assert "pipe_heat_loss" in kinds(sort_out([spells[0], long], until_s=UNTIL)[0])


def test_a_cause_is_as_urgent_as_what_it_brings_about_and_bears_its_loss():
    lost = Bounded(value=50.0, low=40.0, high=60.0)
    (kept,), (brought,) = sort_out(
        [
            finding("pressure_loss", urgency="watch", lost=None),
            finding("lost_circulation", (5, 3), (5, 20), urgency="visit", lost=lost),
        ],
        until_s=UNTIL,
    )
    assert (kept.kind, kept.urgency, kept.lost) == ("pressure_loss", "visit", lost)
    assert brought.suppressed_by == "pressure_loss"


def test_what_a_reading_feigns_makes_nothing_urgent():
    (kept,), _ = sort_out(
        [
            finding("flow_reading_wrong", urgency="watch", lost=None),
            finding("low_flow", (5, 3), (5, 20), urgency="visit"),
        ],
        until_s=UNTIL,
    )
    assert (kept.urgency, kept.lost) == ("watch", None)


def test_a_small_loss_does_not_explain_a_large_one():
    def with_shade(kwh):
        shade = Bounded(value=kwh, low=kwh, high=kwh)
        gap = Bounded(value=100.0, low=80.0, high=120.0)
        return kinds(
            sort_out(
                [finding("shading", lost=shade), finding("yield_shortfall", lost=gap)],
                until_s=UNTIL,
            )[0]
        )

    assert with_shade(60.0) == ["shading"]
    assert with_shade(20.0) == ["shading", "yield_shortfall"]


def test_a_fall_is_not_explained_by_what_was_there_before():
    for since, stands in (((1, 10), True), ((4, 20), False)):
        pipes = finding("pipe_heat_loss", since, None)
        kept, _ = sort_out([pipes, finding("degraded_tubes", (5, 1), None)], until_s=UNTIL)
        assert ("degraded_tubes" in kinds(kept)) is stands


@pytest.mark.parametrize(("minutes", "stands"), [(360.0, False), (-17.0, True)])
def test_a_clock_that_is_minutes_off_moves_no_day_into_the_night(minutes, stands):
    ahead = Evidence(
        what="clock ahead of the sun", start_s=at(5, 1), end_s=at(6, 1), value=minutes, unit="min"
    )
    clock = finding("clock_wrong", evidence=(ahead,))
    kept, _ = sort_out([finding("reverse_circulation"), clock], until_s=UNTIL)
    assert ("reverse_circulation" in kinds(kept)) == stands


def test_a_clock_that_is_minutes_off_explains_a_fall_of_the_output_that_began_with_it():
    for began, stands in (((5, 10), False), ((4, 20), False), ((6, 10), True)):
        clock = shown("clock_wrong", (CLOCK_AHEAD, -30.0), start=(5, 1), end=None)
        fall = finding("degraded_tubes", began, None)
        assert ("degraded_tubes" in kinds(sort_out([clock, fall], until_s=UNTIL)[0])) is stands


def test_a_past_that_was_read_wrongly_feigns_a_fall_as_it_ends():
    for clock_end, stands in (((5, 8), False), ((4, 1), True)):
        clock = finding("clock_wrong", (3, 1), clock_end, evidence=())
        fall = finding("degraded_tubes", (5, 1), None)
        assert ("degraded_tubes" in kinds(sort_out([clock, fall], until_s=UNTIL)[0])) is stands


def test_a_wrong_clock_explains_the_pump_at_night():
    kept, explained = sort_out(
        [finding("night_running"), finding("clock_wrong", evidence=())], until_s=UNTIL
    )
    assert kinds(kept) == ["clock_wrong"]
    assert kinds(explained) == ["night_running"]


def test_a_dead_pump_explains_the_heat_the_silence_of_the_yield_and_the_hot_night():
    every = [
        finding(kind)
        for kind in ("stagnation", "yield_shortfall", "reverse_circulation", "lost_circulation")
    ]
    assert kinds(sort_out(every, until_s=UNTIL)[0]) == ["lost_circulation"]


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
