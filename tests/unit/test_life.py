"""Findings open, last, end and reopen by one rule; what a season is is judgement."""

from dataclasses import replace
from itertools import pairwise

import pytest

from analysis.faults import CATALOGUE
from analysis.life import reopened
from analysis.results import Bounded, Finding
from analysis.season import EVENTS, same_within_s, spells
from dashboards.links import finding_key
from fixtures.faults import Fault
from tests.architecture.test_source_rules import PUBLISHED_KINDS
from tests.build import a_plant
from tests.build_report import a_finding
from tests.replay import evenings

DAY = 86_400


def found(first: int, last: int | None, kind: str = "lost_circulation", **given) -> Finding:
    """Give a finding from one day to another, counted from the epoch."""
    plain = {"urgency": "watch", "certainty": 0.8, "summary": f"of day {first}", "evidence": ()}
    return a_finding(
        kind=kind,
        start_s=first * DAY,
        end_s=None if last is None else last * DAY,
        **{**plain, **given},
    )


def test_what_comes_back_within_a_season_is_the_same_and_holds_its_break():
    one, other = found(0, 10, urgency="visit"), found(40, None, certainty=0.9)
    (joined,) = reopened([one, other])
    assert (joined.start_s, joined.end_s) == (0, None)
    assert joined.breaks == ((10 * DAY, 40 * DAY),)
    assert (joined.urgency, joined.certainty, joined.summary) == ("visit", 0.9, "of day 40")


@pytest.mark.parametrize(("after_days", "count"), [(90, 1), (91, 2)])
def test_a_season_is_ninety_days(after_days, count):
    assert len(reopened([found(0, 10), found(10 + after_days, 120)])) == count


def test_channels_and_events_are_told_each_for_itself():
    two = [found(0, 10, channel="collector"), found(20, 30, channel="flow")]
    assert len(reopened(two)) == 2
    for kind in EVENTS:
        assert len(reopened([found(0, 10, kind), found(20, 30, kind)])) == 2
    assert EVENTS <= PUBLISHED_KINDS


def test_losses_add_up_where_all_are_known():
    lost = Bounded(value=5.0, low=4.0, high=7.0)
    items = [found(0, 10, lost=lost), found(20, 30, lost=lost), found(40, 50, lost=lost)]
    (joined,) = reopened(items)
    assert joined.lost == Bounded(value=15.0, low=12.0, high=21.0)
    assert [end - start for start, end in joined.breaks] == [10 * DAY, 10 * DAY]
    (unknown,) = reopened([items[0], replace(items[1], lost=None)])
    assert unknown.lost is None


def test_spells_leave_the_breaks_out():
    finding = a_finding(start_s=0, end_s=None, breaks=((2 * DAY, 5 * DAY),))
    assert spells(finding, until_s=9 * DAY) == ((0, 2 * DAY), (5 * DAY, 9 * DAY))
    assert spells(a_finding(start_s=0, end_s=DAY), until_s=9 * DAY) == ((0, DAY),)
    (joined,) = reopened([found(0, 2), found(5, None)])
    (told,) = joined.evidence
    assert (told.what, told.value, told.unit) == ("not seen for", 3.0, "days")


def test_what_explains_one_spell_does_not_explain_another():
    cleared, aside = found(0, 10), found(20, 30, suppressed_by="sensor_fault")
    assert reopened([cleared, aside]) == (cleared, aside)


def test_of_a_state_no_two_lie_within_the_reach_of_its_name():
    assert same_within_s("low_flow") == 90 * DAY
    assert same_within_s("silence") == 14 * DAY


def test_a_pump_that_dies_twice_keeps_its_finding_from_day_to_day():
    plant = a_plant(
        days=32,
        faults=(
            Fault(kind="pump_dead", start="2025-05-08", end="2025-05-14"),
            Fault(kind="pump_dead", start="2025-05-22", end="2025-05-29"),
            Fault(kind="sensor_stuck", start="2025-05-16", end="2025-05-19", channel="loop_hot"),
        ),
    )
    told = list(evenings(plant, first=12, every=10))
    seen = [
        {finding_key(item) for item in report.findings if item.kind not in EVENTS}
        for _, report in told
    ]
    # What was named once is never gone again, nor under another name.
    for one, other in pairwise(seen):
        assert one <= other
    # After the last day all is as one pass over the whole history gives it.
    report = plant.report()
    assert told[-1][1].findings == report.findings
    assert told[-1][1].ledger == report.ledger
    (pump,) = (item for item in report.findings if item.kind == "lost_circulation")
    assert len(pump.breaks) == 1
    assert any(item.what == "not seen for" for item in pump.evidence)
    kinds = [fault.kind for fault in CATALOGUE]
    for kind in set(kinds) - EVENTS:
        items = [one for one in report.findings if one.kind == kind]
        assert len({one.channel for one in items}) == len(items), kind
