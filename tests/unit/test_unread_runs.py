"""Days whose runs the log missed are unknown, not days without heat."""

import numpy as np
import pytest

from analysis.assess import observe
from tests.build import a_plant, a_report_of, with_values

PLANT = {"days": 20, "step_s": 600}


def first_days(record, days: int):
    return record.start_s < record.start_s[0] + days * 86_400


@pytest.mark.parametrize("channel", ["flow", "loop_hot"])
def test_a_channel_that_begins_later_leaves_the_days_before_unknown(channel):
    plant = a_plant(**PLANT)
    held = plant.record.columns[channel].copy()
    held[first_days(plant.record, 8)] = np.nan
    late = with_values(plant.record, **{channel: held})
    table = observe(site=plant.site, record=late, channels=plant.channels)
    report = a_report_of(site=plant.site, table=table, record=late, channels=plant.channels)
    ran = plant.table().column("heat_kwh")[1:7] > 0.1
    assert ran.any()
    for at in (1 + np.flatnonzero(ran)).tolist():
        day = report.days[at]
        assert (day.delivered_kwh, day.expected_kwh, day.coverage) == (None, None, 0.0)
    for day, sound in zip(report.days[10:], plant.report().days[10:], strict=True):
        assert day.coverage == sound.coverage
        assert day.delivered_kwh == pytest.approx(sound.delivered_kwh, rel=0.05)
    notes = [note for note in report.basis.notes if "was not logged" in note]
    assert len(notes) == 1
    assert notes[0].startswith("On 8 days")


def test_a_day_on_which_nothing_ran_is_known_without_a_flow():
    plant = a_plant(**PLANT)
    record = plant.record
    still = first_days(record, 5)
    flow, pump = record.columns["flow"].copy(), record.columns["pump"].copy()
    flow[still], pump[still] = np.nan, 0.0
    rested = with_values(record, flow=flow, pump=pump)
    table = observe(site=plant.site, record=rested, channels=plant.channels)
    assert table.column("heat_kwh")[1:4].tolist() == [0.0, 0.0, 0.0]
    assert (table.column("known_s")[1:4] > 86_000).all()


def test_an_hour_without_a_flow_costs_that_hour_alone():
    plant = a_plant(**PLANT)
    record = plant.record
    noon = np.abs((record.start_s % 86_400) - 43_200) < 1_800
    held = np.where(noon, np.nan, record.columns["flow"])
    table = observe(site=plant.site, record=with_values(record, flow=held), channels=plant.channels)
    known = table.column("known_s")[1:-1]
    assert (known >= 86_400 - 3_700).all()
