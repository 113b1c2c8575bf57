"""The site file: every key, every refusal with key, value, what is allowed and line."""

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from analysis.errors import SiteFileError
from analysis.site import Array, ColumnMeaning, Controller, LogMap, Sensors, Sun
from analysis.sitefile import change_dates, parse_map, parse_site, site_on
from analysis.sitefile_lines import key_lines
from analysis.sitefile_write import map_to_toml, site_to_toml

TEXT = (Path(__file__).parents[2] / "fixtures/sites/mill-lane-4.toml").read_text("utf-8")
ARRAY = TEXT[TEXT.index("[[array]]") : TEXT.index("[loop]")]

CLIMATE = (
    '[climate]\nsource = "invented"\n'
    f"horizontal_kwh_m2 = {[50] * 12}\ndiffuse_kwh_m2 = {[30] * 12}\nair_c = {[10] * 12}\n\n[sun]"
)


def refused(old: str, new: str) -> SiteFileError:
    assert TEXT.count(old) >= 1, old
    with pytest.raises(SiteFileError) as caught:
        parse_site(TEXT.replace(old, new, 1))
    return caught.value


def line_of(start: str) -> int:
    return next(n for n, line in enumerate(TEXT.split("\n"), 1) if line.startswith(start))


def without(table: str) -> str:
    """Leave out one table, up to the next blank line."""
    start = TEXT.index(f"[{table}]")
    return TEXT[:start] + TEXT[TEXT.index("\n\n", start) :]


def test_every_fact_of_a_full_site_file_is_read():
    site = parse_site(TEXT)
    assert site.place.latitude_deg == 52.4
    assert site.arrays[0].tubes == 18
    assert site.arrays[0].eta0_hem == 0.72
    assert site.arrays[0].eta0_beam is None
    assert site.loop.concentration_frac == 0.4
    assert site.store.mixing_valve_c == 48
    assert site.controller_given
    assert site.horizon is not None
    assert site.horizon.elevation_deg == (12, 8, 0, 0, 20)
    assert site.litres_per_day == 120
    assert site.backup is not None
    assert site.backup.hours == ((6.0, 8.0), (16.5, 19.0))
    assert site.backup.tariffs[0].start == date(2024, 4, 1)
    assert site.design is not None
    assert sum(site.design.monthly_kwh) == 981
    assert site.warranty is not None
    assert site.warranty.conditions[1] == "fluid checked every second year"
    assert site.log.columns[0] == (
        "S1 roof [C]",
        ColumnMeaning(channel="collector", unit="C"),
    )


@pytest.mark.parametrize(
    ("table", "attribute", "value"),
    [
        ("controller", "controller", Controller()),
        ("horizon", "horizon", None),
        ("hot_water", "hot_water", None),
        ("sensors", "sensors", Sensors()),
        ("sun", "sun", Sun()),
        ("design", "design", None),
        ("commissioned", "commissioned", None),
        ("warranty", "warranty", None),
    ],
)
def test_an_optional_table_may_be_missing(table, attribute, value):
    assert getattr(parse_site(without(table)), attribute) == value


