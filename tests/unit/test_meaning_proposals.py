"""What columns mean by what they do. Logs are those of invented plants (`fixtures`, `tests`)."""

import functools

import numpy as np
import pytest

from analysis.logs.asking import SURE_FRAC, OpenColumn
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.meaning.assign import Links, assign
from analysis.meaning.propose import propose
from analysis.meaning.states import State
from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile import parse_site
from fixtures.scenario import home, site_toml
from fixtures.sensors import observe
from fixtures.simulate import simulate
from tests.other_plant import Other, log_of

SIX = ("collector", "loop_hot", "loop_cold", "store_bottom", "store_top", "pump")
MORE = (*SIX, "ambient", "irradiance_plane", "flow", "pressure", "heat_register", "heat_power")


@functools.cache
def logged(start: str = "2025-05-10", days: int = 8, step_s: int = 300):
    run = simulate(home(), seed=12, start=start, days=days)
    return observe(run, seed=4, sensors="site", channels=MORE, step_s=step_s)


def proposals(names, *, heads=None, units=None, log=None, site=None, change=None):
    log = log or logged()
    change = change or {}
    columns = tuple(
        OpenColumn(
            place=place,
            head=(heads or {}).get(name, ""),
            unit_head=(units or {}).get(name, ""),
            values=np.asarray(change.get(name, lambda v: v)(log.columns[name]), dtype=float),
            words=False,
        )
        for place, name in enumerate(names)
    )
    keys = {one.place: one.head or str(one.place + 1) for one in columns}
    found = propose(columns, stamp_s=log.stamp_s, site=site, keys=keys, file="a.csv")
    return dict(zip(names, found, strict=True))


def test_six_columns_without_a_header_each_get_a_meaning_with_reasons():
    found = proposals(SIX)
    for name, proposal in found.items():
        assert proposal.meaning is not None
        assert proposal.reasons, name
        # Right, or asked with the truth among the choices.
        if proposal.certainty_frac >= SURE_FRAC:
            assert proposal.meaning.channel == name
        else:
            (question,) = proposal.questions
            assert name in [choice.value for choice in question.choices]
            assert question.choices[0].certainty_frac >= question.choices[1].certainty_frac
    assert found["collector"].meaning.channel == "collector"
    assert found["store_top"].meaning.channel == "store_top"
    assert found["pump"].meaning.channel == "pump"
    assert any("hotter than" in reason or "with the sun" in reason
               for reason in found["collector"].reasons)  # fmt: skip


def test_order_of_columns_changes_nothing():
    there, back = proposals(SIX), proposals(SIX[::-1])
    for name in SIX:
        assert there[name].meaning == back[name].meaning
        assert there[name].certainty_frac == pytest.approx(back[name].certainty_frac, abs=0.02)


def test_headers_that_say_it_are_taken_and_swapped_pipes_are_not_sure():
    heads = {"collector": "Kollektor [°C]", "store_bottom": "Speicher unten [°C]",
             "loop_hot": "Solarvorlauf [°C]", "loop_cold": "Solarrücklauf [°C]",
             "pump": "Solarpumpe [%]", "store_top": "Speicher oben [°C]"}  # fmt: skip
    right = proposals(SIX, heads=heads)
    for name, proposal in right.items():
        assert proposal.meaning.channel == name
        assert proposal.certainty_frac > SURE_FRAC
    swapped = proposals(
        SIX, heads=heads | {"store_top": heads["store_bottom"], "store_bottom": heads["store_top"]}
    )
    # The header says one thing, the values another: a person is asked.
    assert swapped["store_top"].certainty_frac < SURE_FRAC
    assert swapped["store_bottom"].certainty_frac < SURE_FRAC


def test_header_and_values_that_do_not_fit_are_not_believed():
    heads = dict.fromkeys(SIX, "") | {"store_top": "Aussentemperatur"}
    found = proposals(SIX, heads=heads)["store_top"]
    assert found.meaning.channel != "ambient" or found.certainty_frac < SURE_FRAC


def test_flow_without_a_unit_is_told_by_the_power_beside_it():
    names = (*SIX, "flow", "heat_power")
    heads = {"flow": "Durchfluss", "heat_power": "Leistung [W]", "loop_hot": "Vorlauf Solar",
             "loop_cold": "Rücklauf Solar"}  # fmt: skip
    minute = proposals(names, heads=heads)["flow"]
    hour = proposals(names, heads=heads, change={"flow": lambda v: v * 60.0})["flow"]
    assert (minute.meaning.unit, hour.meaning.unit) == ("l/min", "l/h")
    assert min(minute.certainty_frac, hour.certainty_frac) > SURE_FRAC


