"""Weather files: what each layout's hour means, and which files are refused.

Layouts: EnergyPlus Auxiliary Programs documentation (EPW: hour 1 is 00:01 to 01:00 of local
standard time), NREL/TP-581-43156 (TMY3: stamps at the end of the hour), PVGIS user manual (hourly
series in UTC, one instant in each hour). Read here from memory; pvlib reads the files. Values are
invented except for the TMY3 file, which is published and comes with pvlib.
"""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from analysis.errors import AnalysisError
from analysis.sitefile import parse_site
from analysis.weatherfile import parse_weather
from tests.build_service import site_file

SITE = parse_site(site_file())  # latitude 48, longitude 11


def stamp(*parts: int) -> int:
    return int(datetime(*parts, tzinfo=UTC).timestamp())


def epw(*, years: tuple[int, ...] = (2025,), source: str = "Measured", hours: int = 48) -> bytes:
    head = [
        f"LOCATION,Somewhere,BY,DEU,{source},108660,48.1,11.2,1.0,500.0",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,invented",
        "COMMENTS 2,invented",
        "DATA PERIODS,1,1,Data,Sunday, 6/ 1,6/ 2",
    ]
    rows = []
    for number in range(hours):
        year = years[number * len(years) // hours]
        day, hour = 1 + number // 24, 1 + number % 24
        values = [15.0, 9, 60, 95000, 0, 0, 300, number, 9999 if number == 5 else 100, 50]
        cells = [year, 6, day, hour, 0, "?9", *values, 0, 0, 0, 0, 180, 2.5, *[0] * 13]
        rows.append(",".join(str(cell) for cell in cells))
    return ("\n".join([*head, *rows]) + "\n").encode()


def pvgis_csv(*, slope: int = 0, parts: bool = True) -> bytes:
    columns = "Gb(i),Gd(i),Gr(i)" if parts else "G(i)"
    values = "500.0,100.0,0.0" if parts else "600.0"
    rows = [f"20250601:{hour:02d}11,{values},45.0,18.0,2.0,0.0"
            for hour in range(9, 15)]  # fmt: skip
    return "\r\n".join(
        [
            "Latitude (decimal degrees):\t48.000",
            "Longitude (decimal degrees):\t11.000",
            "Elevation (m):\t500",
            "Radiation database:\tPVGIS-SARAH3",
            "",
            f"Slope: {slope} deg.",
            "Azimuth: 0 deg.",
            f"time,{columns},H_sun,T2m,WS10m,Int",
            *rows,
            "",
            "H_sun: Sun height (degree)",
        ]
    ).encode()


def test_an_epw_hour_is_the_one_before_its_number_in_standard_time():
    weather = parse_weather("w.epw", epw(), site=SITE)
    # Hour 1 of 1 June, zone UTC+1.
    assert weather.time_s[0] == stamp(2025, 5, 31, 23)
    assert weather.ghi_w_m2[3] == 3.0
    assert weather.t_ambient_c[3] == 15.0
    assert weather.wind_m_s[3] == 2.5
    assert np.isnan(weather.dni_w_m2[5])
    assert weather.dni_w_m2[6] == 100.0


def test_pvgis_values_stand_for_the_hour_around_their_instant():
    weather = parse_weather("w.csv", pvgis_csv(), site=SITE)
    assert weather.time_s[0] == stamp(2025, 6, 1, 8, 41)
    assert weather.ghi_w_m2[0] == pytest.approx(600.0)
    assert weather.dhi_w_m2[0] == pytest.approx(100.0)
    # Beam normal is the level beam over the sine of the sun's height, here of the hour's middle.
    noon = int(np.argmin(weather.dni_w_m2))
    assert 500.0 < weather.dni_w_m2[noon] < 620.0


def test_pvgis_without_parts_is_split_and_the_parts_close():
    weather = parse_weather("w.csv", pvgis_csv(parts=False), site=SITE)
    assert np.all(weather.dhi_w_m2 > 50.0)
    assert np.all(weather.dhi_w_m2 < weather.ghi_w_m2)
    assert np.all(weather.dni_w_m2 > 0.0)


def test_pvgis_in_json_says_the_same():
    import json

    rows = [
        {"time": f"20250601:{hour:02d}11", "Gb(i)": 500.0, "Gd(i)": 100.0, "Gr(i)": 0.0,
         "H_sun": 45.0, "T2m": 18.0, "WS10m": 2.0, "Int": 0.0}
        for hour in range(9, 15)
    ]  # fmt: skip
    found = {
        "inputs": {
            "location": {"latitude": 48.0, "longitude": 11.0, "elevation": 500.0},
            "mounting_system": {"fixed": {"slope": {"value": 0, "optimal": False}}},
        },
        "outputs": {"hourly": rows},
        "meta": {"inputs": {}},
    }
    text = json.dumps(found).encode()
    of_json = parse_weather("w.json", text, site=SITE)
    of_csv = parse_weather("w.csv", pvgis_csv(), site=SITE)
    for name in ("time_s", "ghi_w_m2", "dni_w_m2", "dhi_w_m2", "t_ambient_c"):
        np.testing.assert_array_equal(getattr(of_json, name), getattr(of_csv, name))


def test_a_published_typical_year_is_refused_with_its_years():
    import pvlib

    file = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
    with pytest.raises(AnalysisError, match=r"typical year.*1991 to 2005"):
        parse_weather(file.name, file.read_bytes(), site=SITE)


TIDY_HEAD = "time,ghi\n2025-06-01T10:00:00Z,500\n"
REFUSED = {
    "an EPW of two years": (epw(years=(2004, 1999)), "typical year"),
    "an EPW that says so": (epw(source="TMYx"), "typical year"),
    "a PVGIS typical year": (
        b"Latitude (decimal degrees): 45.0\nLongitude (decimal degrees): 8.0\nmonth,year\n1,2018\n",
        "typical year",
    ),
    "a tilted plane": (pvgis_csv(slope=35), "slope 0"),
    "nothing of the sort": (b"apples and pears\n1,2\n", "no weather file that is known"),
    "binary rubbish": (bytes(range(256)), "no weather file that is known"),
    "a file that was cut": (b'{"inputs": {"location"', "cut short or damaged"),
    "times without a zone": (TIDY_HEAD.replace("Z", "").encode(), "offset"),
    "no irradiance": (b"time,temperature\n2025-06-01T10:00:00Z,5\n", "no column ghi"),
    "a single hour": (TIDY_HEAD.encode(), "less than two hours"),
    "quarters of an hour": (
        (TIDY_HEAD + "2025-06-01T10:15:00Z,510\n").encode(),
        "shorter than one hour",
    ),
    "another place": (epw().replace(b"48.1,11.2", b"37.0,11.2"), "another place"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_tell_the_weather_is_refused_with_a_remedy(name):
    data, told = REFUSED[name]
    with pytest.raises(AnalysisError, match=told) as caught:
        parse_weather("given.file", data, site=SITE)
    assert str(caught.value).startswith("given.file")
    assert "\n" not in str(caught.value)