@pytest.mark.parametrize("table", ["site", "loop", "store"])
def test_a_missing_required_table_is_named(table):
    text = without(table).split("[[change]]")[0]
    with pytest.raises(SiteFileError, match=rf"the table \[{table}\] is missing"):
        parse_site(text)


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        (
            "tilt_deg = 38",
            "tilt_deg = 138",
            "array.1.tilt_deg",
            "is 138; allowed: a number, 0 to 90",
        ),
        ("tilt_deg = 38", 'tilt_deg = "38"', "array.1.tilt_deg", 'is "38"; allowed: a number'),
        ("tilt_deg = 38", "tilt_deg = true", "array.1.tilt_deg", "is true; allowed: a number"),
        ("tilt_deg = 38", "tilt_deg = nan", "array.1.tilt_deg", "is nan; allowed: a number"),
        ("tilt_deg = 38", "tilt = 38", "array.1.tilt", 'did you mean "tilt_deg"?'),
        ("tilt_deg = 38", "", "array.1.tilt_deg", "is missing; it must be a number"),
        ("tubes = 18 ", "tubes = 18.5 ", "array.1.tubes", "is 18.5; allowed: a whole number"),
        ('"heat_pipe" ', '"heatpipe" ', "array.1.collector", '"heat_pipe" | "direct_flow"'),
        ("eta0 = 0.72", "eta0 = 0.9", "array.1.eta0", "is 0.9; allowed: a number, 0.1 to 0.86"),
        ("a1_w_m2k = 1.4", "a1_w_m2k = 9", "array.1.a1_w_m2k", "for a heat_pipe: 0.3 to 6"),
        ("latitude = 52.4", "latitude = 152.4", "site.latitude", "-90 to 90"),
        ("Europe/London", "Europe/Londn", "site.timezone", "an IANA time zone name"),
        ("Europe/London", "../etc/passwd", "site.timezone", "an IANA time zone name"),
        ("concentration = 0.40", "concentration = 40", "loop.concentration", "mass fraction"),
        ('"propylene_glycol"', '"water"', "loop.concentration", "allowed for water: 0"),
        ("concentration = 0.40", "concentration = 0", "loop.concentration", "0.05 to 0.6"),
        ("pressure_bar = 2.0", "pressure_bar = 6.5", "loop.pressure_bar", "below safety_valve_bar"),
        (
            "start_difference_k = 8",
            "start_difference_k = 4",
            "controller.start_difference_k",
            "must be above stop_difference_k, 4 K",
        ),
        ("[90, 120, 150", "[120, 90, 150", "horizon.azimuth_deg", "rising"),
        ("[12, 8, 0, 0, 20]", "[12, 8, 0, 0]", "horizon.elevation_deg", "as many as azimuth_deg"),
        (
            "iam_transversal   = [1, ",
            "iam_transversal   = [",
            "array.1.iam_transversal",
            "9 values",
        ),
        ("[0, 10, 20", "[5, 10, 20", "array.1.iam_angles_deg", "must start at 0 and end at 90"),
        ("[1, 1.01,", "[0.5, 1.01,", "array.1.iam_transversal", "at 0 degrees the modifier is 1"),
        ("[22, 38,", "[22,", "design.monthly_kwh", "allowed: 12 numbers"),
        ("filled = 2021-03-02", 'filled = "2021-03-02"', "commissioned.filled", "without quotes"),
        ("efficiency = 0.84", "efficiency = 1.84", "backup.efficiency", "only for a heat_pump"),
        ("[6.0, 8.0]", "[6.0, 25.0]", "backup.hours", "pairs of hours"),
        ('temperature_class = "B"', 'temperature_class = "C"', "sensors.temperature_class", '"AA"'),
        ('model = "hay_davies"', 'model = "davies"', "sun.model", '"perez"'),
        (
            "litres_per_day = 120",
            "",
            "hot_water",
            "neither litres_per_day nor occupants",
        ),
        (
            "volume_l = 210",
            "volume_l = 210\nsolar_volume_l = 300",
            "store.solar_volume_l",
            "at most 210",
        ),
        ("[sun]", CLIMATE.replace("= [50", "= [5"), "climate.diffuse_kwh_m2", "it is a part of it"),
        ("[sun]", CLIMATE.replace("[50, 50,", "[50,"), "climate.horizontal_kwh_m2", "12 numbers"),
        ("[hot_water]", "[hotwater]", "hotwater", 'did you mean "hot_water"?'),
        ('stamp = "end"', 'stamp = "middle"', "log.stamp", '"end" | "start"'),
        ('unit = "l/min"', 'unit = "C"', "log.columns.flow.unit", "allowed for flow: l/min"),
        (
            '"collector", unit',
            '"colector", unit',
            "log.columns.S1 roof [C].channel",
            '"collector"?',
        ),
        ("loop.flow_l_min", "loop.flow", "change.1.key", 'did you mean "flow_l_min"?'),
        ("loop.flow_l_min", "array.2.tubes", "change.1.key", "the file has 1 [[array]]"),
        ("loop.flow_l_min", "array.tubes", "change.1.key", "a key written like array.1.collector"),
        ("loop.flow_l_min", "log.stamp", "change.1.key", "allowed: a key of site, array"),
        ("value = 2.4", "value = 0", "change.1.value", "0.05 to 5000 l/min"),
        ("schema = 1", "schema = 2", "schema", "schema is 2; allowed: 1"),
    ],
)
def test_an_impossible_key_is_named_with_what_is_allowed(old, new, key, words):
    error = refused(old, new)
    assert error.key == key
    assert words in str(error)


