"""What people read about a fault: cautions always, local codes always, the roof never first."""

import re

import pytest

from analysis.faults import CATALOGUE
from analysis.faults._cautions import (
    ELECTRICITY,
    HEIGHT,
    HOT_PARTS,
    LOCAL_CODES,
    NO_COLD_FILL,
    SCALD,
    STEAM,
)
from analysis.sources import Source

EVERY = pytest.mark.parametrize("fault", CATALOGUE, ids=lambda fault: fault.kind)
ON_THE_ROOF = re.compile(r"\b(roof|ladder|scaffold|climb)\b", re.IGNORECASE)


@EVERY
def test_advice_carries_cautions_and_defers_to_local_codes(fault):
    assert fault.text.cautions
    assert LOCAL_CODES in fault.text.cautions
    assert "Local codes" in LOCAL_CODES


@EVERY
def test_texts_are_complete_sentences_for_both_readers(fault):
    text = fault.text
    for part in (text.title, text.customer, text.technician):
        assert part == part.strip()
        assert part
    assert text.customer.endswith(".")
    assert text.technician.endswith(".")
    assert text.likely_causes
    assert text.check_next


@EVERY
def test_nobody_is_sent_to_the_roof_first(fault):
    first, *later = fault.text.check_next
    assert first.startswith("From here")
    assert not ON_THE_ROOF.search(first)
    sent = [place for place, step in enumerate(fault.text.check_next) if ON_THE_ROOF.search(step)]
    # Where the roof is named at all, it comes in the last step.
    assert all(place == len(later) for place in sent)


# How far a step takes whoever does it; one that does not say stays where the last one was.
PLACES = (
    (re.compile(r"^(From here|By phone|Ask|Tell)\b"), 0),
    (re.compile(r"^In the (controller|logger)"), 1),
    (re.compile(r"^(On site|At the|From the ground)\b"), 2),
    (ON_THE_ROOF, 3),
)


@EVERY
def test_checks_lead_from_the_armchair_by_the_menu_and_the_cellar_to_the_roof(fault):
    place = 0
    for step in fault.text.check_next:
        found = [number for pattern, number in PLACES if pattern.search(step)]
        assert not found or max(found) >= place, step
        place = max(found, default=place)


# What a step may touch, and the caution that must stand with it.
TOUCHES = (
    (r"relay|wiring|terminals?\b|thermostat|pump supply|mains", ELECTRICITY),
    (r"\bvent\b|strainer|drain|refill|top(ping)? up|check valve|cold loop|safety valve", STEAM),
    (r"mixing valve|\btaps?\b.*thermometer|heat the store", SCALD),
    (r"pipes?\b|\btubes?\b|\bcollector cool|flow setter", HOT_PARTS),
    (ON_THE_ROOF.pattern, HEIGHT),
    # What sets the pump going at once may drive cold fluid into a roof that stands hot.
    (r"exchange the plugs|swap terminals|raise it to|restart|refill", NO_COLD_FILL),
)


@EVERY
@pytest.mark.parametrize(("touched", "caution"), TOUCHES, ids=lambda part: part.split("|")[0][:14])
def test_a_step_that_touches_something_dangerous_says_so(fault, touched, caution):
    done = [step for step in fault.text.check_next if not PLACES[0][0].search(step)]
    steps = [step for step in done if re.search(touched, step, re.IGNORECASE)]
    assert not steps or caution in fault.text.cautions, steps


@EVERY
def test_whoever_may_go_near_the_collector_is_warned_of_height_or_heat(fault):
    steps = " ".join((*fault.text.check_next, *fault.text.likely_causes)).lower()
    if any(word in steps for word in ("roof", "tube", "collector sensor")):
        assert {HEIGHT, HOT_PARTS} & set(fault.text.cautions)


@EVERY
def test_no_step_opens_a_hot_loop(fault):
    for step in fault.text.check_next:
        if re.search(r"\b(vent|drain|refill|open|top(ping)? up|change the check valve)\b", step):
            assert re.search(r"cold|cool|maker's procedure|without draining|before|Only then", step)


@EVERY
def test_kind_is_snake_case_and_names_its_sources(fault):
    assert re.fullmatch(r"[a-z]+(_[a-z]+)*", fault.kind)
    assert fault.sources
    assert all(isinstance(source, Source) for source in fault.sources)


def test_kinds_are_unique():
    kinds = [fault.kind for fault in CATALOGUE]
    assert len(kinds) == len(set(kinds))
