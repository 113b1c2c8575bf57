"""Logs that could be read, but wrongly: each is refused or asked instead."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.errors import LogError
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.site import LogMap
from tests.build import a_plant
from tests.unit.test_logs_reading import SITE

BARE = replace(SITE, log=LogMap())


def read(text: str, *, keep_open: bool = True):
    source = LogSource(name="x.csv", data=text.encode())
    return read_logs([source], site=BARE, keep_open=keep_open)


@pytest.mark.parametrize("clock", ["{0}", "{0:04d}"])
def test_dates_in_many_rows_without_a_time_are_refused(clock):
    rows = "".join(
        f"{day:02d}.06.2025;{clock.format(60 * at)};{20 + at % 9}.5\n"
        for day in range(1, 4)
        for at in range(24)
    )
    for keep_open in (True, False):
        with pytest.raises(LogError, match="no column with their time of day"):
            read("Date;Seconds;t_collector_c\n" + rows, keep_open=keep_open)


def test_decimal_commas_between_commas_are_refused():
    rows = "".join(f"2025-06-01 00:{at:02d},{20 + at},5,{30 + at},25\n" for at in range(40))
    with pytest.raises(LogError, match="names 3 columns, but the rows hold 5"):
        read("Time,Roof,Tank\n" + rows)


def test_a_log_without_a_column_of_values_is_refused_on_a_first_look_too():
    rows = "".join(f"2025-06-01 00:{at:02d} Roof=2{at % 9}.5C Pump=on\n" for at in range(40))
    with pytest.raises(LogError, match="no column of this log is known"):
        read(rows)


def test_a_signal_that_is_on_while_the_pump_rests_is_asked():
    record = a_plant(days=6).record
    off = np.where(record.columns["pump"] > 0.0, 0, 1)
    lines = ["time;Collector;Tank bottom;Pump off"]
    for at, start in enumerate(record.start_s.tolist()):
        stamp = np.datetime_as_string(np.datetime64(start, "s"))
        values = (record.columns[name][at] for name in ("collector", "store_bottom"))
        lines.append(f"{stamp}Z;" + ";".join(f"{one:.1f}" for one in values) + f";{off[at]}")
    found = read("\n".join(lines))
    assert "pump" not in found.columns
    asked = {question.subject: question.why for question in found.questions}
    assert "on by night and off in the sun" in asked["Pump off"]