def test_a_refusal_names_the_line_of_the_key():
    assert refused("tilt_deg = 38", "tilt_deg = 138").line == line_of("tilt_deg")
    assert refused("value = 2.4", "value = 0").line == line_of("value = 2.4")
    assert refused('unit = "l/min"', 'unit = "x"').line == line_of('"flow"')
    assert str(refused("tilt_deg = 38", "tilt_deg = 138")).startswith(
        f"line {line_of('tilt_deg')}: "
    )


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("area_m2 = 1.86", "area_m2 = 1,86", "one key = value per line"),
        ('name = "Mill', "name = Mill", "texts need quotes"),
        ("[store]", "[store", "a ] is missing"),
        ("2021-03-02", "2021-02-30", "this date does not exist"),
        ("elevation_m = 95", "latitude = 52.4", "the same key stands twice"),
    ],
)
def test_broken_toml_is_told_in_plain_words_with_its_line(old, new, words):
    error = refused(old, new)
    assert words in str(error)
    assert error.line == TEXT[: TEXT.index(old)].count("\n") + 1


def test_deeply_nested_brackets_are_refused_plainly():
    with pytest.raises(SiteFileError):
        parse_site("schema = " + "[" * 100_000)


def test_flat_plate_has_no_tubes_and_evacuated_tubes_have():
    assert "has no tubes" in str(refused('collector = "heat_pipe"', 'collector = "flat_plate"'))
    assert "array.1.tubes is missing" in str(refused("tubes = 18", ""))


def test_one_of_the_two_peak_efficiencies_is_needed():
    assert "give eta0, or eta0_beam" in str(refused("eta0 = 0.72", ""))
    site = parse_site(TEXT.replace("eta0 = 0.72", "eta0_beam = 0.70"))
    assert (site.arrays[0].eta0_hem, site.arrays[0].eta0_beam) == (None, 0.70)


def test_temperature_class_may_be_a_number_of_kelvin():
    site = parse_site(TEXT.replace('temperature_class = "B"', "temperature_class = 0.4"))
    assert site.sensors.temperature_class == 0.4


def test_a_change_counts_from_its_day_on():
    site = parse_site(TEXT)
    assert site_on(site, date(2024, 5, 1)).loop.flow_l_min == 2.0
    assert site_on(site, date(2024, 5, 2)).loop.flow_l_min == 2.4
    assert change_dates(site) == (date(2024, 5, 2),)


def test_changes_reach_arrays_and_several_tables():
    text = TEXT + (
        '\n[[change]]\ndate = 2025-01-01\nkey = "hot_water.litres_per_day"\nvalue = 80\n'
        '[[change]]\ndate = 2024-06-01\nkey = "array.1.tubes"\nvalue = 17\n'
    )
    site = parse_site(text)
    assert site_on(site, date(2024, 12, 31)).arrays[0].tubes == 17
    assert site_on(site, date(2024, 12, 31)).litres_per_day == 120
    assert site_on(site, date(2025, 1, 1)).litres_per_day == 80
    assert change_dates(site) == (date(2024, 5, 2), date(2024, 6, 1), date(2025, 1, 1))


def test_a_change_that_makes_a_contradiction_is_refused_at_its_line():
    text = TEXT + '\n[[change]]\ndate = 2025-01-01\nkey = "loop.pressure_bar"\nvalue = 7\n'
    with pytest.raises(SiteFileError, match=r"with this change loop\.pressure_bar is 7") as caught:
        parse_site(text)
    assert caught.value.line == text.count("\n")


def test_keys_that_only_together_make_sense_may_change_on_one_day():
    text = TEXT + (
        '\n[[change]]\ndate = 2025-01-01\nkey = "controller.start_difference_k"\nvalue = 3\n'
        '[[change]]\ndate = 2025-01-01\nkey = "controller.stop_difference_k"\nvalue = 2\n'
    )
    site = parse_site(text)
    assert site_on(site, date(2025, 1, 1)).controller.stop_difference_k == 2