def test_flow_between_two_units_is_asked_where_nothing_else_tells():
    level = np.where(logged().columns["flow"] > 0.0, 20.0, 0.0)
    names = ("collector", "store_bottom", "flow")
    found = proposals(
        names, heads={"flow": "Durchfluss"}, change={"flow": lambda _: level + 0.01 * level**0.5}
    )["flow"]
    assert found.certainty_frac < SURE_FRAC
    (question,) = found.questions
    assert question.kind == "unit"
    assert {"l/min", "l/h"} <= {choice.value for choice in question.choices}


def test_fahrenheit_and_kilowatts_are_told_by_their_size():
    heads = {"collector": "Collector", "store_bottom": "Tank bottom", "store_top": "Tank top",
             "ambient": "Outside", "heat_power": "Heat power"}  # fmt: skip
    to_f = {name: lambda v: v * 1.8 + 32.0 for name in heads if name != "heat_power"}
    found = proposals(tuple(heads), heads=heads, change=to_f | {"heat_power": lambda v: v / 1e3})
    assert found["collector"].meaning.unit == "F"
    assert found["heat_power"].meaning.unit == "kW"


def test_beside_degrees_fahrenheit_nothing_is_still_nothing():
    warm = {name: lambda v: v * 1.8 + 32.0 for name in SIX[:5]}
    found = proposals((*SIX, "flow"), change=warm, heads={"flow": "Flow"})
    assert found["collector"].meaning.unit == "F"
    assert "it is on when the loop flow is" in found["pump"].reasons


def test_a_sensor_twice_is_numbered_as_the_headers_say():
    log = logged()
    twice = {"collector": "Kollektor 2 [°C]", "loop_hot": "Kollektor 1 [°C]"}
    found = proposals(("collector", "loop_hot", "store_bottom"), heads=twice,
                      change={"loop_hot": lambda _: log.columns["collector"] - 1.0})  # fmt: skip
    assert found["collector"].meaning.channel == "collector_2"
    assert found["loop_hot"].meaning.channel == "collector"


def test_a_clock_hours_off_does_not_hide_the_day():
    log = logged()
    columns = tuple(
        OpenColumn(place=at, head="", unit_head="", values=log.columns[name], words=False)
        for at, name in enumerate(("collector", "ambient", "irradiance_plane"))
    )
    site = parse_site(site_toml(home()))
    for off_h in (0, 7, -9):
        found = propose(
            columns,
            stamp_s=log.stamp_s + off_h * 3600,
            site=site,
            keys={0: "1", 1: "2", 2: "3"},
            file="a.csv",
        )
        assert [one.meaning.channel for one in found] == [
            "collector", "ambient", "irradiance_plane"
        ], off_h  # fmt: skip


def test_what_a_map_told_binds_and_helps():
    log = logged()
    known = ColumnMeaning(channel="store_bottom", unit="C")
    columns = (
        OpenColumn(place=0, head="A", unit_head="", values=log.columns["store_bottom"],
                   words=False, known=known),
        OpenColumn(place=1, head="", unit_head="", values=log.columns["store_top"], words=False),
    )  # fmt: skip
    found = propose(columns, stamp_s=log.stamp_s, site=None, keys={0: "A", 1: "2"}, file="a.csv")
    assert found[0].meaning == known
    assert found[1].meaning.channel == "store_top"


def test_another_plant_is_read_without_headers_and_never_silently_wrong():
    for seed, start in ((5, "2025-05-01"), (6, "2025-02-01"), (7, "2025-09-10")):
        record = log_of(Other(seed=seed, start=start, days=10))
        columns = tuple(
            OpenColumn(place=at, head="", unit_head="", values=values, words=False)
            for at, values in enumerate(record.columns.values())
        )
        keys = {at: str(at + 1) for at in range(len(columns))}
        found = propose(columns, stamp_s=record.start_s, site=None, keys=keys, file="a.csv")
        for name, proposal in zip(record.columns, found, strict=True):
            if proposal.certainty_frac >= SURE_FRAC:
                assert proposal.meaning.channel == name, (seed, name)


def test_columns_that_hold_next_to_nothing_are_asked_and_break_nothing():
    stamps = np.arange(0, 3600 * 5, 3600, dtype=np.int64)
    rows = {
        "empty": np.full(5, np.nan),
        "constant": np.full(5, 7.0),
        "one": np.array([np.nan, 3.0, np.nan, np.nan, np.nan]),
        "huge": np.array([1e300, -1e300, 1e300, 0.0, 5.0]),
    }
    for count in (0, 1, 5):
        columns = tuple(
            OpenColumn(place=at, head="", unit_head="", values=values[:count], words=False)
            for at, values in enumerate(rows.values())
        )
        found = propose(columns, stamp_s=stamps[:count], site=None,
                        keys={at: str(at) for at in range(4)}, file="a.csv")  # fmt: skip
        assert len(found) == 4
        for proposal in found:
            assert proposal.certainty_frac < SURE_FRAC
            assert len(proposal.questions) == 1


