"""The bench of faults: its truths, its scores, and one case through all of it."""

from datetime import date

import numpy as np
import pytest

from analysis.faults import CATALOGUE
from fixtures.bench.__main__ import main
from fixtures.bench.cases import Outcome, Said, troubled
from fixtures.bench.judgeable import ONLY, judgeable
from fixtures.bench.matrix import SETS, STEPS_S, step_of
from fixtures.bench.printing import summary
from fixtures.bench.scoring import doubles, false_calls, precision, score
from fixtures.bench.severities import PAIRS, ROWS, nightly
from fixtures.bench.truth import spans_of
from fixtures.places import CLIMATES, PLANTS

KINDS = {fault.kind for fault in CATALOGUE}


def an_outcome(**changes):
    facts = {
        "kinds": ("silence",), "rows": ("three days",), "channels": "full", "step_s": 300,
        "seed": 1, "plant": "invented", "years": 0.5, "said": (), "asked": (True,),
        "named": (True,), "told": (True,), "verdicts": ("found",),
    }  # fmt: skip
    return Outcome(**{**facts, **changes})


def test_every_kind_of_the_catalogue_has_a_row_and_a_set_that_judges_it():
    assert {row.kind for row in ROWS} == KINDS
    for kind in KINDS:
        assert any(
            judgeable(row, name, step_s=60) for row in ROWS if row.kind == kind for name in SETS
        ), kind  # fmt: skip


def test_tables_name_what_exists():
    names = [row.name for row in ROWS]
    assert len(set(names)) == len(names)
    assert {name for pair in PAIRS for name in pair} <= set(names)
    assert {name for sets in ONLY.values() for name in sets} <= set(SETS)
    assert set(ONLY) <= {row.kind for row in ROWS}
    for row in ROWS:
        assert set(row.plants) <= set(PLANTS)
        assert set(row.climates) <= set(CLIMATES)


def test_every_set_is_logged_at_every_step():
    for name in SETS:
        assert {step_of(number, name) for number in range(3)} == set(STEPS_S)


def test_a_dead_pump_goes_through_the_whole_bench():
    (one,) = troubled(("pump dead",), 2, ("poor",))
    assert one.named == (True,)
    assert one.days is not None
    assert one.days <= 5
    assert one.yield_share == pytest.approx(1.0, abs=0.02)  # a dead pump carries nothing
    assert not [said for said in one.said if not said.right and said.urgency in ("act", "visit")]


def test_the_command_prints_a_line_for_the_row_it_is_asked_for(capsys):
    assert main(["--seeds", "3:3", "--kinds", "three days", "--sets", "poor", "--rows"]) == 0
    printed = capsys.readouterr().out
    assert "| three days | 1 of 1 (100 %) |" in printed


def test_a_kind_that_is_not_judged_where_it_can_be_is_a_miss():
    hit = an_outcome(days=2, sunny=1, urgent_sunny=3)
    miss = an_outcome(named=(False,), channels="poor", verdicts=("cannot_judge",))
    beyond = an_outcome(asked=(False,), named=(False,))
    got = score([hit, miss, beyond])
    assert (got.found, got.asked) == (1, 2)
    assert got.by_set == {"full": (1, 1), "poor": (0, 1)}
    assert got.sunny == (1.0, 1.0)
    assert got.urgent_sunny == (3.0, 3, 1)


def test_lost_heat_is_right_near_the_truth_or_with_the_truth_in_its_bounds():
    costs = [(85.0, 84.0, 86.0, 100.0), (50.0, 20.0, 101.0, 100.0), (70.0, 60.0, 90.0, 100.0)]
    got = score([an_outcome(lost=lost) for lost in costs])
    assert (got.prices.near, got.prices.told) == (2, 3)


def test_false_calls_are_those_of_healthy_plants_that_ask_for_somebody():
    said = tuple(
        Said(kind="low_flow", urgency=urgency, right=right, summary="")
        for urgency, right in (("visit", False), ("visit", True), ("watch", False))
    )
    outcomes = [an_outcome(kinds=(), rows=(), years=1.0, said=said), an_outcome(said=said)]
    calls, years = false_calls(outcomes)
    assert (len(calls), years) == (1, 1.0)
    assert precision(outcomes, "low_flow") == (2, 6)


def test_pairs_count_only_where_both_can_be_judged():
    both = {"kinds": ("silence", "no_draw"), "rows": ("a", "b"), "asked": (True, True)}
    outcomes = [
        an_outcome(**both, told=(True, True)),
        an_outcome(**both, told=(False, True)),
        an_outcome(**{**both, "asked": (True, False)}, told=(True, False)),
    ]
    assert doubles(outcomes) == (1, 2, 2)


def test_what_is_urgent_and_called_late_is_printed_with_the_latest_day():
    dead = {"kinds": ("lost_circulation",), "rows": ("pump dead",)}
    outcomes = [an_outcome(**dead, urgent_sunny=days) for days in (2, 5, 7, 9)]
    # A kind that is never more than a note is never late.
    outcomes.append(an_outcome(urgent_sunny=30))
    lines = list(summary(outcomes))
    assert "- pump dead: 2 of 4, the latest after 9" in lines
    assert not any(line.startswith("- three days") for line in lines)


def test_what_is_missed_is_printed_by_reason():
    miss = {"named": (False,), "verdicts": ("explained by clock_wrong",)}
    lines = list(summary([an_outcome(**miss, channels=name) for name in ("poor", "full", "poor")]))
    assert "- three days: explained by clock_wrong (poor 2, full 1)" in lines
    beyond = an_outcome(**miss, asked=(False,))
    assert not any("Missed" in line for line in summary([beyond]))


def test_spans_keep_what_lasts():
    flags = np.array([1, 1, 0, 1, 1, 1], dtype=np.bool_)
    start_s = np.arange(6, dtype=np.int64) * 60
    assert spans_of(flags, start_s, least_min=3) == ((180, 360),)


def test_nightly_faults_lie_in_the_night():
    build = nightly("night_running", begin_h=22, end_h=4)
    faults = build(date(2025, 6, 1), date(2025, 6, 3))
    assert [fault.start for fault in faults] == ["2025-06-01T22:00", "2025-06-02T22:00"]
    assert faults[-1].end == "2025-06-03T04:00"
