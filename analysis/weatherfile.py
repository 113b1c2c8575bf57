"""Weather files: bytes in, the hourly weather of the log's own days out.

Read are EPW and TMY3 layouts, PVGIS hourly series (CSV and JSON) and a tidy CSV: first column
`time` (ISO 8601 with `Z` or offset, the START of the hour), then `ghi`, `dni`, `dhi` [W/m2],
`temperature` [°C] and `wind` [m/s] in any order, of which only `ghi` must be there.

A typical year is put together from months of different years. It says what a place can promise,
nothing about the weather of a given day, so it is refused.
"""

import io
import re
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.errors import AnalysisError
from analysis.irradiance import erbs_diffuse_frac
from analysis.record import Floats, Ints
from analysis.site import Site
from analysis.sun import extraterrestrial_w_m2, sun_vectors
from analysis.weather import HOUR_S, Weather

# Weather of another region says little about an hour here (common practice, no source).
_FARTHEST_DEG = 1.5
# Below this sine of the sun's height beam and diffuse are not told apart, as in the analysis of
# horizontal sensors.
_LOWEST_SINE = 0.065
_LONGEST_HOLE_S = 40 * 24 * HOUR_S
_TYPICAL_WORDS = re.compile(r"\b(TMY\w*|TRY\d*|IWEC\d*|typical|test reference)\b", re.IGNORECASE)
_REMEDY = "give measured or satellite weather of the log's own days, or leave --weather out"

_TIDY_NAMES = {
    "ghi": "ghi", "ghi_w_m2": "ghi", "g_horizontal_w_m2": "ghi", "dni": "dni", "dni_w_m2": "dni",
    "dhi": "dhi", "dhi_w_m2": "dhi", "temperature": "temp_air", "t_ambient_c": "temp_air",
    "temp_air": "temp_air", "wind": "wind_speed", "wind_m_s": "wind_speed",
    "wind_speed": "wind_speed",
}  # fmt: skip


def parse_weather(name: str, data: bytes, *, site: Site) -> Weather:
    """Read a weather file.

    Parameters
    ----------
    name : for messages
    data : the file's bytes
    site : its place is compared with that of the file; sun angles split what the file does not

    Returns
    -------
    Weather
        Irradiance without beam and diffuse in the file is split after Erbs et al. (1982).

    Raises
    ------
    AnalysisError
        Not a weather file, a typical year, a tilted plane, or another place.
    """
    text = decoded(data)
    reader = _reader(text)
    if reader is None:
        raise AnalysisError(
            f"{name} is no weather file that is known: EPW, TMY3 layout, PVGIS hourly series, or "
            "CSV with time, ghi, dni, dhi, temperature, wind"
        )
    try:
        frame, place = reader(name, text)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError, OverflowError) as error:
        raise AnalysisError(
            f"{name} is cut short or damaged and cannot be read as the weather file that its first "
            f"lines promise ({type(error).__name__}: {' '.join(str(error).split())[:120]}); "
            "fetch it again"
        ) from None
    check_place(name, place, site)
    return _weather(name, frame, site)