def test_a_table_that_is_missing_cannot_change():
    text = without("design") + (
        '\n[[change]]\ndate = 2025-01-01\nkey = "design.monthly_kwh"\nvalue = 3\n'
    )
    with pytest.raises(SiteFileError, match=r"the file has no \[design\]"):
        parse_site(text)


def test_a_map_is_just_a_log_table():
    log_map = parse_map(
        '[log]\ndelimiter = "semicolon"\ndecimal = ","\ntime_format = "%d.%m.%Y %H:%M"\n'
        'time_origin = 2019-01-01T00:00:00Z\n[log.columns]\n"1" = { channel = "time", unit = "s" }'
    )
    assert log_map.delimiter == ";"
    assert log_map.time_origin == datetime(2019, 1, 1, tzinfo=UTC)
    assert log_map.columns == (("1", ColumnMeaning(channel="time", unit="s")),)
    assert parse_map(map_to_toml(log_map)) == log_map


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", r"holds no \[log\] table"),
        ("[site]\nname = 'x'", "site is not a known key"),
        ('[log]\ntime_format = "%H:%M"', "gives day and time"),
        ('[log]\ntime_origin = "2019-01-01"', "an instant with zone"),
        ('[log.columns]\na = "flow"', "write { channel"),
    ],
)
def test_a_bad_map_is_refused_plainly(text, words):
    with pytest.raises(SiteFileError, match=words):
        parse_map(text)


def test_lines_are_found_through_every_way_to_write_a_key():
    lines = key_lines(
        'a.b = 1 # [no]\n"q.\\"x" = """\n[not]\na = 2\n"""\n[t]\nlist = [\n 1, # ]\n {x = 2},\n]\n'
        "[[r]]\n[[r]]\n'lit #' = 3\n[r.sub]\nk = '''x\ny'''\nlast = {in.ner = \"]}\"}\n"
    )
    assert lines[("a", "b")] == 1
    assert lines[('q."x',)] == 2
    assert lines[("t", "list", 2, "x")] == 9
    assert lines[("r", 1)] == 11
    assert lines[("r", 2, "lit #")] == 13
    assert lines[("r", 2, "sub", "k")] == 15
    assert lines[("r", 2, "sub", "last", "in", "ner")] == 17


def test_a_site_file_that_is_written_reads_back_the_same():
    site = parse_site(TEXT)
    assert parse_site(site_to_toml(site)) == site


def test_a_bare_site_reads_back_the_same():
    full = parse_site(TEXT)
    bare = replace(
        full,
        controller=Controller(),
        controller_given=False,
        horizon=None,
        hot_water=None,
        backup=None,
        design=None,
        commissioned=None,
        warranty=None,
        changes=(),
        log=LogMap(),
    )
    assert parse_site(site_to_toml(bare)) == bare


def test_several_arrays_add_up():
    site = parse_site(TEXT.replace(ARRAY, ARRAY + ARRAY))
    assert len(site.arrays) == 2
    assert all(isinstance(array, Array) for array in site.arrays)
    assert site.tubes == 36
    assert site.area_m2 == pytest.approx(3.72)


def test_an_array_with_fewer_tubes_has_the_area_of_those_it_has():
    fewer = '\n[[change]]\ndate = 2024-06-01\nkey = "array.1.tubes"\nvalue = 12\n'
    before, after = date(2024, 5, 31), date(2024, 6, 1)
    site = parse_site(TEXT + fewer)
    assert site_on(site, before).area_m2 == parse_site(TEXT).area_m2
    assert site_on(site, after).area_m2 == pytest.approx(parse_site(TEXT).area_m2 * 12 / 18)
    stated = '[[change]]\ndate = 2024-06-01\nkey = "array.1.area_m2"\nvalue = 1.2\n'
    assert site_on(parse_site(TEXT + fewer + stated), after).area_m2 == 1.2
    assert site_on(parse_site(TEXT + "\n" + stated + fewer), after).area_m2 == 1.2