@pytest.mark.parametrize("days", [3, 5, 7, 10, 40])
def test_a_yield_of_each_day_is_no_register_however_few_days_there_are(days):
    # Invented yields of days in April [kWh].
    yields = (np.array([8.1, 2.4, 7.9, 0.3, 5.5, 6.0, 1.2, 9.4]).repeat(5).reshape(8, 5).T).ravel()
    column = OpenColumn(
        place=1, head="Solar yield (kWh)", unit_head="", values=yields[:days], words=False
    )
    stamp_s = 1_743_465_600 + 86_400 * np.arange(days, dtype=np.int64)
    (found,) = propose((column,), stamp_s=stamp_s, site=None, keys={1: "a"}, file="a.csv")
    sure = found.certainty_frac >= SURE_FRAC and found.meaning is not None
    assert not (sure and found.meaning.channel == "heat_register")


def test_few_readings_of_a_register_that_rises_stay_one():
    column = OpenColumn(
        place=1, head="Heat meter (kWh)", unit_head="", values=np.arange(4) * 7.5 + 410, words=False
    )
    stamp_s = 1_743_465_600 + 86_400 * np.arange(4, dtype=np.int64)
    (found,) = propose((column,), stamp_s=stamp_s, site=None, keys={1: "a"}, file="a.csv")
    assert found.certainty_frac >= SURE_FRAC
    assert found.meaning == ColumnMeaning(channel="heat_register", unit="kWh")


def test_bare_columns_of_a_usual_log_are_told_by_the_edges_of_the_pump():
    found = proposals(MORE, site=parse_site(site_toml(home())))
    right = [name for name, one in found.items() if one.meaning and one.meaning.channel == name]
    sure = [name for name, one in found.items() if one.certainty_frac >= SURE_FRAC]
    assert set(sure) <= set(right)
    assert len(sure) >= 8
    assert {"collector", "loop_hot", "loop_cold", "store_bottom"} <= set(sure)
    # What only the sizes of a counter tell is asked.
    assert found["heat_register"].certainty_frac < SURE_FRAC


def test_a_sensor_of_light_in_the_plane_is_told_from_a_level_one():
    run = simulate(home(), seed=12, start="2025-11-10", days=8)
    channels = (*SIX, "irradiance_plane", "irradiance_horizontal")
    log = observe(run, seed=4, sensors="site", channels=channels, step_s=600)
    for name in ("irradiance_plane", "irradiance_horizontal"):
        found = proposals((*SIX, name), log=log, site=parse_site(site_toml(home())))
        assert found[name].meaning.channel == name


def test_columns_that_only_look_like_ours_are_not_sure():
    log = logged()
    day = 2.0 * np.pi * (log.stamp_s / 86_400.0 % 1.0)
    drift = np.cumsum(np.random.default_rng(5).normal(size=day.size))
    drift = (drift - drift.mean()) / drift.std()
    # Invented: a room, the air's humidity, carbon dioxide, a counter, radio.
    strangers = {
        "room": np.round(20.5 + 0.8 * np.cos(day - 1.0) + 0.3 * drift, 1),
        "humidity": np.round(65.0 - 15.0 * np.cos(day - 3.8) + 8.0 * drift),
        "co2": np.round(600.0 + 200.0 * np.cos(day - 2.0) + 50.0 * drift),
        "rows": np.arange(day.size) + 1.0,
        "radio": np.round(-67.0 + 3.0 * np.sin(37.0 * day) + drift),
    }
    for name, values in strangers.items():
        found = proposals((*SIX, "ambient"), change={"ambient": lambda _, v=values: v})["ambient"]
        assert found.meaning is None or found.certainty_frac < SURE_FRAC, name


