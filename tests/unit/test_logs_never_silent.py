"""Logs that could be read, but wrongly: each is refused or asked instead."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.errors import LogError
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.site import ColumnMeaning, LogMap
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


@pytest.mark.parametrize(
    "stamp",
    [
        lambda at: f"2025-01-11 {at // 6 % 24:02d}:00:00",
        lambda at: f"11.01.2025;{at // 6 % 24:02d}:{at % 6 * 10:02d}",
        lambda at: f"{1_736_500_000_000 + 600_000 * (at // 20 * 20)}",
    ],
    ids=["minutes lost", "the date of export over several days", "rounded epochs"],
)
def test_rows_that_share_their_time_with_others_are_refused(stamp):
    head = "date;time" if ";" in stamp(0) else "time"
    rows = "".join(f"{stamp(at)};{20 + at % 11}.5;{30 + at % 7}.25\n" for at in range(600))
    for keep_open in (True, False):
        with pytest.raises(LogError, match="share their time with a row that holds other values"):
            read(f"{head};t_collector_c;t_loop_hot_c\n{rows}", keep_open=keep_open)


def test_rows_given_twice_and_stamps_without_seconds_are_read():
    minutes = "".join(f"2025-01-11 00:{at // 6:02d};{20 + at % 9}.5\n" for at in range(300))
    assert read("time;t_collector_c\n" + minutes).rows.kept == 50
    once = "".join(f"2025-01-11 {at:02d}:00;{20 + at % 9}.5\n" for at in range(24))
    assert read("time;t_collector_c\n" + once * 3).rows.duplicate == 48


@pytest.mark.parametrize("kinds", ["TS;Avg;Avg;Smp", ";Avg;Avg;Smp", "datetime;float;float;int"])
@pytest.mark.parametrize("units", ["TS;Deg F;Deg F;l/min\n", ""])
def test_a_line_of_kinds_names_nothing(kinds, units):
    rows = "".join(f"2025-01-11 00:{at:02d};{100 + at};90;2\n" for at in range(40))
    found = read(f"Time;Roof;Tank;Loop\n{units}{kinds}\n{rows}")
    understood = found.files[0].understood
    assert understood is not None
    assert [one.head for one in understood.columns] == ["Roof", "Tank", "Loop"]


@pytest.mark.parametrize(
    "head",
    [
        "Time;Flow l/min min;Flow l/min avg;Flow l/min max",
        ";Flow l/min;;\nTime;min;avg;max",
        "Time;Flow_min [l/min];Flow_avg [l/min];Flow_max [l/min]",
    ],
)
def test_of_least_mean_and_most_of_a_step_only_the_mean_is_offered(head):
    rows = "".join(
        f"2025-01-11 00:{at:02d};{at % 3};{at % 3 + 1};{at % 3 + 2}\n" for at in range(40)
    )
    understood = read(f"{head}\n{rows}").files[0].understood
    assert understood is not None
    assert [("avg" in one.head) for one in understood.columns] == [True]


def test_decimal_commas_between_commas_beside_whole_numbers_are_refused():
    rows = "".join(f"2025-06-01 00:{at:02d},{20 + at},5,{30 + at},25,1\n" for at in range(40))
    with pytest.raises(LogError, match="names 4 columns, but the rows hold 6"):
        read("Time,Roof,Tank,Pump\n" + rows)


def plant_log(head: str, column) -> str:
    """Write a log of a plant: four temperatures by name and one column more, as a function."""
    record = a_plant(days=6).record
    names = ("collector", "store_bottom", "loop_hot", "loop_cold")
    lines = [f"time;Collector [C];Tank bottom [C];Solar flow pipe [C];Solar return pipe [C];{head}"]
    for at, start in enumerate(record.start_s.tolist()):
        values = ";".join(f"{record.columns[name][at]:.1f}" for name in names)
        lines.append(f"{np.datetime64(start, 's')}Z;{values};{column(record.columns, at)}")
    return "\n".join(lines)


@pytest.mark.parametrize(
    ("head", "size"),
    [
        ("Flow [0,1 l/min]", 0.1),
        ("Flow (l/min x10)", 0.1),
        ("Flow l/min x10", 0.1),
        ("Flow [l/min] x 10", 0.1),
        ("Flow [10 l/h]", 10 / 60),
    ],
)
def test_a_number_beside_the_unit_of_a_head_counts(head, size):
    found = read(plant_log(head, lambda columns, at: f"{columns['flow'][at] / size:.2f}"))
    assert found.columns["flow"] == pytest.approx(a_plant(days=6).record.columns["flow"], abs=0.01)


@pytest.mark.parametrize(
    "head",
    [
        "Flow [l/fortnight]",
        "Flow x10 [l/min]",
        "Flow x10 l/min",
        "Flow\n;C;C;C;C;l/fortnight",
    ],
)
def test_what_a_head_says_of_its_unit_is_asked_where_it_is_not_known(head):
    found = read(plant_log(head, lambda columns, at: f"{columns['flow'][at]:.2f}"))
    assert "flow" not in found.columns
    (question,) = found.questions
    assert "how to read that is not known" in question.why


@pytest.mark.parametrize(
    ("flow", "heat", "times"),
    [
        ("Flow [l/min]", "heat_register_kwh", 10.0),
        ("X", "heat_register_kwh", 10.0),
        ("Flow [l/min]", "heat_register_kwh", 1.0),
        ("X", "heat_register_kwh", 1.0),
    ],
)
def test_a_register_of_ten_times_the_heat_is_asked_whatever_its_head_says(flow, heat, times):
    record = a_plant(days=6).record
    spread_k = np.maximum(record.columns["loop_hot"] - record.columns["loop_cold"], 0.0)
    # 4186 J/(kg K) of water, a litre a kilogram; rows of ten minutes.
    kwh = np.cumsum(4186.0 / 60.0 * record.columns["flow"] * spread_k) * 600.0 / 3.6e6
    lines = [f"time;t_collector_c;t_loop_hot_c;t_loop_cold_c;{flow};{heat}"]
    for at, start in enumerate(record.start_s.tolist()):
        held = ("collector", "loop_hot", "loop_cold", "flow")
        values = ";".join(f"{record.columns[name][at]:.1f}" for name in held)
        lines.append(f"{np.datetime64(start, 's')}Z;{values};{4000.0 + times * kwh[at]:.1f}")
    source = LogSource(name="x.csv", data="\n".join(lines).encode())
    found = read_logs([source], site=BARE)
    if times == 1.0:
        assert "heat_register" in found.columns
        return
    assert "heat_register" not in found.columns
    (question,) = [one for one in found.questions if one.subject == heat]
    assert [one.value for one in question.choices] == ["0.1 kWh", "kWh"]
    told = LogMap(columns=((heat, ColumnMeaning(channel="heat_register", unit="0.1 kWh")),))
    taken = read_logs([source], site=BARE, log_map=told).columns["heat_register"]
    assert taken[-1] - taken[0] == pytest.approx(kwh[-1] - kwh[0], abs=0.05)


@pytest.mark.parametrize(
    ("head", "most"), [("Pump 0-10V", 10.0), ("Pump", 10.0), ("PWM Pump", 255.0)]
)
def test_a_pump_that_need_not_be_percent_is_asked(head, most):
    text = plant_log(head, lambda columns, at: f"{columns['pump'][at] * most / 100:.1f}")
    found = read(text)
    assert "pump" not in found.columns
    assert [one.subject for one in found.questions] == [head]
    # Bits are taken for a flow where there is none.
    assert most > 100.0 or "need not be percent" in found.questions[0].why


def test_a_pump_in_percent_is_not_asked():
    found = read(plant_log("Pump", lambda columns, at: f"{columns['pump'][at]:.0f}"))
    assert "pump" in found.columns


@pytest.mark.parametrize("exchanged", [True, False])
def test_dates_that_a_spreadsheet_exchanged_are_refused(exchanged):
    rows = []
    for hour in range(24 * 40):
        at = np.datetime64("2025-01-20T00", "h") + hour
        year, month, day = str(at)[:10].split("-")
        if exchanged and int(day) <= 12:
            month, day = day, month
        rows.append(f"{day}/{month}/{year} {str(at)[11:]}:00;{20 + hour % 9}.5")
    text = "time;t_collector_c\n" + "\n".join(rows)
    if not exchanged:
        assert read(text).rows.kept == len(rows)
        return
    with pytest.raises(LogError, match="a spreadsheet exchanged them"):
        read(text)


@pytest.mark.parametrize("cell", ["14. Mai", "May 14", "14-May"])
def test_numbers_that_became_dates_are_refused(cell):
    rows = "".join(f"2025-01-11 00:{at:02d};{cell if at % 3 else '14.5'};2.5\n" for at in range(40))
    with pytest.raises(LogError, match="numbers became dates in a spreadsheet") as refused:
        read("time;Roof;t_collector_c\n" + rows)
    assert refused.value.column == "Roof"


@pytest.mark.parametrize("cell", ["\u22120.3 °C", "0.3-", "\u22120.3"])
def test_a_minus_may_be_typographic_or_behind(cell):
    rows = "".join(f"2025-01-11 00:{at:02d};{cell}\n" for at in range(40))
    assert read("time;t_ambient_c\n" + rows).columns["ambient"] == pytest.approx(np.full(40, -0.3))


def test_a_column_without_numbers_is_named():
    rows = "".join(f"2025-01-11 00:{at:02d};2.5;{'IO'[at % 2]}\n" for at in range(40))
    understood = read("time;t_collector_c;Pump\n" + rows).files[0].understood
    assert understood is not None
    assert "'Pump' (as 'I')" in " ".join(understood.remarks)


def test_three_decimals_between_commas_are_decimals_whatever_is_quoted():
    head = '"#","Date Time, GMT+00:00","Temp, C (LBL: Roof)","t_collector_c"\n'
    rows = "".join(f"{at},2025-01-11 00:{at:02d},{20 + at}.500,{30 + at}.250\n" for at in range(40))
    found = read(head + rows)
    assert found.problems == 0
    assert found.columns["collector"][0] == 30.25


def test_a_point_beside_decimal_commas_is_asked_and_its_column_waits():
    text = plant_log("Leistung [W]", lambda columns, at: "0" if at % 3 else "1.020")
    text = "\n".join(
        ";".join(
            cell.replace(".", ",") if 0 < place < 5 else cell for place, cell in enumerate(row)
        )
        for row in (line.split(";") for line in text.split("\n"))
    )
    found = read(text)
    assert [one.kind for one in found.questions if one.kind == "decimal"] == ["decimal"]
    power = found.columns.get("heat_power", np.array([np.nan]))
    assert not np.isfinite(power).any()
    source = LogSource(name="x.csv", data=text.encode())
    told = LogMap(
        decimal=",", columns=(("Leistung [W]", ColumnMeaning(channel="heat_power", unit="W")),)
    )
    answered = read_logs([source], site=BARE, log_map=told, keep_open=True)
    assert np.nanmax(answered.columns["heat_power"]) == 1020.0


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ('{"ts": "2025-06-01 00:00", "roof": 20.5}\n' * 3, "a JSON file"),
        ("<html><table><tr><td>1</td></tr></table></html>\n", "a web page"),
    ],
)
def test_what_is_no_table_is_named(text, kind):
    with pytest.raises(LogError, match=f"this is {kind}"):
        read(text)


@pytest.mark.parametrize("stamp", ["end", "start"])
def test_begin_and_end_of_a_step_give_its_end_or_its_begin(stamp):
    lines = [
        f"11.01.2025 00:{at:02d};11.01.2025 00:{at + 1:02d};{20 + at % 9}.5" for at in range(40)
    ]
    source = LogSource(name="x.csv", data="\n".join(["von;bis;t_collector_c", *lines]).encode())
    told = replace(BARE, log=LogMap(stamp=stamp))
    found = read_logs([source], site=told)
    usual = read("time;t_collector_c\n" + "".join(f"11.01.2025 00:{at:02d};1\n" for at in (0, 1)))
    assert found.stamp_s[0] == usual.stamp_s[1 if stamp == "end" else 0]
    assert "bis" not in found.files[0].ignored


@pytest.mark.parametrize(
    ("line", "offset_h"),
    [
        ("Time zone: UTC+00:00", 0),
        ("Zeitzone; UTC+2", 2),
        ("# timezone = Africa/Johannesburg", 2),
        ("Time zone: GMT-03:00", -3),
        ("Logger: 7", 1),  # what the site says: a summer in its zone
        ("Time zone: of the owner", 1),
    ],
)
def test_a_zone_that_a_line_above_the_rows_names_is_that_of_the_clock(line, offset_h):
    rows = "".join(f"2025-07-11 12:{at:02d};{20 + at % 9}.5\n" for at in range(40))
    place = replace(BARE, place=replace(BARE.place, timezone="Europe/London"))
    source = LogSource(name="x.csv", data=f"{line}\n\ntime;t_collector_c\n{rows}".encode())
    found = read_logs([source], site=place)
    noon = int(np.datetime64("2025-07-11T12:00").astype("datetime64[s]").astype(int))
    assert found.stamp_s[0] == noon - offset_h * 3600
    told = replace(place, log=LogMap(timezone="UTC"))
    assert read_logs([source], site=told).stamp_s[0] == noon


@pytest.mark.parametrize("word", ["init", "sensor fault"])
def test_a_column_that_begins_with_words_is_read_and_the_words_are_counted(word):
    rows = len(a_plant(days=6).record.start_s)
    late = rows * 3 // 10

    def held(columns, at):
        return word if at < late else f"{columns['flow'][at]:.2f}"

    found = read(plant_log("Flow [l/min]", held))
    flow = found.columns["flow"]
    assert np.isnan(flow[:late]).all()
    assert flow[late:] == pytest.approx(a_plant(days=6).record.columns["flow"][late:], abs=0.01)
    assert [group.count for group in found.set_aside if group.column == "Flow [l/min]"] == [late]
    understood = read(plant_log("X", held)).files[0].understood
    assert "X" in {one.head for one in understood.columns}


@pytest.mark.parametrize(
    ("head", "channel", "unit", "per_row"),
    [("Yield [kWh]", "heat_power", "kWh/row", 6000.0), ("Volume [l]", "flow", "l/row", 0.1)],
)
def test_amounts_of_each_row_are_asked_with_the_unit_that_reads_them(head, channel, unit, per_row):
    columns = a_plant(days=6).record.columns
    amount = np.round(columns["flow"] * (10.0 if channel == "flow" else 0.02), 3)
    text = plant_log(head, lambda columns, at: f"{amount[at]:.3f}")
    found = read(text)
    (question,) = [one for one in found.questions if one.subject == head]
    assert [one.value for one in question.choices] == [unit]
    told = LogMap(columns=((head, ColumnMeaning(channel=channel, unit=unit)),))
    source = LogSource(name="x.csv", data=text.encode())
    held = read_logs([source], site=BARE, log_map=told).columns[channel]
    # Rows of ten minutes: a litre a row is 0.1 l/min, a kilowatt-hour a row 6 kW.
    there = np.isfinite(held)
    assert there.sum() > 0.9 * len(held)
    assert held.sum() == pytest.approx(per_row * amount.sum(), rel=0.01)
    assert held[there].max() <= per_row * amount.max() + 1e-9
