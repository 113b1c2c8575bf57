"""Where the missing heat went: shared by day and by precedence. All numbers are invented."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.ledger import Claim, ledger_of, share_out
from analysis.ledger_result import OUTSIDE_THE_GAP, Ledger
from analysis.results import Bounded
from fixtures.faults import Fault
from tests.build import a_plant, a_site, a_table
from tests.build_report import a_finding

DAY = 86_400


def a_gap_of(*gaps_kwh):
    """Give a table with ten expected kWh a day, less a gap delivered."""
    gaps = np.array(gaps_kwh)
    known = np.isfinite(gaps)
    return a_table(
        count=len(gaps),
        expected_kwh=np.where(known, 10.0, np.nan),
        heat_kwh=np.where(known, 10.0 - np.nan_to_num(gaps), np.nan),
    )


def found(table, kind, kwh, first, last, **given):
    """Give a finding that cost so much, from one day's beginning to another's end."""
    edges = table.days.edge_s
    lost = None if kwh is None else Bounded(value=kwh, low=0.8 * kwh, high=1.2 * kwh)
    return a_finding(
        kind=kind, start_s=int(edges[first]), end_s=int(edges[last + 1]), lost=lost, **given
    )


def ledger(table, *findings):
    return ledger_of(table, findings, a_site(), until_s=int(table.days.edge_s[-1]))


def test_two_claims_on_one_day_never_take_it_twice():
    taken, rest = share_out(
        np.array([6.0, 2.0]),
        [Claim(days=np.array([True, False]), kwh=5.0), Claim(days=np.array([True, True]), kwh=6.0)],
    )
    np.testing.assert_allclose(taken, [[5.0, 0.0], [1.0, 2.0]])
    np.testing.assert_allclose(rest, [0.0, 0.0])


def test_a_gap_that_claims_take_whole_leaves_exactly_nothing():
    """A tenth and two tenths are not three tenths in floating point: no day of the rest of it."""
    every = np.array([True])
    _, rest = share_out(np.array([0.3]), [Claim(days=every, kwh=0.1), Claim(days=every, kwh=0.2)])
    assert rest.tolist() == [0.0]


def test_what_rounding_leaves_of_a_gap_is_no_rest_to_doubt():
    """A claim that lacks a last digit of its days' gap leaves no day of which anything is open."""
    table = a_gap_of(5.0, 5.0)
    table = replace(
        table, columns={**table.columns, "expected_standing_kwh": np.array([10.0, 10.0])}
    )
    given, _ = ledger(table, found(table, "lost_circulation", np.nextafter(10.0, 0.0), 0, 1))
    assert given.rest.value == pytest.approx(0.0)
    assert given.rest.high == pytest.approx(given.rest.low)


def test_what_no_finding_covers_is_the_rest():
    table = a_gap_of(5.0, 5.0, 1.0, -0.5)
    given, (kept,) = ledger(table, found(table, "lost_circulation", 9.0, 0, 1))
    assert given.days == 4
    assert given.gap.value == pytest.approx(10.5)
    assert given.entries[0].lost.value == pytest.approx(9.0)
    assert given.rest.value == pytest.approx(1.5)
    assert kept.lost.value == 9.0


def test_a_finding_is_charged_no_more_than_its_days_lack():
    table = a_gap_of(5.0, 5.0, 0.0)
    given, (kept,) = ledger(table, found(table, "lost_circulation", 40.0, 0, 1))
    assert kept.lost.value == pytest.approx(10.0)
    assert kept.lost.low <= kept.lost.value <= kept.lost.high
    assert given.rest.value == pytest.approx(0.0)


def test_a_finding_keeps_its_own_figure_within_the_bounds_of_the_gap():
    """Ten kWh expected a day, known to 10 % at 95 %: over two days 2 kWh more than what lacks."""
    table = a_gap_of(0.5, 0.5)
    table = replace(
        table, columns={**table.columns, "expected_standing_kwh": np.array([10.0, 10.0])}
    )
    given, (kept,) = ledger(table, found(table, "degraded_tubes", 3.0, 0, 1))
    assert given.entries[0].lost.value == pytest.approx(1.0)
    assert given.rest.value == pytest.approx(0.0)
    assert kept.lost.value == pytest.approx(3.0)
    _, (cut,) = ledger(table, found(table, "degraded_tubes", 30.0, 0, 1))
    assert cut.lost.value == pytest.approx(given.gap.high)


def test_what_a_warmer_store_would_not_have_taken_is_no_loss_and_no_riddle():
    table = a_gap_of(5.0, 5.0, 1.0)
    dirt = found(table, "degraded_tubes", 4.0, 0, 1, untaken_kwh=30.0)
    tree = found(table, "shading", 2.0, 0, 1)
    given, _ = ledger(table, dirt, tree)
    assert sum(entry.lost.value for entry in given.entries) == pytest.approx(6.0)
    assert given.untaken_kwh == pytest.approx(4.0)
    assert given.rest.value == pytest.approx(1.0)
    assert Ledger.from_json(given.as_json()) == given


def test_the_order_is_that_of_precedence_not_of_time():
    table = a_gap_of(5.0, 5.0)
    shade = found(table, "shading", 8.0, 0, 1)
    pump = found(table, "lost_circulation", 8.0, 0, 1)
    given, kept = ledger(table, shade, pump)
    assert [entry.kind for entry in given.entries] == ["lost_circulation", "shading"]
    assert [entry.lost.value for entry in given.entries] == pytest.approx([8.0, 2.0])
    assert [item.lost.value for item in kept] == pytest.approx([2.0, 8.0])


@pytest.mark.parametrize("kind", sorted(OUTSIDE_THE_GAP))
def test_heat_lost_from_the_store_stands_apart(kind):
    table = a_gap_of(1.0, 1.0)
    given, (kept,) = ledger(table, found(table, kind, 30.0, 0, 1))
    assert (given.entries, given.apart[0].lost.value) == ((), 30.0)
    assert given.rest.value == given.gap.value
    assert kept.lost.value == 30.0


def test_days_that_do_not_tell_both_are_held_against_nobody():
    table = a_gap_of(5.0, np.nan, np.nan, 0.0)
    given, (kept,) = ledger(table, found(table, "lost_circulation", 20.0, 0, 2))
    assert given.apart[0].lost.value == kept.lost.value == 20.0
    nothing, _ = ledger(a_gap_of(np.nan, np.nan))
    assert nothing is None


def test_a_finding_without_a_loss_takes_nothing():
    table = a_gap_of(5.0, 5.0)
    given, _ = ledger(table, found(table, "low_flow", None, 0, 1))
    assert given.entries == ()
    assert given.rest.value == pytest.approx(10.0)


def test_a_report_of_a_dead_pump_adds_up_and_survives_its_json():
    plant = a_plant(faults=(Fault(kind="pump_dead", start="2025-05-08", end="2025-05-20"),))
    report = plant.report()
    given = report.ledger
    assert given is not None
    shared = sum(entry.lost.value for entry in given.entries)
    assert shared + given.rest.value == pytest.approx(given.gap.value, abs=1e-6)
    days = [d for d in report.days if d.expected_kwh is not None and d.delivered_kwh is not None]
    gap = sum(d.expected_kwh - d.delivered_kwh for d in days)
    assert given.gap.value == pytest.approx(gap, abs=1e-3)
    assert given.entries[0].kind == "lost_circulation"
    assert given.entries[0].lost.value > 0.8 * given.gap.value
    assert abs(given.rest.value) < 0.2 * given.gap.value
    again = Ledger.from_json(given.as_json())
    assert again is not None
    assert again.as_json() == given.as_json()
