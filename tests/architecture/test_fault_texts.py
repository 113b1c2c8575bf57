"""What people read about a fault: cautions always, local codes always, the roof never first."""

import re

import pytest

from analysis.faults import CATALOGUE
from analysis.faults._cautions import HEIGHT, HOT_PARTS, LOCAL_CODES
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
