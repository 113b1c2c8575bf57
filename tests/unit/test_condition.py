"""The condition of the tubes: number, kind, date and witness, against laid-out and simulated cases.

The figures are invented and labelled so; the arithmetic of tubes is checked against the published
kind of worked example named beside it.
"""

from datetime import date

import numpy as np
import pytest

from analysis.bounded import Bounded
from analysis.condition.number import number_of
from analysis.condition.steady import SteadyDays
from analysis.condition.tubes import detectable
from analysis.condition.witness import FlowWitness, flow_witness
from analysis.condition.words import change_words, lost_words, trend_words, tubes_words
from analysis.condition_results import CollectorChange, Condition, condition_from_json
from tests.bench.tubes import NO_PUMP, judged
from tests.bench.tubes_cases import Case
from tests.build import a_site


def a_number(*, share, extra, u_share=0.015, u_extra=0.15, none_weight=-np.inf):
    return number_of(
        change=np.array([[share, extra]]),
        covariance=np.array([np.diag([u_share**2, u_extra**2])]),
        weight=np.array([50.0]),
        tubes=20,
        a1_w_m2k=1.1,
        none_weight=none_weight,
    )


def test_five_of_twenty_missing_are_a_quarter_of_the_output():
    number = a_number(share=0.25, extra=0.0)
    assert number.kind == "optical"
    assert number.low <= 5 <= number.high
    assert number.likeliest == 5


def test_three_of_twenty_without_vacuum_are_the_loss_of_the_worked_example():
    # Tube arithmetic, invented worked example: healthy a1 1.1, a tube without vacuum 6.0, three of
    # twenty make 1.835 W/(m2 K).
    number = a_number(share=0.0, extra=1.835 - 1.1)
    assert number.kind == "vacuum"
    assert number.likeliest == 3
    # A tube may lose 4 to 8 W/(m2 K), so one number is never sure.
    assert number.low < 3 < number.high


def test_a_small_change_of_either_kind_claims_none():
    number = a_number(share=0.02, extra=0.1, u_share=0.03, u_extra=0.3)
    assert number.kind is None


def test_that_nothing_changed_can_be_the_likeliest():
    assert a_number(share=0.0, extra=0.0, none_weight=60.0).likeliest == 0


def test_a_step_like_no_number_of_either_kind_says_so():
    assert a_number(share=0.25, extra=0.0).misfit < 1.0
    # Gain up, loss up by more than all tubes without vacuum would make it.
    assert a_number(share=-0.3, extra=3.0).misfit > 4.0


def steady(*, flow_after, spread=1.0, days=80):
    """Lay out days at a command that varies; from the middle on the meter shows another flow."""
    place = np.arange(days)
    pump = 0.6 + 0.3 * np.sin(place * 1.7)
    hours = np.full(days, 5.0)
    flow = (0.1 + 0.9 * pump) * hours * np.where(place < days // 2, 1.0, flow_after)
    zeros = np.zeros(days)
    given = {
        "place": place,
        "hours": hours,
        "spread_kwh_k": flow,
        "pump_h": pump * hours,
        "pump2_h": pump**2 * hours,
        "out_kwh": 10.0 * np.ones(days),
        "excess_kh": 30.0 * hours,
    }
    return SteadyDays(**{name: given.get(name, zeros) for name in SteadyDays.__slots__})


@pytest.mark.parametrize("fall", [0.0, 0.08, 0.3])
def test_the_fall_of_the_flow_reading_is_read_at_the_same_pump_command(fall):
    witness = flow_witness(steady(flow_after=1.0 - fall), onset_place=40)
    assert witness is not None
    assert witness.fall_frac == pytest.approx(fall, abs=0.01)


def test_without_a_pump_command_there_is_no_witness():
    days = steady(flow_after=0.8)
    silent = {name: getattr(days, name) for name in SteadyDays.__slots__}
    silent["pump_h"] = np.zeros(80)
    assert flow_witness(SteadyDays(**silent), onset_place=40) is None


@pytest.mark.parametrize(
    ("fall", "drop", "blame"),
    [(0.0, 0.2, "tubes"), (0.2, 0.2, "flow_reading"), (0.1, 0.3, "open"), (-0.2, 0.2, "open")],
)
def test_the_witness_blames_what_fell(fall, drop, blame):
    witness = FlowWitness(fall_frac=fall, u_frac=0.006)
    assert witness.blames(drop, 0.01, metered_frac=1.0) == blame


def test_what_would_have_shown_is_rounded_to_whole_tubes():
    shown = detectable(steady(flow_after=1.0), a_site(), least_drop=0.12, steady_days=30)
    assert shown is not None
    assert shown.missing == 3  # 12 % of 18 tubes are 2.2
    assert shown.without_vacuum is not None


def test_the_condition_goes_through_the_machine_report_and_older_ones_still_load():
    old = {"tubes_working": None, "eta0": None, "a1_w_m2k": None, "as_of": "2025-01-01"}
    assert condition_from_json(old) == Condition(**old)


def test_words_tell_number_range_and_date():
    assert tubes_words(Bounded(value=17.0, low=15.0, high=19.0), 20) == "17 of 20 (15 to 19)"
    lost = lost_words(Bounded(value=3.0, low=1.0, high=5.0), 20, "vacuum")
    assert lost == "as if 3 of 20 tubes (1 to 5) had lost their vacuum"
    change = CollectorChange(
        kind="tubes_or_flow_reading",
        date="2025-05-02",
        earliest="2025-05-01",
        latest="2025-05-03",
        output_less_percent=Bounded(value=15.0, low=12.0, high=18.0),
    )
    first, second = change_words(change)
    assert "about 2 May 2025 (between 1 May 2025 and 3 May 2025)" in first
    assert "15 % (12 to 18 %)" in first
    assert "no number of tubes" in second
    assert "by 0.0 % a year (−0.4 to +0.3 %)" in trend_words(
        Bounded(value=-0.04, low=-0.42, high=0.34)
    )


def a_case(kind, lost):
    return Case(
        number=0, plant=4, kind=kind, lost=lost, start=date(2025, 1, 15),
        changed=date(2025, 6, 2), step_s=300, seed=4242,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "lost", "said"),
    [("tubes_missing", 5, "optical"), ("tubes_without_vacuum", 7, "vacuum")],
)
def test_lost_tubes_are_counted_dated_and_told_apart(kind, lost, said):
    item = judged(a_case(kind, lost))
    assert item.kind == said
    assert abs(item.late_days) <= 21
    assert item.held


def test_a_flow_meter_that_reads_low_is_no_lost_tube():
    with_pump = judged(a_case("flow_reads_low", 0.2))
    assert (with_pump.kind, with_pump.found, with_pump.low) == ("flow_reading", 0, None)
    without = judged(a_case("flow_reads_low", 0.2), channels=NO_PUMP)
    assert (without.kind, without.found, without.low) == ("tubes_or_flow_reading", 1, None)
