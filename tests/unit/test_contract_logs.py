"""Logs as the contract allows them, through the command: same heat however they are written.

Heat of 1 m3 measured in the return at 60/45 C: IAPWS-95 for water, Melinder's properties for
propylene glycol by mass (both recomputed with CoolProp 8.0.0, see the reference tests).
"""

import re

import pytest

from tests.build_command import Desk, a_log, change, full_site, with_lines, without_table

# 1 m3 in 100 minutes, short of what the detectors call a frozen sensor.
CUBIC_METRE = a_log(
    "2025-06-01T10:00", 100, step_s=60, heads=("t_loop_hot_c", "t_loop_cold_c", "flow_l_min"),
    values=lambda _: (60, 45, 10),
)  # fmt: skip
HEAT = {0: 17.255, 0.2: 16.919, 0.3: 16.6, 0.4: 16.141, 0.5: 15.558}


@pytest.fixture
def desk(tmp_path, capsys):
    return Desk(tmp_path, capsys)


def site(concentration: float = 0) -> str:
    bare = without_table(full_site(), "[[change]]")
    fluid = "propylene_glycol" if concentration else "water"
    return with_lines(
        bare, fluid=f'fluid = "{fluid}"', concentration=f"concentration = {concentration}",
        flow_l_min="flow_l_min = 10",
    )  # fmt: skip


def heat(desk, log: str, *, of: str | None = None) -> float:
    found = desk.report(of or site(), log)
    assert (found.status, found.err) == (0, "")
    return found.report["totals"]["delivered_kwh"]


@pytest.mark.parametrize("concentration", HEAT)
def test_a_cubic_metre_carries_the_heat_of_the_handbooks(desk, concentration):
    assert heat(desk, CUBIC_METRE, of=site(concentration)) == pytest.approx(
        HEAT[concentration], abs=0.02
    )


def _offset(text: str) -> str:
    """Write every other stamp with the offset of an hour east."""
    lines = text.splitlines()
    for number in range(1, len(lines), 2):
        hour = int(lines[number][11:13])
        lines[number] = f"{lines[number][:11]}{hour + 1}{lines[number][13:]}".replace(
            "Z,", "+01:00,"
        )
    return "\n".join(lines)


def _columns(text: str, order: tuple[int, ...]) -> str:
    rows = [line.split(",") for line in text.splitlines()]
    return "\n".join(",".join(row[place] for place in order) for row in rows)


WRITTEN = {
    "heads in capitals": lambda text: text.replace("t_loop_hot_c", " T_LOOP_HOT_C "),
    "columns in another order": lambda text: _columns(text, (3, 1, 0, 2)),
    "offsets mixed with Z": _offset,
    "offsets without a colon": lambda text: text.replace("Z,", "+0000,"),
    "a blank for the T": lambda text: re.sub(r"(\d)T(\d)", r"\1 \2", text),
    "fractions of seconds": lambda text: text.replace(":00Z", ":00.250Z"),
    "newest first": lambda text: "\n".join([text.split()[0], *text.split()[:0:-1]]),
    "quotes and line ends of another system": lambda text: text.replace(
        "60,45,10", '"60","45","10"'
    ).replace("\n", "\r\n"),
    "a byte order mark": lambda text: f"\ufeff{text}",
    "an unknown column": lambda text: "\n".join(
        f"{line},{'other' if line[0] == 't' else 7}" for line in text.splitlines()
    ),
    "semicolons": lambda text: text.replace(",", ";"),
}


@pytest.mark.parametrize("way", WRITTEN)
def test_the_same_log_written_otherwise_has_the_same_heat(desk, way):
    assert heat(desk, WRITTEN[way](CUBIC_METRE)) == heat(desk, CUBIC_METRE)


UNITS = {
    "l/min": 10, "l/h": 600, "m3/h": 0.6, "l/s": 10 / 60, "ml/s": 1e4 / 60,
    "gal/min": 10 / 3.785411784,  # US gallon, NIST SP 811
    "kg/h": 594.13, "kg/s": 594.13 / 3600, "g/s": 594.13 / 3.6,  # 990.2 kg/m3 at 45 C, IAPWS-95
}  # fmt: skip


@pytest.mark.parametrize("unit", UNITS)
def test_flow_is_read_in_every_unit_of_the_contract(desk, unit):
    mapped = f'[log.columns]\nflow_l_min = {{ channel = "flow", unit = "{unit}" }}\n'
    log = CUBIC_METRE.replace(",10\n", f",{UNITS[unit]:.9g}\n")
    assert heat(desk, log, of=site() + mapped) == pytest.approx(17.255, abs=0.02)


@pytest.mark.parametrize(("unit", "hot", "cold"), [("F", 140, 113), ("K", 333.15, 318.15)])
def test_temperatures_are_read_in_every_unit_of_the_contract(desk, unit, hot, cold):
    mapped = "[log.columns]\n" + "".join(
        f'{head} = {{ channel = "{name}", unit = "{unit}" }}\n'
        for head, name in (("t_loop_hot_c", "loop_hot"), ("t_loop_cold_c", "loop_cold"))
    )
    log = CUBIC_METRE.replace(",60,45,", f",{hot},{cold},")
    assert heat(desk, log, of=site() + mapped) == pytest.approx(17.255, abs=0.02)