def test_the_unit_of_a_register_is_settled_by_heat_or_asked():
    heads = {"collector": "Collector", "store_bottom": "Tank bottom", "pump": "Pump",
             "heat_register": "Heat total", "irradiance_plane": "Irradiance tilted"}  # fmt: skip
    mj = {"heat_register": lambda v: np.round(v * 3.6, 1)}
    site = parse_site(site_toml(home()))
    for there in (site, None):
        for change in ({}, mj):
            found = proposals(tuple(heads), heads=heads, change=change, site=there)["heat_register"]
            true = "MJ" if change else "kWh"
            if found.certainty_frac < SURE_FRAC:
                (question,) = found.questions
                assert question.kind == "unit"
                assert {"kWh", "MJ"} <= {choice.value for choice in question.choices}
            else:
                assert found.meaning == ColumnMeaning(channel="heat_register", unit=true)
            if there is None:  # Nothing to hold the heat against.
                assert found.certainty_frac < SURE_FRAC
                assert any("does not tell" in reason for reason in found.reasons)
    # A flow between known pipes, or the meter's own power, tells it.
    for more in ({"flow": "Flow l/min", "loop_hot": "Supply solar", "loop_cold": "Return solar"},
                 {"heat_power": "Heat power [W]"}):  # fmt: skip
        for change, unit in (({}, "kWh"), (mj, "MJ")):
            all_heads = heads | more
            found = proposals(tuple(all_heads), heads=all_heads, change=change)["heat_register"]
            assert found.certainty_frac >= SURE_FRAC
            assert found.meaning == ColumnMeaning(channel="heat_register", unit=unit)


@pytest.mark.parametrize("more", [(), ("pump",)])
def test_crossed_headers_are_asked_with_both_reasons(more):
    right = {"collector": "Collector", "store_bottom": "Boiler onder"} | dict.fromkeys(more, "Pomp")
    found = proposals(tuple(right), heads=right)
    for name in ("collector", "store_bottom"):
        assert found[name].meaning.channel == name
        assert found[name].certainty_frac >= SURE_FRAC
    crossed = right | {"collector": "Boiler onder", "store_bottom": "Collector"}
    found = proposals(tuple(crossed), heads=crossed)
    for name in ("collector", "store_bottom"):
        assert found[name].certainty_frac < SURE_FRAC
        (question,) = found[name].questions
        assert {"collector", "store_bottom"} <= {choice.value for choice in question.choices}
        assert "its header says" in question.why
        assert "its values are those of" in question.why
        assert any(reason.startswith("but the values") for reason in found[name].reasons)


NAMED = {"collector": "Kollektor [°C]", "store_bottom": "Speicher unten [°C]",
         "loop_hot": "Vorlauf [°C]", "loop_cold": "Rücklauf [°C]", "pump": "Solarpumpe [%]",
         "store_top": "Speicher oben [°C]"}  # fmt: skip


def test_headers_that_all_other_columns_overrule_are_offered_all_the_same():
    one, other = NAMED["collector"], NAMED["store_bottom"]
    crossed = NAMED | {"collector": other, "store_bottom": one}
    found = proposals(tuple(crossed), heads=crossed)
    for name in ("collector", "store_bottom"):
        (question,) = found[name].questions
        assert {"collector", "store_bottom"} <= {choice.value for choice in question.choices}
        assert "its header says" in question.why


MISPRINTED = [
    ("flow", "l/min", "l/h", 60.0),
    ("flow", "l/h", "l/min", 1.0),
    ("heat_power", "W", "kW", 1e-3),
    ("heat_power", "kW", "W", 1.0),
    ("heat_register", "kWh", "Wh", 1e3),
    ("heat_register", "MWh", "kWh", 1.0),
    ("heat_register", "GJ", "kWh", 1.0),
]
HEADS_OF = {"flow": "Durchfluss", "heat_power": "Leistung", "heat_register": "Wärmemenge"}


def with_unit(name, unit, factor, site, beside=SIX):
    heads = NAMED | {name: f"{HEADS_OF[name]} [{unit}]"}
    change = {name: lambda values: values * factor}
    return proposals((*beside, name), heads=heads, change=change, site=site)[name]


@pytest.mark.parametrize(("name", "printed", "true", "factor"), MISPRINTED)
def test_a_printed_unit_that_no_sun_could_give_is_asked(name, printed, true, factor):
    site = parse_site(site_toml(home()))
    found = with_unit(name, printed, factor, site)
    assert found.certainty_frac < SURE_FRAC
    (question,) = found.questions
    assert question.kind == "unit"
    assert question.choices[0].value == true
    assert printed in [choice.value for choice in question.choices]
    assert f"its head says {printed}" in question.why
    right = with_unit(name, true, factor, site)
    assert right.certainty_frac >= SURE_FRAC
    assert right.meaning == ColumnMeaning(channel=name, unit=true)


