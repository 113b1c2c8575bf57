"""The site file of the contract from the outside: what is refused names line, key and remedy."""

import pytest

from tests.build_command import Desk, a_log, full_site, with_lines, without_table

LOG = a_log("2025-06-01T10:00", 30)


@pytest.fixture
def desk(tmp_path, capsys):
    return Desk(tmp_path, capsys)


def test_the_file_that_holds_every_key_is_read_with_its_log_table_too(desk):
    mapped = '[log]\ntimezone = "UTC"\nvalues = "sample"\nstamp = "end"\n[log.columns]\n'
    mapped += '"S1 roof [C]" = { channel = "collector", unit = "C" }\n'
    found = desk.report(full_site() + mapped, LOG)
    assert (found.status, found.err) == (0, "")


@pytest.mark.parametrize(
    "heading",
    ["[controller]", "[horizon]", "[hot_water]", "[sensors]", "[design]", "[commissioned]",
     "[warranty] [[warranty.term]]", "[[warranty.term]]", "[[part]]", "[[change]]",
     "[[backup.tariff]]"],
)  # fmt: skip
def test_an_optional_table_may_be_missing(desk, heading):
    text = full_site()
    for one in heading.split():
        text = without_table(text, one)
    found = desk.report(text, LOG)
    assert (found.status, found.err) == (0, "")


def test_what_a_missing_table_leaves_out_is_said(desk):
    # A British place would have a coarse climate, and with it a design yield.
    elsewhere = full_site().replace('timezone = "Europe/London"', 'timezone = "Etc/GMT"')
    bare = without_table(elsewhere, "[design]")
    bare = without_table(without_table(bare, "[backup]"), "[[backup.tariff]]")
    report = desk.report(bare, LOG).report
    assert report["savings"] is None
    assert report["basis"]["design"] is None
    assert report["totals"]["design_kwh"] is None
    notes = " ".join(report["basis"]["notes"])
    for missing in ("design", "backup", "irradiance"):
        assert missing in notes


REFUSED = {
    "tilt_deg": ("tilt_deg = 380", "0 to 90"),
    "latitude": ("latitude = nan", "-90 to 90"),
    "tubes": ("tubes = true", "a whole number"),
    "volume_l": ("volume_l = 0", "10 to 5000000 l"),
    "temperature_class": ('temperature_class = "C"', '"AA" | "A" | "B", or a number'),
    "vessel_l": ("vesel_l = 18", 'did you mean "vessel_l"'),
    "start_difference_k": ("start_difference_k = 3", "above stop_difference_k"),
    "concentration": ("concentration = 40", "0 to 0.6"),
    "hours": ("hours = [[6.0, 28.0]]", "0 to 24"),
    "monthly_kwh": ("monthly_kwh = [1, 2, 3]", "12 numbers"),
    "filled": ('filled = "2021-03-02"', "a date without quotes"),
    "schema": ("schema = true", "allowed: 1"),
    "eta0": ("eta0 = 0.72\neta0_beam = 0.74", "both given"),
}


@pytest.mark.parametrize("key", REFUSED)
def test_what_cannot_be_names_line_key_and_what_is_allowed(desk, key):
    line, allowed = REFUSED[key]
    text = with_lines(full_site(), **{key: line})
    number = 1 + text.splitlines().index(line.splitlines()[-1])
    found = desk.report(text, LOG)
    assert found.status == 2
    assert f"site.toml, line {number}: " in found.err
    assert allowed in found.err
    assert found.err.count("\n") == 1


def test_a_missing_table_is_named_where_no_line_can_be(desk):
    found = desk.report(without_table(full_site(), "[store]"), LOG)
    assert found.status == 2
    assert "site.toml: the table [store] is missing" in found.err


def test_an_empty_site_file_is_said_to_be_empty(desk):
    assert "site.toml: there is nothing in this site file" in desk.report("", LOG).err


def test_beam_efficiency_may_stand_instead(desk):
    beam = with_lines(full_site(), eta0="eta0_beam = 0.74")
    assert desk.report(beam, LOG).status == 0


def test_water_has_a_concentration_of_nothing(desk):
    water = with_lines(full_site(), fluid='fluid = "water"', concentration="concentration = 0")
    assert desk.report(water, LOG).status == 0


def test_a_name_of_several_lines_stays_a_heading_of_one(desk):
    named = with_lines(full_site(), name='name = "Mill\\nLane"')
    site, log = desk.put("site.toml", named), desk.put("log.csv", LOG)
    assert desk.run(site, log).out.splitlines()[:2] == ["Mill Lane", "========="]
