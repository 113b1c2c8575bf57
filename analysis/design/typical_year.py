"""Weather files of a typical year, or of many years: bytes in, the site file's climate out.

Read are typical years as EPW, in TMY3 layout and from PVGIS (CSV and JSON); hourly weather of real
years in the forms that `analysis.weatherfile` knows is averaged by calendar month.
"""

import io
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.design.system import DAYS, HOURS_PER_DAY, MONTHS
from analysis.errors import AnalysisError
from analysis.record import Floats, Ints
from analysis.site import Climate, Site
from analysis.weatherfile import check_place, decoded, parse_weather

# Of the hours of each calendar month, how many must be there.
_LEAST_HOURS = 0.9 * HOURS_PER_DAY * DAYS


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Hours:
    """Hours of a file; arrays of shape (n,), NaN unknown."""

    month: Ints
    years: tuple[int, int]
    ghi_w_m2: Floats
    dhi_w_m2: Floats
    air_c: Floats


_Read = Callable[[str], tuple[_Hours, tuple[float, float]]]


def parse_climate(name: str, data: bytes, *, site: Site) -> Climate:
    """Read the climate of a site out of a weather file.

    Parameters
    ----------
    name : for messages, and as the climate's source
    data : the file's bytes
    site : its place is compared with that of the file

    Raises
    ------
    AnalysisError
        Not a weather file, another place, or not all twelve months.
    """
    text = decoded(data)
    found = _typical(text)
    if found is None:
        return _climate(name, "weather", _of_years(name, data, site))
    kind, read = found
    try:
        hours, place = read(text)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError, OverflowError) as error:
        raise AnalysisError(
            f"{name} is cut short or damaged and cannot be read as the {kind} that its first lines "
            f"promise ({type(error).__name__}); fetch it again"
        ) from None
    check_place(name, place, site)
    return _climate(name, kind, hours)


def _typical(text: str) -> tuple[str, _Read] | None:
    """Tell the kind of typical year by its first lines; None where it is none."""
    lines = text[:2000].splitlines()
    first = lines[0] if lines else ""
    if first.startswith("LOCATION,"):
        return "EPW year", _read_epw
    if len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY),"):
        return "TMY3 year", _read_tmy3
    if "month,year" in text[:600]:
        return "PVGIS typical year", _read_pvgis_csv
    if text.lstrip()[:1] == "{" and '"tmy_hourly"' in text:
        return "PVGIS typical year", _read_pvgis_json
    return None


def _read_epw(text: str) -> tuple[_Hours, tuple[float, float]]:
    from pvlib.iotools import read_epw

    frame, about = read_epw(io.StringIO(text))
    # Missing values of the layout.
    for column, missing in (("ghi", 9999), ("dhi", 9999), ("temp_air", 99.9)):
        frame[column] = frame[column].astype(float).where(frame[column] < missing)
    return _hours(frame), (about["latitude"], about["longitude"])


def _read_tmy3(text: str) -> tuple[_Hours, tuple[float, float]]:
    from pvlib.iotools import read_tmy3

    frame, about = read_tmy3(io.StringIO(text))
    return _hours(frame), (about["latitude"], about["longitude"])


def _read_pvgis_csv(text: str) -> tuple[_Hours, tuple[float, float]]:
    """Read the columns by their heads: versions of PVGIS differ in the lines above them."""
    import pandas as pd

    place = [
        float(match[1])
        for match in re.finditer(r"^(?:Latitude|Longitude)[^:]*:\s*(-?[\d.]+)", text, re.MULTILINE)
    ]
    lines = text[text.index("time(UTC)") :].splitlines()
    rows = [line for line in lines[1:] if re.match(r"\d{8}:\d{4},", line)]
    frame = pd.read_csv(io.StringIO("\n".join([lines[0], *rows])))
    return _pvgis_hours(frame), (place[0], place[1])


def _read_pvgis_json(text: str) -> tuple[_Hours, tuple[float, float]]:
    import pandas as pd

    found = json.loads(text)
    place = found["inputs"]["location"]
    frame = pd.DataFrame(found["outputs"]["tmy_hourly"])
    return _pvgis_hours(frame), (place["latitude"], place["longitude"])


def _pvgis_hours(frame: Any) -> _Hours:
    stamp = frame["time(UTC)"].astype(str)
    years = stamp.str[:4].astype(int)
    return _Hours(
        month=stamp.str[4:6].astype(int).to_numpy() - 1,
        years=(int(years.min()), int(years.max())),
        ghi_w_m2=frame["G(h)"].to_numpy(dtype=np.float64),
        dhi_w_m2=frame["Gd(h)"].to_numpy(dtype=np.float64),
        air_c=frame["T2m"].to_numpy(dtype=np.float64),
    )


def _hours(frame: Any) -> _Hours:
    """Take what pvlib read; its columns have one naming."""
    return _Hours(
        month=np.asarray(frame.index.month, dtype=np.int64) - 1,
        years=(int(frame.index.year.min()), int(frame.index.year.max())),
        ghi_w_m2=frame["ghi"].to_numpy(dtype=np.float64, na_value=np.nan),
        dhi_w_m2=frame["dhi"].to_numpy(dtype=np.float64, na_value=np.nan),
        air_c=frame["temp_air"].to_numpy(dtype=np.float64, na_value=np.nan),
    )


def _of_years(name: str, data: bytes, site: Site) -> _Hours:
    weather = parse_weather(name, data, site=site)
    stamp = weather.time_s.astype("datetime64[s]")
    years = stamp.astype("datetime64[Y]").astype(np.int64) + 1970
    return _Hours(
        month=stamp.astype("datetime64[M]").astype(np.int64) % MONTHS,
        years=(int(years.min()), int(years.max())),
        ghi_w_m2=weather.ghi_w_m2,
        dhi_w_m2=weather.dhi_w_m2,
        air_c=weather.t_ambient_c,
    )


def _climate(name: str, kind: str, hours: _Hours) -> Climate:
    known = np.isfinite(hours.ghi_w_m2) & np.isfinite(hours.dhi_w_m2) & np.isfinite(hours.air_c)
    count = np.bincount(hours.month[known], minlength=MONTHS)
    if (count < _LEAST_HOURS).any():
        missing = ", ".join(str(n + 1) for n in np.flatnonzero(count < _LEAST_HOURS))
        raise AnalysisError(
            f"{name} does not hold nine tenths of every month (short: month {missing}) with "
            "irradiance on the level, its diffuse part and air temperature; a climate needs whole "
            "years"
        )

    def mean(values: Floats) -> Floats:
        return np.bincount(hours.month[known], values[known], MONTHS) / count

    def sums(values: Floats) -> tuple[float, ...]:
        return tuple(np.round(mean(values) * HOURS_PER_DAY * DAYS / 1000.0, 1).tolist())

    first, last = hours.years
    of_years = f"of {first}" if first == last else f"of {first} to {last}"
    return Climate(
        source=f"{kind} {of_years}, {name}",
        horizontal_kwh_m2=sums(hours.ghi_w_m2),
        diffuse_kwh_m2=sums(np.minimum(hours.dhi_w_m2, hours.ghi_w_m2)),
        air_c=tuple(np.round(mean(hours.air_c), 1).tolist()),
    )