def decoded(data: bytes) -> str:
    """Give a weather file's text, UTF-8 or else Latin-1."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


_Frame = dict[str, NDArray[Any]]
_Reader = Callable[[str, str], tuple[_Frame, tuple[float, float] | None]]


def _reader(text: str) -> _Reader | None:
    """Tell the kind of file by its first lines."""
    lines = text[:2000].splitlines()
    first = lines[0] if lines else ""
    if first.startswith("LOCATION,"):
        return _read_epw
    if len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY),"):
        return _read_tmy3
    if first.startswith("Latitude (decimal degrees)"):
        return _read_pvgis_csv
    if text.lstrip()[:1] == "{":
        return _read_pvgis_json
    if re.split(r"[,;\t]", first.strip().lower())[0].strip('" ') == "time":
        return _read_tidy
    return None


def _read_epw(name: str, text: str) -> tuple[_Frame, tuple[float, float]]:
    from pvlib.iotools import read_epw

    told = [line for line in text.splitlines()[:8] if line.startswith(("LOCATION", "COMMENTS"))]
    if any(_TYPICAL_WORDS.search(line) for line in told):
        raise AnalysisError(_typical(name))
    frame, about = read_epw(io.StringIO(text))
    # Missing values of the layout: 9999 for irradiance, 99.9 for temperature, 999 for wind.
    for column, missing in (("ghi", 9999), ("dni", 9999), ("dhi", 9999), ("temp_air", 99.9),
                            ("wind_speed", 999)):  # fmt: skip
        frame[column] = frame[column].astype(float).where(frame[column] < missing)
    return _taken(name, frame, shift_s=0), (about["latitude"], about["longitude"])


def _read_tmy3(name: str, text: str) -> tuple[_Frame, tuple[float, float]]:
    from pvlib.iotools import read_tmy3

    frame, about = read_tmy3(io.StringIO(text))
    # Its stamps mark the end of the hour; the reader lays 29 February over 1 March.
    frame = frame[~frame.index.duplicated(keep="last")]
    return _taken(name, frame, shift_s=-HOUR_S), (about["latitude"], about["longitude"])


def _read_pvgis_csv(name: str, text: str) -> tuple[_Frame, tuple[float, float]]:
    from pvlib.iotools import read_pvgis_hourly

    if "month,year" in text[:600] or "time(UTC)" in text[:2000]:
        raise AnalysisError(_typical(name))
    slope = re.search(r"^Slope:\s*(-?[\d.]+)", text[:2000], re.MULTILINE)
    _check_level(name, float(slope[1]) if slope else None)
    frame, about = read_pvgis_hourly(io.StringIO(text), pvgis_format="csv")
    given = about["inputs"]
    return _from_level(name, frame), (given["latitude"], given["longitude"])


def _read_pvgis_json(name: str, text: str) -> tuple[_Frame, tuple[float, float]]:
    import json

    from pvlib.iotools import read_pvgis_hourly

    found = json.loads(text)
    if "tmy_hourly" in found["outputs"]:
        raise AnalysisError(_typical(name))
    mounting = found["inputs"]["mounting_system"]
    slope = next(iter(mounting.values())).get("slope", {}).get("value")
    _check_level(name, None if slope is None else float(slope))
    frame, about = read_pvgis_hourly(io.StringIO(text), pvgis_format="json")
    place = about["inputs"]["location"]
    return _from_level(name, frame), (place["latitude"], place["longitude"])


def _from_level(name: str, frame: Any) -> _Frame:
    """Take PVGIS's plane of slope 0 as the level; its values are of one instant in each hour."""
    if "poa_global" in frame:
        frame["ghi"] = frame["poa_global"]
    else:
        frame["dhi"] = frame["poa_sky_diffuse"]
        frame["ghi"] = frame["poa_direct"] + frame["poa_sky_diffuse"]
    # An instant stands for the hour around it.
    return _taken(name, frame, shift_s=-HOUR_S // 2)


def _read_tidy(name: str, text: str) -> tuple[_Frame, None]:
    import pandas as pd

    frame = pd.read_csv(
        io.StringIO(text), sep=None, engine="python", dtype=str, skip_blank_lines=False
    )
    frame.columns = [str(head).strip().lower() for head in frame.columns]
    # Line 1 holds the heads.
    frame["line"] = np.arange(2, len(frame) + 2)
    frame = frame[frame["time"].notna() & ~frame["time"].str.startswith("#", na=False)]
    stamps = frame["time"].str.strip()
    _first_bad(
        name, frame, ~stamps.str.contains(r"(?:Z|[+-]\d\d:?\d\d)$"), "time",
        "write each time with Z or its offset, 2025-06-01T12:00:00Z",
    )  # fmt: skip
    times = pd.to_datetime(stamps, utc=True, format="ISO8601", errors="coerce")
    _first_bad(name, frame, times.isna(), "time", "write each time like 2025-06-01T12:00:00Z")
    heads = {head: _TIDY_NAMES[head] for head in frame.columns if head in _TIDY_NAMES}
    if "ghi" not in heads.values():
        raise AnalysisError(f"{name} has no column ghi, the global horizontal irradiance in W/m2")
    read = pd.DataFrame(index=pd.DatetimeIndex(times))
    for head, column in heads.items():
        values = pd.to_numeric(frame[head], errors="coerce")
        odd = values.isna() & frame[head].notna() & (frame[head].str.strip() != "")
        _first_bad(name, frame, odd, head, "write a number with a decimal point, or nothing")
        read[column] = values.to_numpy()
    return _taken(name, read, shift_s=0), None


def _first_bad(name: str, frame: Any, bad: Any, head: str, remedy: str) -> None:
    """Name the first line whose cell cannot be used."""
    if bool(bad.any()):
        row = frame[bad].iloc[0]
        said = " ".join(str(row[head]).split())[:40]
        raise AnalysisError(f"{name}, line {row['line']}, column {head}: “{said}”; {remedy}")


def _taken(name: str, frame: Any, *, shift_s: int) -> _Frame:
    """Take the columns that count, on rising hours."""
    times = frame.index.tz_convert("UTC").tz_localize(None).to_numpy()
    stamp_s = times.astype("datetime64[s]").astype(np.int64) + shift_s
    _check_actual(name, stamp_s)
    taken: _Frame = {"time_s": stamp_s}
    for column in ("ghi", "dni", "dhi", "temp_air", "wind_speed"):
        if column in frame:
            taken[column] = frame[column].to_numpy(dtype=np.float64, na_value=np.nan)
    return taken


def _check_actual(name: str, stamp_s: Ints) -> None:
    """Refuse hours that jump between years, as those of a typical year do."""
    if len(stamp_s) < 2:
        raise AnalysisError(f"{name} holds less than two hours of weather; {_REMEDY}")
    steps = np.diff(stamp_s)
    if bool((steps <= 0).any() or (steps > _LONGEST_HOLE_S).any()):
        years = np.unique(stamp_s.astype("datetime64[s]").astype("datetime64[Y]"))
        if len(years) > 1:
            raise AnalysisError(_typical(name, years=(str(years[0]), str(years[-1]))))
        raise AnalysisError(f"{name}: its hours do not rise; sort them, each once")
    if bool((steps < HOUR_S).any()):
        raise AnalysisError(f"{name}: its steps are shorter than one hour; give hourly means")


def _typical(name: str, years: tuple[str, str] | None = None) -> str:
    of_years = f" of {years[0]} to {years[1]}" if years else ""
    return (
        f"{name} is a typical year, put together from months of different years{of_years}: it does "
        f"not tell the weather of the days that were logged; {_REMEDY}"
    )


def _check_level(name: str, slope_deg: float | None) -> None:
    if slope_deg is None or slope_deg != 0.0:
        raise AnalysisError(
            f"{name} holds the irradiance on a plane that is not known to be level; fetch the "
            "hourly series again with slope 0"
        )


def check_place(name: str, place: tuple[float, float] | None, site: Site) -> None:
    """Refuse a file of another place than the site's; None is a file without one."""
    if place is None:
        return
    latitude, longitude = float(place[0]), float(place[1])
    here = site.place
    east = (longitude - here.longitude_deg + 180.0) % 360.0 - 180.0
    far = np.hypot(latitude - here.latitude_deg, east * np.cos(np.radians(here.latitude_deg)))
    if not far <= _FARTHEST_DEG:
        raise AnalysisError(
            f"{name} is of another place (latitude {latitude:g}, longitude {longitude:g}; the site "
            f"stands at {here.latitude_deg:g}, {here.longitude_deg:g}); give weather of the site's "
            "own place, or correct latitude and longitude in the site file"
        )


def _weather(name: str, frame: _Frame, site: Site) -> Weather:
    time_s = frame["time_s"]
    nothing = np.full(len(time_s), np.nan)
    ghi = frame["ghi"]
    if not bool(np.isfinite(ghi).any()):
        raise AnalysisError(f"{name} holds no global horizontal irradiance at all; {_REMEDY}")
    dni, dhi = _split(ghi, frame.get("dni"), frame.get("dhi"), time_s, site)
    return Weather(
        time_s=time_s,
        ghi_w_m2=ghi,
        dni_w_m2=dni,
        dhi_w_m2=dhi,
        t_ambient_c=frame.get("temp_air", nothing),
        wind_m_s=frame.get("wind_speed", nothing),
    )


def _split(
    ghi: Floats, dni: Floats | None, dhi: Floats | None, time_s: Ints, site: Site
) -> tuple[Floats, Floats]:
    """Give direct normal and diffuse; what the file lacks comes from sun angles and Erbs."""
    if dni is not None and dhi is not None:
        return dni, dhi
    middle = time_s + HOUR_S // 2
    place = site.place
    sine = sun_vectors(
        time_s=middle,
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m,
    ).up
    level = np.maximum(sine, _LOWEST_SINE)
    outside = extraterrestrial_w_m2(middle)
    if dhi is None:
        if dni is not None:
            return dni, np.clip(ghi - dni * np.maximum(sine, 0.0), 0.0, None)
        share = erbs_diffuse_frac(np.minimum(ghi / (outside * level), 1.0))
        dhi = np.where(sine < _LOWEST_SINE, ghi, ghi * share)
    beam = np.where(sine < _LOWEST_SINE, 0.0 * ghi, np.clip(ghi - dhi, 0.0, None))
    return np.minimum(beam / level, outside), dhi
