"""Dates that stand apart from their times: in parts in columns, or on a line above each day."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from analysis.errors import LogError
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource, ParsedLog
from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile import parse_map
from analysis.sitefile_write import map_to_toml
from tests.unit.test_logs_reading import SITE

BARE = replace(SITE, log=LogMap(timezone="UTC"))
START = datetime(2025, 5, 30, 22, 50, tzinfo=UTC)
MOMENTS = [START + timedelta(minutes=10 * at) for at in range(450)]
STAMPS = [int(moment.timestamp()) for moment in MOMENTS]

Part = Callable[[datetime], str]
PARTS: dict[str, Part] = {
    "y": lambda at: f"{at:%y}",
    "Y": lambda at: f"{at:%Y}",
    "m": lambda at: str(at.month),
    "d": lambda at: str(at.day),
    "H": lambda at: str(at.hour),
    "M": lambda at: str(at.minute),
    "S": lambda at: "0",
    "02d": lambda at: f"{at:%d}",
    "T": lambda at: f"{at:%H:%M}",
}


def value(at: int) -> str:
    return f"{20 + at % 37}.5"


def in_columns(order: str, head: str, sep: str = ";") -> str:
    parts = [PARTS[part] for part in order]
    lines = [
        sep.join([*(part(moment) for part in parts), value(at)])
        for at, moment in enumerate(MOMENTS)
    ]
    return "\n".join([*([head] if head else []), *lines]) + "\n"


def read(text: str, log_map: LogMap | None = None) -> ParsedLog:
    source = LogSource(name="x.csv", data=text.encode())
    return read_logs([source], site=BARE, log_map=log_map, keep_open=True)


@pytest.mark.parametrize(
    ("order", "head"),
    [
        ("ymdHM", "YY;MM;DD;hh;mm;t_collector_c"),
        ("dmyHM", "DD;MM;YY;HH;MM;t_collector_c"),
        ("YmdHMS", "Year;Month;Day;Hour;Minute;Second;t_collector_c"),
        ("YmdHM", "Jahr;Monat;Tag;Stunde;Minute;t_collector_c"),
        ("MHdmY", "min;h;jour;mois;année;t_collector_c"),
        ("YmdT", "Year;Month;Day;Time;t_collector_c"),
    ],
)
def test_heads_name_the_parts_of_the_time_in_any_order(order, head):
    found = read(in_columns(order, head))
    assert found.stamp_s.tolist() == STAMPS
    assert found.problems == 0
    assert found.columns["collector"][40] == float(value(40))


@pytest.mark.parametrize("order", ["ymdHM", "dmYHM", "YmdHMS"])
def test_without_heads_the_order_that_the_rows_allow_is_taken(order):
    found = read(in_columns(order, "", sep=";"))
    assert found.stamp_s.tolist() == STAMPS
    assert list(found.open_columns) == [str(len(order) + 1)]


def test_without_heads_an_order_that_stays_open_is_asked():
    lines = [f"{3 + at // 600};4;25;{at // 60 % 24};{at % 60};7.5" for at in range(0, 600, 10)]
    with pytest.raises(LogError, match="date_order") as refused:
        read("\n".join(lines))
    question = refused.value.questions[0]
    assert question.kind == "date_order"
    assert {choice.value for choice in question.choices} == {"day_first", "month_first"}
    found = read("\n".join(lines), LogMap(date_order="day_first"))
    assert found.stamp_s[0] == datetime(2025, 4, 3, tzinfo=UTC).timestamp()


def test_a_map_names_the_parts():
    names = ("year", "month", "day", "hour", "minute")
    entries = tuple(
        (head, ColumnMeaning(channel=name, unit=None))
        for head, name in zip("abcde", names, strict=True)
    )
    log_map = LogMap(columns=(*entries, ("f", ColumnMeaning(channel="collector", unit="C"))))
    assert parse_map(map_to_toml(log_map)) == log_map
    found = read(in_columns("ymdHM", "a;b;c;d;e;f"), log_map)
    assert found.stamp_s.tolist() == STAMPS


def in_blocks(
    written: Callable[[date], str],
    *,
    clock: str = "%H:%M",
    again: bool = False,
    ends: bool = False,
    sep: str = ";",
    head: str = "time;t_collector_c",
) -> str:
    """Write days as blocks; where midnight `ends` a day its row stands below the day before."""
    head = head.replace(";", sep)
    lines, last = [head], None
    for at, moment in enumerate(MOMENTS):
        midnight = (moment.hour, moment.minute) == (0, 0)
        day = (moment - timedelta(days=1 if ends and midnight else 0)).date()
        if day != last:
            lines += [written(day), *([head] if again else [])]
            last = day
        lines.append(f"{moment:{clock}}{sep}{value(at)}")
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("ends", [False, True], ids=["begins at midnight", "ends at midnight"])
@pytest.mark.parametrize("again", [False, True], ids=["one header", "a header each day"])
@pytest.mark.parametrize(
    "written",
    [
        lambda day: f"{day:%d.%m.%Y}",
        lambda day: f"Date: {day:%Y-%m-%d}",
        lambda day: f"Datum;{day:%d.%m.%Y};",
        lambda day: f"--- {day:%A, %d %B %Y} ---",
        lambda day: f"# {day:%d/%m/%Y}",
    ],
)
def test_a_date_above_each_block_of_times_is_the_date_of_its_rows(written, again, ends):
    found = read(in_blocks(written, again=again, ends=ends))
    assert found.stamp_s.tolist() == STAMPS
    assert found.problems == 0
    assert found.columns["collector"][200] == float(value(200))
    known = found.files[0].understood
    assert known is not None
    assert any("line of its own" in remark for remark in known.remarks)


def test_a_clock_of_twelve_hours_and_blanks_between_columns_are_read_in_blocks_too():
    text = in_blocks(lambda day: f"{day:%d.%m.%Y}", clock="%I:%M %p", ends=True)
    assert read(text).stamp_s.tolist() == STAMPS
    text = in_blocks(lambda day: f"{day:%d.%m.%Y}", sep=" ")
    assert read(text).stamp_s.tolist() == STAMPS


def test_times_that_start_anew_without_a_date_are_set_aside_by_their_line():
    lines = in_blocks(lambda day: f"{day:%d.%m.%Y}").split("\n")
    gone = lines.index("01.06.2025")
    lines[gone] = ""
    lines.pop(gone + 1)  # its row of midnight would end the day before
    found = read("\n".join(lines))
    lost = [problem.line for problem in found.rejected]
    assert found.problems == sum(moment.date() == date(2025, 6, 1) for moment in MOMENTS) - 1
    assert lost[0] == gone + 2
    assert set(found.stamp_s.tolist()) < set(STAMPS)


@pytest.mark.parametrize(
    "text",
    [
        "Export;01.06.2025\ntime;t_collector_c\n10:00;20.5\n10:10;21.5\n",
        "01.06.2025\ntime;t_collector_c\n12.05.2025 10:00;20.5\n12.05.2025 10:10;21.5\n",
        "01.06.2025\ndate;clock;t_collector_c\n12.05.2025;10:00;20.5\n12.05.2025;10:10;21.5\n",
    ],
)
def test_the_date_of_an_export_is_not_that_of_its_rows(text):
    try:
        found = read(text)
    except LogError:
        return
    assert datetime.fromtimestamp(int(found.stamp_s[0]), UTC).month == 5


def test_a_map_says_where_dates_stand():
    log_map = parse_map('[log]\ndates = "rows"\n')
    assert parse_map(map_to_toml(log_map)) == log_map
    with pytest.raises(LogError):
        read(in_blocks(lambda day: f"{day:%d.%m.%Y}"), log_map)


@pytest.mark.parametrize(
    ("head", "stamp"),
    [
        ("Datum;Zeit", lambda at: f"{at:%d.%m.%Y};{at.hour * 100 + at.minute}"),
        ("Date;Time", lambda at: f"{at:%d/%m/%Y};{at:%H%M}"),
        ("Data;Ora", lambda at: f"{at:%d/%m/%Y};{at:%H.%M}"),
        ("Year;DOY;Hour;Minute", lambda at: f"{at:%Y};{at:%j};{at.hour};{at.minute}"),
        ("Year;Day of year;Time", lambda at: f"{at:%Y};{int(f'{at:%j}')};{at:%H:%M}"),
        (
            "time",  # midnight under the date that it ends
            lambda at: (
                f"{at - timedelta(minutes=1) if at.hour + at.minute == 0 else at:%Y-%m-%d}"
                f" {at:%H:%M}"
            ),
        ),
    ],
    ids=["HMM", "HHMM", "HH.MM", "day of the year", "day of the year, clock", "late midnight"],
)
def test_times_without_a_colon_days_of_the_year_and_late_midnights(head, stamp):
    rows = "".join(f"{stamp(moment)};{value(at)}\n" for at, moment in enumerate(MOMENTS))
    assert read(f"{head};t_collector_c\n{rows}").stamp_s.tolist() == STAMPS


def test_decimal_hours_are_not_taken_for_times_of_day():
    rows = "".join(
        f"{START + timedelta(minutes=30 * at):%d.%m.%Y};{at % 48 / 2:05.2f};{value(at)}\n"
        for at in range(200)
    )
    with pytest.raises(LogError, match="no column with their time of day"):
        read(f"Datum;Zeit;t_collector_c\n{rows}")


def test_a_map_tells_seconds_of_the_day():
    rows = "".join(
        f"{moment:%d.%m.%Y};{moment.hour * 3600 + moment.minute * 60};{value(at)}\n"
        for at, moment in enumerate(MOMENTS)
    )
    text = f"Date;Seconds;t_collector_c\n{rows}"
    with pytest.raises(LogError, match="seconds of the day"):
        read(text)
    meanings = (("Date", "date", None), ("Seconds", "time_of_day", "s"))
    columns = tuple((head, ColumnMeaning(channel=name, unit=unit)) for head, name, unit in meanings)
    found = read(text, LogMap(columns=columns, timezone="UTC"))
    assert found.stamp_s.tolist() == STAMPS