def test_a_flow_that_no_collector_is_given_is_asked_without_the_pipes():
    beside = ("collector", "store_bottom", "store_top", "pump")
    site = parse_site(site_toml(home()))
    found = with_unit("flow", "l/min", 60.0, site, beside=beside)
    assert [choice.value for choice in found.questions[0].choices][:2] == ["l/h", "l/min"]
    assert with_unit("flow", "l/min", 1.0, site, beside=beside).certainty_frac >= SURE_FRAC


def test_a_flow_and_a_power_that_differ_are_asked_without_a_site():
    heads = NAMED | {"flow": "Durchfluss [l/min]", "heat_power": "Leistung [W]"}
    names = (*SIX, "flow", "heat_power")
    change = {"flow": lambda values: values * 60.0}
    found = proposals(names, heads=heads, change=change)
    assert [choice.value for choice in found["flow"].questions[0].choices] == ["l/h", "l/min"]
    assert found["heat_power"].certainty_frac >= SURE_FRAC


def test_a_gigajoule_is_told_by_the_heat():
    heads = NAMED | {"flow": "Durchfluss [l/min]", "heat_register": "Wärmemenge"}
    names = (*SIX, "flow", "heat_register")
    change = {"heat_register": lambda values: values * 0.0036}
    site = parse_site(site_toml(home()))
    found = proposals(names, heads=heads, change=change, site=site)["heat_register"]
    assert found.meaning.unit == "GJ"


def test_a_head_that_names_a_channel_is_asked_for_its_unit_all_the_same():
    log = logged()
    heads = NAMED | {"flow": "Flow [l/min]"}
    stamps = log.stamp_s.astype("datetime64[s]")
    rows = ["Time;" + ";".join(heads.values())]
    rows += [
        f"{stamp!s}Z;" + ";".join(f"{log.columns[name][at]:.2f}" for name in NAMED)
        + f";{log.columns['flow'][at] * 60.0:.1f}"
        for at, stamp in enumerate(stamps)
    ]  # fmt: skip
    text = "\n".join(rows).replace("nan", "")
    source = LogSource(name="a.csv", data=text.encode())
    read = read_logs([source], site=parse_site(site_toml(home())))
    (question,) = read.questions
    assert (question.kind, question.subject) == ("unit", "Flow [l/min]")
    answer = LogMap(columns=(("Flow [l/min]", ColumnMeaning(channel="flow", unit="l/h")),))
    answered = read_logs([source], site=parse_site(site_toml(home())), log_map=answer)
    assert not answered.questions
    assert np.nanmax(answered.columns["flow"]) < 5.0


def test_a_certainty_is_never_above_one_by_a_last_digit():
    """The fuzzer found 1.000000000000001: a share is a sum of hundreds of rounded weights."""
    links = Links(pairs=None, gaps=None, named=[])
    for seed in range(12):
        nats = np.random.default_rng(seed).exponential(1.0, (6, 8))
        states = [
            tuple(
                State(channel="", unit=None, nats=-value, traits=np.zeros(0), look=None,
                      factor=1.0, shift=0.0)
                for value in sorted(row)
            )
            for row in nats.tolist()
        ]  # fmt: skip
        found = assign([states[0][:1], *states[1:]], links)
        assert max(float(shares.max()) for shares in found.shares) <= 1.0


def test_clear_names_hold_where_no_flow_runs():
    room = 17.0 + 0.15 * (logged().columns["ambient"] - 10.0)
    rest = {
        "collector": lambda values: values * 1.3,
        "loop_hot": lambda values: room,
        "loop_cold": lambda values: room - 0.3,
        "store_bottom": lambda values: np.linspace(28.0, 12.0, len(values)),
        "flow": lambda values: np.zeros(len(values)),
    }
    said = NAMED | {
        "store_bottom": "Tank bottom",
        "store_top": "Tank top",
        "loop_hot": "Solar flow",
        "loop_cold": "Solar return",
        "ambient": "Outside",
        "flow": "Flow rate l/min",
        "pump": "Pump %",
    }
    names = (*SIX, "ambient", "flow")
    found = proposals(names, heads=said, change=rest, site=parse_site(site_toml(home())))
    for name in ("store_bottom", "loop_hot", "loop_cold", "flow"):
        assert found[name].certainty_frac >= SURE_FRAC, name
        assert found[name].meaning.channel == name


@pytest.mark.parametrize(("name", "unit"), [("flow", "l/min"), ("heat_power", "W")])
def test_ten_times_the_heat_of_the_sun_is_asked_though_no_other_unit_fits(name, unit):
    (question,) = with_unit(name, unit, 10.0, parse_site(site_toml(home()))).questions
    assert question.kind == "unit"
    assert f"0.1 {unit}" in [choice.value for choice in question.choices]
    assert "times the heat that is likely" in question.why
