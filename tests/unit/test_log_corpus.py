"""A share of the corpus of invented dialects: times and values exact, nothing silently wrong."""

from functools import cache

import pytest

from fixtures.log_corpus import LEVELS, Dialect, covering_design, pair_coverage, possible
from fixtures.log_writer import write_case
from tests.bench.log_corpus import Score, score

SEED = 20_250
# Every twentieth case, and a few that once went wrong.
SHARE = sorted({*range(0, 420, 20), 9, 25, 109})


@cache
def design() -> list[Dialect]:
    return covering_design(420, seed=SEED)


def test_the_design_is_one_of_400_cases_that_covers_nearly_all_pairs():
    seen, could = pair_coverage(design(), draws=1_500)
    assert len(design()) >= 400
    assert seen > 0.98 * could
    assert all(possible(one.levels) for one in design())
    assert {one["words"] for one in design()[:2]} == {"own", "apart"}
    for name, levels in LEVELS.items():
        assert {one[name] for one in design()} == set(levels)


@pytest.mark.parametrize("number", SHARE)
def test_a_case_is_read_exactly_with_a_map(number):
    found = score(write_case(design()[number], seed=SEED), meaning=False)
    assert found.failures == []
    assert found.exact == 1


@pytest.mark.parametrize("number", SHARE[::4])
def test_no_column_of_a_case_is_silently_wrong(number):
    case = write_case(design()[number], seed=SEED)
    found = Score()
    found.add(score(case))
    assert sum(found.wrong.values()) == 0
    if not case.asks:
        assert sum(found.columns.values()) == len(case.columns)