REGISTERS = {
    "counts on": (lambda row: 500 + 0.17 * (row + 1), 16.83, 0.01),
    "rolls over at 9999.9": (lambda row: (99900 + 1.7 * (row + 1)) % 100000 / 10, 16.83, 0.2),
    "rolls over at 99999": (lambda row: (99992 + 0.17 * (row + 1)) // 1 % 100000, 17.0, 1.0),
    "steps by a kilowatt-hour": (lambda row: (500 + 0.17 * (row + 1)) // 1, 17.0, 1.0),
    "is reset": (lambda row: 500 + 0.17 * row if row < 50 else 0.17 * (row - 49), 16.66, 0.01),
    "shows a zero once": (lambda row: 0 if row == 50 else 500 + 0.17 * row, 16.49, 0.01),
    "leaps once": (lambda row: 99999 if row == 50 else 500 + 0.17 * row, 16.49, 0.01),
}


@pytest.mark.parametrize("way", REGISTERS)
def test_a_heat_register_is_believed_as_far_as_it_counts(desk, way):
    reading, expected, within = REGISTERS[way]
    log = a_log(
        "2025-06-01T10:00", 100, step_s=60, heads=("heat_register_kwh",),
        values=lambda row: (round(reading(row), 3),),
    )  # fmt: skip
    found = desk.report(site(), log).report
    assert found["basis"]["heat"] == "heat_register"
    assert found["totals"]["delivered_kwh"] == pytest.approx(expected, abs=within)
    low, high = (found["totals"][f"delivered_{end}_kwh"] for end in ("low", "high"))
    assert low <= 16.83 <= high or found["totals"]["coverage"] < 0.985


def test_estimated_heat_says_how_and_is_less_sure(desk):
    ways = {
        "flow_and_temperatures": ("t_loop_hot_c", "t_loop_cold_c", "flow_l_min"),
        "pump_and_commissioned_flow": ("t_loop_hot_c", "t_loop_cold_c", "pump_percent"),
        "pump_and_store_temperature": ("t_collector_c", "t_store_bottom_c", "pump_percent"),
    }
    small = with_lines(site(), flow_l_min="flow_l_min = 2")
    widths = []
    for basis, heads in ways.items():
        last = 2 if heads[2] == "flow_l_min" else 100
        log = a_log("2025-06-01T10:00", 10, heads=heads, values=lambda _, last=last: (60, 45, last))
        found = desk.report(small, log).report
        assert found["basis"]["heat"] == basis
        total = found["totals"]
        widths.append(
            (total["delivered_high_kwh"] - total["delivered_low_kwh"]) / total["delivered_kwh"]
        )
    assert widths == sorted(widths)
    assert widths[1] > 3 * widths[0]


def test_a_gap_takes_coverage_and_adds_no_heat(desk):
    lines = CUBIC_METRE.splitlines()
    rows_gone = "\n".join([*lines[:41], *lines[61:]])
    cells_gone = "\n".join(
        line.split(",")[0] + ",,," if 41 <= number < 61 else line
        for number, line in enumerate(lines)
    )
    for log in (rows_gone, cells_gone):
        total = desk.report(site(), log).report["totals"]
        assert total["coverage"] == pytest.approx(0.8)
        assert total["delivered_kwh"] == pytest.approx(0.8 * 17.255, abs=0.02)


def test_rows_of_a_clock_that_was_not_set_or_runs_ahead_are_rejected_and_named(desk):
    lines = CUBIC_METRE.splitlines()
    odd = [lines[5].replace("2025", "1970"), lines[6].replace("2025", "2095")]
    found = desk.report(site(), "\n".join([*lines[:50], *odd, *lines[50:]]))
    assert found.status == 1
    assert found.report["rows"]["rejected"] == 2
    assert [item["line"] for item in found.report["rejected"]] == [51, 52]
    assert found.report["totals"]["delivered_kwh"] == pytest.approx(17.255, abs=0.02)


@pytest.mark.parametrize(
    ("zone", "first", "day", "hours"),
    [
        ("Europe/London", "2025-03-29T00:00", "2025-03-30", 23),
        ("Europe/London", "2025-10-24T23:00", "2025-10-26", 25),
        ("Australia/Sydney", "2025-04-04T13:00", "2025-04-06", 25),
        ("Australia/Lord_Howe", "2025-04-04T13:00", "2025-04-06", 24.5),
        ("America/Havana", "2025-03-08T05:00", "2025-03-09", 23),
        ("Pacific/Tongatapu", "2025-04-04T11:00", "2025-04-06", 24),
    ],
)
def test_a_day_is_cut_at_local_midnight_whatever_its_length(desk, zone, first, day, hours):
    place = with_lines(site(), timezone=f'timezone = "{zone}"')
    log = a_log(first, 4 * 144)
    found = desk.report(place, log, words=("--from", day, "--to", day)).report
    (only,) = found["days"]
    assert (only["date"], only["coverage"]) == (day, 1.0)
    begin, end = (found[name][8:16] for name in ("from", "to"))
    length = (int(end[:2]) - int(begin[:2])) * 24 + int(end[3:5]) - int(begin[3:5])
    assert length + (int(end[6:]) - int(begin[6:])) / 60 == hours


def test_a_day_that_a_zone_left_out_is_no_day(desk):
    place = with_lines(site(), timezone='timezone = "Pacific/Apia"')
    found = desk.report(place, a_log("2011-12-29T00:00", 3 * 144))
    assert found.err == ""
    days = [day["date"] for day in found.report["days"]]
    assert "2011-12-29" in days
    assert "2011-12-30" not in days
    assert "2011-12-31" in days
    assert found.report["totals"]["coverage"] == 1.0


def test_stamps_at_the_start_put_each_step_after_its_stamp(desk):
    log = a_log("2025-05-31T22:50", 144)
    found = desk.report(site() + '[log]\nstamp = "start"\n', log).report
    assert (found["from"], found["to"]) == ("2025-05-31T23:00:00Z", "2025-06-01T23:00:00Z")
    assert [(day["date"], day["coverage"]) for day in found["days"]] == [("2025-06-01", 1.0)]


def test_a_header_shorter_than_its_rows_is_refused_rather_than_shifted(desk):
    found = desk.report(site(), CUBIC_METRE.replace(",60,45,", ",60,5,45,"))
    assert found.status == 2
    assert "line 1: the header names 4 columns, but the rows hold 5 values" in found.err
    assert "decimal comma" in found.err


def test_an_empty_last_column_needs_no_name(desk):
    lines = CUBIC_METRE.splitlines()
    assert heat(desk, "\n".join([lines[0], *(f"{line}," for line in lines[1:])])) > 17


def test_a_delimiter_told_wrongly_is_named(desk):
    found = desk.report(site() + '[log]\ndelimiter = ";"\n', CUBIC_METRE)
    assert found.status == 2
    assert "with the delimiter told, semicolon; check it in [log]" in found.err


def test_a_header_without_rows_says_what_to_do(desk):
    found = desk.report(site(), CUBIC_METRE.splitlines()[0] + "\n")
    assert found.status == 2
    assert "no row of numbers under it; export the log again" in found.err


def test_a_map_may_give_columns_by_number_and_second_sensors(desk):
    rows = "\n".join(f"01.06.2025 10:{minute:02};60,0;45,0;600;70;80" for minute in range(60))
    mapped = '[log.columns]\n1 = { channel = "time" }\n2 = { channel = "loop_hot" }\n'
    mapped += '"3" = { channel = "loop_cold" }\n4 = { channel = "flow", unit = "l/h" }\n'
    mapped += '5 = { channel = "collector" }\n6 = { channel = "collector_2" }\n'
    found = desk.report(site() + mapped, rows).report
    assert found["totals"]["delivered_kwh"] == pytest.approx(17.255 * 0.6, abs=0.02)
    assert found["days"][0]["peak_collector_c"] == 80


def test_a_change_in_the_middle_of_a_day_counts_for_the_whole_of_it(desk):
    glycol = change("2025-06-01", "loop.fluid", '"propylene_glycol"')
    glycol += change("2025-06-01", "loop.concentration", "0.4")
    assert heat(desk, CUBIC_METRE, of=site() + glycol) == pytest.approx(16.141, abs=0.02)


def test_heat_of_a_log_in_which_nothing_stirs_is_kept_though_its_sensors_are_watched(desk):
    still = a_log("2025-05-31T23:00", 144, values=lambda _: (60, 45, 2, 100))
    found = desk.report(site(), still).report
    assert found["days"][0]["coverage"] == 1.0
    assert found["totals"]["delivered_kwh"] == pytest.approx(17.255 * 2.88, abs=0.05)
    assert {item["kind"] for item in found["findings"]} == {"sensor_fault"}


def test_a_second_sun_sensor_that_is_stuck_takes_nothing_from_the_one_in_use(desk):
    heads = ("t_loop_hot_c", "t_loop_cold_c", "flow_l_min", "g_plane_w_m2", "g_horizontal_w_m2")
    heads = (*heads, "t_ambient_c")
    log = a_log(
        "2025-05-31T23:00", 144, heads=heads,
        values=lambda row: (
            50 + row % 7 / 10, 40 + row % 5 / 10, 2.0 if 60 < row < 90 else 0.0,
            max(0, 800 - abs(row - 75) * 15) + row % 3, 120, 18 + row % 2 / 10,
        ),
    )  # fmt: skip
    (day,) = desk.report(site(), log).report["days"]
    assert day["irradiation_kwh_m2"] is not None
    assert day["expected_kwh"] is not None
