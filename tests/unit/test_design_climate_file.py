"""Typical years from files: the sums of the site file's climate, and what is refused."""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from analysis.design.typical_year import parse_climate
from analysis.errors import AnalysisError
from analysis.site import Climate
from analysis.sitefile import parse_site
from service.cli import main
from tests.build import a_site

# A published typical year that comes with the library: Greensboro, United States.
TMY3 = Path(pvlib.__file__).parent / "data/723170TYA.CSV"
SITE = (Path(__file__).parents[2] / "fixtures/sites/mill-lane-4.toml").read_text("utf-8")
THERE = {"latitude_deg": 36.1, "longitude_deg": -79.95}


@pytest.fixture(scope="module")
def year():
    """Give the year's hours as the file writes them."""
    frame = pd.read_csv(TMY3, skiprows=1)
    month = frame["Date (MM/DD/YYYY)"].str[:2].astype(int).to_numpy() - 1
    columns = ("GHI (W/m^2)", "DHI (W/m^2)", "Dry-bulb (C)")
    return month, *(frame[name].to_numpy(float) for name in columns)


def there():
    return a_site(place=THERE)


def sums(month, values):
    return np.bincount(month, values, 12) / 1000.0


def check(found, year):
    month, ghi, dhi, air = year
    # Stamps at the end of the hour put one dark hour of a month into the next.
    np.testing.assert_allclose(found.horizontal_kwh_m2, sums(month, ghi), rtol=0.003, atol=0.1)
    np.testing.assert_allclose(found.diffuse_kwh_m2, sums(month, dhi), rtol=0.003, atol=0.1)
    mean = np.bincount(month, air, 12) / np.bincount(month)
    np.testing.assert_allclose(found.air_c, mean, atol=0.1)


def pvgis(year, head=""):
    _, ghi, dhi, air = year
    hours = pd.date_range("2015-01-01", periods=8760, freq="h")
    rows = [
        f"{time:%Y%m%d:%H%M},{t},80,{g},0,{d},300,1,0,99000"
        for time, t, g, d in zip(hours, air, ghi, dhi, strict=True)
    ]
    return "\n".join([
        "Latitude (decimal degrees): 36.100", "Longitude (decimal degrees): -79.950",
        "Elevation (m): 273.0", *([head] if head else []), "month,year",
        *(f"{number},2015" for number in range(1, 13)),
        "time(UTC),T2m,RH,G(h),Gb(n),Gd(h),IR(h),WS10m,WD10m,SP", *rows, "",
        "T2m: 2-m air temperature (degree Celsius)",
    ]).encode()  # fmt: skip


def epw(year):
    _, ghi, dhi, air = year
    head = ["LOCATION,Somewhere,NC,USA,TMY,0,36.1,-79.95,-5.0,273", *["X"] * 7]
    hours = pd.date_range("2015-01-01", periods=8760, freq="h")
    rows = []
    for time, t, g, d in zip(hours, air, ghi, dhi, strict=True):
        values = ["0"] * 35
        values[:6] = [str(time.year), str(time.month), str(time.day), str(time.hour + 1), "60", "x"]
        values[6], values[13], values[15] = str(t), str(g), str(d)
        rows.append(",".join(values))
    return "\n".join([*head, *rows]).encode()


def test_tmy3_year_gives_the_sums_of_its_hours(year):
    found = parse_climate("723170TYA.CSV", TMY3.read_bytes(), site=there())
    check(found, year)
    assert found.source.startswith("TMY3 year of ")


@pytest.mark.parametrize("head", ["", "Irradiance Time Offset (h): 0.1761"])
def test_pvgis_year_with_and_without_its_offset_line(year, head):
    found = parse_climate("tmy.csv", pvgis(year, head), site=there())
    check(found, year)
    assert found.source == "PVGIS typical year of 2015, tmy.csv"


def test_epw_year(year):
    found = parse_climate("a.epw", epw(year), site=there())
    check(found, year)
    assert found.source.startswith("EPW year")


def test_hourly_weather_of_real_years_is_averaged():
    hours = pd.date_range("2021-01-01", "2023-01-01", freq="h", inclusive="left", tz="UTC")
    ghi = np.where(hours.year == 2021, 100.0, 200.0)
    frame = pd.DataFrame({"time": hours.strftime("%Y-%m-%dT%H:%M:%SZ"), "ghi": ghi,
                          "dhi": 50.0, "dni": 60.0, "temperature": 11.0})  # fmt: skip
    found = parse_climate("two.csv", frame.to_csv(index=False).encode(), site=there())
    assert found.horizontal_kwh_m2[0] == pytest.approx(0.15 * 744, abs=0.1)
    assert found.air_c == (11.0,) * 12
    assert found.source == "weather of 2021 to 2022, two.csv"


def test_half_a_year_is_no_climate(year):
    text = pvgis(year).decode().splitlines()
    with pytest.raises(AnalysisError, match=r"short: month 7, 8, 9, 10, 11, 12"):
        parse_climate("half.csv", "\n".join(text[: 17 + 4344]).encode(), site=there())


def test_year_of_another_place_is_refused(year):
    with pytest.raises(AnalysisError, match="another place"):
        parse_climate("tmy.csv", pvgis(year), site=a_site())


def test_damaged_year_is_named(year):
    damaged = pvgis(year).replace(b"G(h)", b"G[h]")
    with pytest.raises(AnalysisError, match="cut short or damaged"):
        parse_climate("tmy.csv", damaged, site=there())


def test_something_else_is_no_climate():
    with pytest.raises(AnalysisError, match="no weather file that is known"):
        parse_climate("x.csv", b"a;b\n1;2\n", site=there())


def test_command_writes_a_table_that_the_site_file_takes(tmp_path, capsys):
    text = SITE.replace("latitude = 52.4", "latitude = 36.1").replace(
        "longitude = -1.5", "longitude = -79.9"
    )
    (tmp_path / "site.toml").write_text(text, encoding="utf-8")
    assert main(["climate", str(TMY3), str(tmp_path / "site.toml")]) == 0
    said = capsys.readouterr()
    assert "EN 15316-4-3 promises" in said.err
    site = parse_site(f"{text}\n{said.out}")
    assert isinstance(site.climate, Climate)
    assert sum(site.climate.horizontal_kwh_m2) == pytest.approx(1566, abs=20)


def test_command_says_in_one_line_what_is_wrong(tmp_path, capsys):
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    assert main(["climate", str(TMY3), str(tmp_path / "site.toml")]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("suntally climate: 723170TYA.CSV is of another place")
