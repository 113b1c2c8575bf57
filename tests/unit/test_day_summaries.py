"""Logs that hold one row for each day. Heads and figures are invented."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from analysis.assess import assess, observe
from analysis.days import span_s
from analysis.errors import LogError
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.record import record_from_stamps
from analysis.site import LogMap
from analysis.sitefile import parse_map, parse_site
from tests.build_service import tidy_log

ROOT = Path(__file__).parents[2]
SITE = replace(
    parse_site((ROOT / "fixtures/sites/mill-lane-4.toml").read_text("utf-8")), log=LogMap()
)
FIRST = date(2025, 5, 1)
HEAT = (8.1, 2.4, 7.9, 0.0, 5.5, 6.0, 1.2, 9.4, 3.3, 7.0)
HEADS = "Datum;Ertrag [kWh];Kollektor max [°C];Laufzeit Pumpe [h]"
LONDON = ZoneInfo("Europe/London")


def daily(stamp: str = "%d.%m.%Y", *, days: int = 20, heads: str = HEADS) -> str:
    rows = [heads]
    for number in range(days):
        day, kwh = FIRST + timedelta(days=number), HEAT[number % len(HEAT)]
        rows.append(f"{day.strftime(stamp)};{kwh:.1f};{60 + 5 * kwh:.0f};{kwh / 1.5:.1f}")
    return "\n".join(rows) + "\n"


def read(*texts: str, site=SITE, log_map: str | None = None, keep_open: bool = False):
    files = [LogSource(name=f"{n}.csv", data=text.encode()) for n, text in enumerate(texts, 1)]
    told = None if log_map is None else parse_map(log_map)
    return read_logs(files, site=site, log_map=told, keep_open=keep_open)


def report(*texts: str, site=SITE, log_map: str | None = None):
    parsed = read(*texts, site=site, log_map=log_map)
    record = record_from_stamps(stamp_s=parsed.stamp_s, columns=parsed.columns, stamp=parsed.stamp)
    channels = frozenset(parsed.columns)
    table = observe(site=site, record=record, channels=channels)
    start_s, end_s = span_s(table)
    return assess(
        site=site, table=table, start_s=start_s, end_s=end_s, until_s=end_s, channels=channels,
        rows=parsed.rows, rejected=parsed.rejected,
    )  # fmt: skip


def days_of(parsed) -> dict[str, float]:
    at = [datetime.fromtimestamp(second, LONDON) for second in parsed.stamp_s.tolist()]
    assert all((moment.hour, moment.minute) == (12, 0) for moment in at)
    return {
        str(moment.date()): value
        for moment, value in zip(at, parsed.columns["day_heat"].tolist(), strict=True)
    }


@pytest.mark.parametrize(
    ("stamp", "said", "first"),
    [
        ("%d.%m.%Y", "", "2025-05-01"),  # a bare date means that day
        ("%Y-%m-%d", 'stamp = "end"', "2025-05-01"),
        ("%Y-%m-%d 00:00", 'stamp = "end"', "2025-04-30"),
        ("%Y-%m-%d 00:00", 'stamp = "start"', "2025-05-01"),
        ("%Y-%m-%d 00:05", 'stamp = "end"', "2025-04-30"),
        ("%Y-%m-%d 23:55", "", "2025-05-01"),  # from noon on, a time means its own day
        ("%Y-%m-%d 23:55", 'stamp = "end"', "2025-05-01"),
        # Midnight of UTC is one o'clock in the site's summer: still the day as written.
        ("%Y-%m-%dT00:00:00Z", 'stamp = "start"', "2025-05-01"),
        ("%Y-%m-%dT00:00:00+01:00", 'stamp = "end"', "2025-04-30"),
    ],
)
def test_a_row_of_a_day_stands_at_the_noon_of_its_day(stamp, said, first):
    found = days_of(read(daily(stamp), log_map=f"[log]\n{said}\n"))
    assert min(found) == first
    assert list(found.values()) == [HEAT[n % 10] for n in range(20)]
    assert len(found) == 20


def test_midnight_that_nobody_explains_is_asked_and_not_used():
    with pytest.raises(LogError, match='stamp = "end"') as refused:
        read(daily("%Y-%m-%d 00:00"))
    (question,) = refused.value.questions
    assert question.kind == "stamp"
    assert [choice.value for choice in question.choices] == ["end", "start"]
    shown = read(daily("%Y-%m-%d 00:00"), keep_open=True)
    assert [one.kind for one in shown.questions] == ["stamp"]
    assert "day_heat" in shown.columns


def test_heat_peak_and_hours_of_days_make_a_report_with_wide_bounds():
    made = report(daily())
    assert made.basis.heat == "daily_summary"
    assert any("20 days" in note and "samples" in note for note in made.basis.notes)
    total = 2 * sum(HEAT)
    assert made.totals.delivered_kwh == pytest.approx(total)
    # 15 % all year and the last printed digit, 0.1 kWh: half of it to both sides, a rectangle.
    fixed = 2 * sum(np.hypot(0.15 * kwh, 0.05 / 3**0.5) for kwh in HEAT)
    reach = 1.96 * np.hypot(fixed, 20**0.5 * 0.05 / 3**0.5)
    assert made.totals.delivered_high_kwh - total == pytest.approx(reach, rel=1e-6)
    assert made.totals.coverage == 1.0
    assert made.totals.pump_kwh == pytest.approx(
        sum(round(kwh / 1.5, 1) for kwh in HEAT) * 2 * SITE.loop.pump_w / 1000
    )
    assert [day.peak_collector_c for day in made.days[:2]] == [100.0, 72.0]
    assert made.days[0].expected_kwh is None
    assert made.findings == ()
    judged = {one.kind for one in made.verdicts if one.outcome != "cannot_judge"}
    assert judged == {"silence", "not_yet_fitted"}  # a hot roof proves its tubes


def test_a_missing_day_lowers_the_coverage_and_two_are_silence():
    rows = daily().splitlines()
    made = report("\n".join(rows[:6] + rows[8:]) + "\n")
    assert made.totals.coverage == pytest.approx(0.9)
    assert [(one.kind, one.urgency) for one in made.findings] == [("silence", "record")]
    assert made.days[5].delivered_kwh is None


def test_where_a_day_has_samples_they_win():
    site = replace(SITE, place=replace(SITE.place, timezone="UTC"))
    site = replace(site, place=replace(site.place, latitude_deg=48.0, longitude_deg=11.0))
    samples = tidy_log(first=datetime(2025, 5, 3, tzinfo=ZoneInfo("UTC")), hours=48)
    alone, both = report(samples, site=site), report(samples, daily(), site=site)
    mixed = {day.date: day for day in both.days}
    for day in alone.days:
        assert mixed[day.date].delivered_kwh == day.delivered_kwh
        assert mixed[day.date].coverage == day.coverage
        assert mixed[day.date].expected_kwh == day.expected_kwh
        assert mixed[day.date].peak_collector_c == day.peak_collector_c
    assert mixed["2025-05-02"].delivered_kwh == pytest.approx(2.4)
    assert both.basis.heat.startswith("flow_and_temperatures")
    assert any("18 days" in note for note in both.basis.notes)
    assert {one.kind for one in both.findings} == {one.kind for one in alone.findings}


def test_a_summary_counts_where_samples_hold_little_of_the_day():
    site = replace(SITE, place=replace(SITE.place, timezone="UTC"))
    site = replace(site, place=replace(site.place, latitude_deg=48.0, longitude_deg=11.0))
    samples = tidy_log(first=datetime(2025, 5, 3, tzinfo=ZoneInfo("UTC")), hours=9)
    made = report(samples, daily(), site=site)
    assert made.days[2].delivered_kwh == pytest.approx(HEAT[2])
    assert made.days[2].coverage == 1.0


def test_one_reading_of_a_register_each_day_stays_a_register():
    rows = ["Date;Heat meter [kWh]"]
    total = 1000.0
    for number in range(20):
        total += HEAT[number % 10]
        rows.append(f"{FIRST + timedelta(days=number)};{total:.1f}")
    made = report("\n".join(rows) + "\n")
    assert made.basis.heat == "heat_register"
    assert made.totals.delivered_kwh == pytest.approx(2 * sum(HEAT) - HEAT[0])


def test_a_register_that_falls_again_and_again_is_told():
    told = '[log.columns]\n"Ertrag [kWh]" = { channel = "heat_register", unit = "kWh" }\n'
    made = report(daily(), log_map=told)
    assert any("falls in" in note and "day_heat" in note for note in made.basis.notes)


def test_a_running_figure_of_the_day_gives_its_highest():
    rows = ["time,day_heat_kwh"]
    for hour in range(1, 49):
        stamp = datetime(2025, 5, 1, tzinfo=LONDON) + timedelta(hours=hour)
        # It starts anew after the row that ends the day.
        rows.append(f"{stamp.isoformat()},{0.25 * ((hour - 1) % 24 + 1):.2f}")
    found = days_of(read("\n".join(rows) + "\n"))
    assert found == {"2025-05-01": 6.0, "2025-05-02": 6.0}
    assert read("\n".join(rows) + "\n").rows.duplicate == 46


def test_the_last_printed_digit_widens_the_bounds():
    rows = [line.split(";") for line in daily().splitlines()]
    whole = "\n".join(
        ";".join([one, heat if place == 0 else f"{round(float(heat))}", *rest])
        for place, (one, heat, *rest) in enumerate(rows)
    )
    fine, coarse = report(daily()), report(whole + "\n")
    zero = 3  # a day without heat
    assert fine.days[zero].delivered_high_kwh == pytest.approx(0.1 * 1.96 / 6**0.5, abs=1e-3)
    assert coarse.days[zero].delivered_high_kwh == pytest.approx(1.96 / 6**0.5, abs=1e-2)


def test_a_log_of_days_with_many_days_missing_is_one_all_the_same():
    rows = daily("%Y-%m-%d", days=60).splitlines()
    kept = [rows[0], *(row for number, row in enumerate(rows[1:]) if number % 3)]
    assert len(days_of(read("\n".join(kept) + "\n"))) == 40


def test_a_figure_of_the_day_among_samples_is_asked():
    rows = ["Zeit;Kollektor [°C];Ertrag heute [kWh]"]
    for number in range(4 * 144):
        hour = number % 144 / 6
        stamp = datetime(2025, 5, 1) + timedelta(minutes=10 * number)  # noqa: DTZ001
        rows.append(f"{stamp:%Y-%m-%d %H:%M};{20 + hour};{max(hour - 8, 0) / 4:.1f}")
    asked = read("\n".join(rows) + "\n", keep_open=True).questions
    assert "Ertrag heute [kWh]" in [one.subject for one in asked]


@pytest.mark.parametrize(
    ("heads", "sure"),
    [
        ("Date;Solar yield [kWh];Max collector temp [°C];Pump run time [h]", True),
        ("Jour;Production du jour [kWh];Capteur maxi [°C];Heures pompe [h]", True),
        ("Fecha;Energía diaria [kWh];Captador máxima [°C];Horas bomba [h]", True),
        ("Data;Resa giornaliera [kWh];Collettore massima [°C];Ore pompa [h]", True),
        ("Dag;Dagopbrengst [kWh];Collector maximum [°C];Draaiuren pomp [h]", True),
        ("Datum;A;B;C", False),
    ],
)
def test_heads_of_daily_figures_are_known_in_six_languages(heads, sure):
    parsed = read(daily("%Y-%m-%d", heads=heads), keep_open=True)
    found = [one.meaning.channel for one in parsed.files[0].understood.columns if one.meaning]
    assert found == (["day_heat", "day_peak_collector", "day_pump_hours"] if sure else [])
    assert bool(parsed.questions) is not sure
