"""The life of a finding with people in it, on invented cases: the data's word, and what rests."""

from datetime import UTC, date, datetime, timedelta

import pytest

from analysis.results import Evidence, Finding
from service.care.life import STATES, STEPS, Case, checked, is_aside

PUT_RIGHT = datetime(2025, 6, 10, 12, tzinfo=UTC)


def finding(*, start: int = -10, end: float | None = None, seen: float = 0.0, kind="low_flow"):
    """Give a finding by days from the day it was put right."""
    moment = PUT_RIGHT.timestamp()
    return Finding(
        kind=kind,
        start_s=int(moment + start * 86_400),
        end_s=None if end is None else int(moment + end * 86_400),
        urgency="visit",
        certainty=0.9,
        channel=None,
        lost=None,
        summary="x",
        evidence=(
            Evidence(
                what="x",
                start_s=int(moment + start * 86_400),
                end_s=int(moment + seen * 86_400),
                value=1.0,
                unit="d",
            ),
        ),
        likely_causes=(),
        check_next=(),
        cautions=(),
    )


def told(found, *, state="put_right", kind="lost_circulation", others=(), judged=True, until=3.0):
    case = Case(kind=kind, channel=None, state=state, put_right_at=PUT_RIGHT)
    return checked(
        case,
        found,
        others,
        judged=judged,
        data_until_s=PUT_RIGHT.timestamp() + until * 86_400,
    )


@pytest.mark.parametrize(
    ("found", "options", "expected"),
    [
        (finding(end=0.1), {}, "confirmed"),
        (None, {}, "confirmed"),
        (None, {"judged": False}, None),
        (finding(end=0.1), {"until": 0.5}, None),  # no data of after yet
        (finding(seen=0.3), {}, None),  # lasts, but nothing new was seen
        (finding(seen=2.0), {}, "came_back"),
        (finding(end=2.0, seen=1.9), {}, "came_back"),
        (finding(end=0.1), {"state": "confirmed"}, None),
        (finding(end=0.1), {"state": "accepted"}, None),
        # What looks at weeks at a time needs them.
        (finding(seen=10.0), {"kind": "degraded_tubes"}, None),
        (finding(seen=50.0), {"kind": "degraded_tubes"}, "came_back"),
    ],
)
def test_the_data_confirm_or_bring_back(found, options, expected) -> None:
    assert told(found, **options) == expected


def test_a_new_finding_of_the_kind_brings_a_confirmed_one_back() -> None:
    again = finding(start=40, seen=41, kind="lost_circulation")
    other = finding(start=40, seen=41, kind="night_running")
    late = finding(start=400, seen=401, kind="lost_circulation")
    assert told(None, state="confirmed", others=[again]) == "came_back"
    assert told(None, state="confirmed", others=[other]) is None
    assert told(None, state="confirmed", others=[late]) is None


def test_people_reach_no_state_that_is_for_the_data() -> None:
    reached = {to for steps in STEPS.values() for to in steps}
    assert reached == set(STATES) - {"confirmed", "came_back"}
    assert set(STEPS) == set(STATES)


def test_what_is_set_aside_rests_until_its_day_or_until_it_gets_worse() -> None:
    today = date(2025, 6, 10)
    case = Case(
        kind="low_flow",
        channel=None,
        state="set_aside",
        until=today + timedelta(days=5),
        urgency_then="visit",
    )
    assert is_aside(case, urgency="visit", today=today)
    assert is_aside(case, urgency="watch", today=today)
    assert not is_aside(case, urgency="act", today=today)
    assert not is_aside(case, urgency="visit", today=today + timedelta(days=5))
