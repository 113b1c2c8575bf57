"""Models of the sky, and ways back from the plane to beam: what they differ by, printed.

Truth are published hourly years with global, direct and diffuse: two of PVGIS (satellite) and two
in the TMY3 layout that come with pvlib (mostly modelled). None holds a measured plane, so a model
of the sky has to make it; two are tried. Two days of measured plane and plane diffuse (2-minute
rows, HTW Saar, see the data's own notes) are the only measured beam here.

Run: python -m tests.bench.sky_models
"""

import csv
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib

from analysis.collector import gain_w_m2, incidence_modifier
from analysis.irradiance import from_horizontal, split_plane
from analysis.sitefile import parse_site
from analysis.sun import (
    SunVectors,
    azimuth_deg,
    extraterrestrial_w_m2,
    incidence,
    sun_vectors,
    tube_angles,
    zenith_deg,
)
from analysis.transposition import transpose

ROOT = Path(__file__).parents[2]
SHARED = ROOT.parent / "shared" / "data"
MODELS = ("isotropic", "hay_davies", "reindl", "perez")
PLANES = ((38.0, 180.0), (60.0, 170.0), (30.0, 250.0))
# Tilt and azimuth of the measured days, from their own columns of sun and incidence (within 1e-5).
MEASURED_TILT_DEG = 45.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Year:
    """Hours of a published year: parts on the level and the sun of each."""

    name: str
    time_s: np.ndarray
    ghi: np.ndarray
    dni: np.ndarray
    dhi: np.ndarray
    sun: SunVectors

    @property
    def outside(self) -> np.ndarray:
        return extraterrestrial_w_m2(self.time_s)

    def plane(self, tilt_deg: float, toward_deg: float) -> dict[str, object]:
        """Give what the models need to know of a plane."""
        return {
            "cos_incidence": incidence(sun=self.sun, tilt_deg=tilt_deg, azimuth_deg=toward_deg),
            "cos_zenith": self.sun.up,
            "extraterrestrial_w_m2": self.outside,
            "tilt_deg": tilt_deg,
        }


def years() -> Iterator[Year]:
    """Give the years that are at hand."""
    for name, place in (
        ("pvgis-tmy-sicily/tmy_37.116_14.561_2005_2020.csv", (37.116, 14.561, 306.0)),
        ("pvgis-tmy-piedmont/tmy_45.000_8.000_2005_2023.csv", (45.0, 8.0, 250.0)),
    ):
        if (SHARED / name).exists():
            with (SHARED / name).open(encoding="utf-8") as file:
                rows = [
                    row for row in csv.reader(file) if len(row) == 10 and row[0][:2] in ("19", "20")
                ]
            stamps = [datetime.strptime(row[0], "%Y%m%d:%H%M").replace(tzinfo=UTC) for row in rows]
            # The satellite passes about ten minutes past the hour.
            time_s = np.array([int(stamp.timestamp()) for stamp in stamps]) + 600
            parts = [np.array([float(row[column]) for row in rows]) for column in (3, 4, 5)]
            yield _year(name.split("/")[0], time_s, parts, place)
    for name in ("723170TYA.CSV", "703165TY.csv"):
        frame, about = pvlib.iotools.read_tmy3(str(Path(pvlib.__file__).parent / "data" / name))
        time_s = np.array([int(stamp.timestamp()) for stamp in frame.index]) - 1800
        parts = [frame[column].to_numpy(float) for column in ("ghi", "dni", "dhi")]
        place = (about["latitude"], about["longitude"], about["altitude"])
        yield _year(about["Name"].strip('"'), time_s, parts, place)


def _year(name: str, time_s: np.ndarray, parts: list[np.ndarray], place: tuple) -> Year:
    ghi, dni, dhi = parts
    return Year(
        name=name,
        time_s=time_s,
        ghi=ghi,
        dni=dni,
        dhi=dhi,
        sun=sun_vectors(
            time_s=time_s, latitude_deg=place[0], longitude_deg=place[1], elevation_m=place[2]
        ),
    )


def model_sums(year: Year, tilt_deg: float, toward_deg: float) -> dict[str, float]:
    """Give each model's yearly irradiation over that of Hay & Davies [-]."""
    plane = year.plane(tilt_deg, toward_deg)
    sums = {
        model: float(
            transpose(
                ghi=year.ghi, dhi=year.dhi, dni=year.dni, **plane, model=model
            ).total_w_m2.sum()
        )
        for model in MODELS
    }
    return {model: total / sums["hay_davies"] for model, total in sums.items()}


def from_global(year: Year, tilt_deg: float, toward_deg: float, model: str) -> float:
    """Give the irradiation from the global reading alone over that from all parts [-]."""
    plane = year.plane(tilt_deg, toward_deg)
    whole = transpose(ghi=year.ghi, dhi=year.dhi, dni=year.dni, **plane, model=model)
    found = from_horizontal(g_horizontal_w_m2=year.ghi, **plane, model=model)
    return float(found.total_w_m2.sum() / whole.total_w_m2.sum())


@dataclass(frozen=True, slots=True, kw_only=True)
class Miss:
    """How far a split is off: bias and scatter over the mean beam, and what that does to gain."""

    bias: float
    rmse: float
    gain: float

    def __str__(self) -> str:
        return f"bias {self.bias:+6.1%} rmse {self.rmse:5.1%} gain {self.gain:+5.1%}"


def split_misses(year: Year, tilt_deg: float, toward_deg: float, sky: str) -> dict[str, Miss]:
    """Split a plane that a model of the sky made: by our table, and by GTI-DIRINT of pvlib."""
    plane = year.plane(tilt_deg, toward_deg)
    truth = transpose(ghi=year.ghi, dhi=year.dhi, dni=year.dni, **plane, model=sky)
    total = truth.total_w_m2
    ours = split_plane(g_plane_w_m2=total, **plane).beam_w_m2
    theirs = _gti_dirint(year, total, tilt_deg, toward_deg) * np.maximum(plane["cos_incidence"], 0)
    seen = (total > 50.0) & (year.sun.up > 0.065)
    return {
        name: _miss(year, beam, truth.beam_w_m2, total, seen, tilt_deg, toward_deg)
        for name, beam in (("Erbs, Hay & Davies", ours), ("GTI-DIRINT", theirs))
    }


def _gti_dirint(year: Year, total: np.ndarray, tilt_deg: float, toward_deg: float) -> np.ndarray:
    order = np.argsort(year.time_s)
    index = pd.to_datetime(year.time_s[order], unit="s", utc=True)
    cosine = incidence(sun=year.sun, tilt_deg=tilt_deg, azimuth_deg=toward_deg)
    values = (total, np.degrees(np.arccos(cosine)), zenith_deg(year.sun), azimuth_deg(year.sun))
    given = [pd.Series(one[order], index=index) for one in values]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = pvlib.irradiance.gti_dirint(*given, index, tilt_deg, toward_deg, albedo=0.2)
    dni = np.zeros(len(order))
    dni[order] = np.nan_to_num(found["dni"].to_numpy())
    return dni


def _miss(
    year: Year,
    beam: np.ndarray,
    truth: np.ndarray,
    total: np.ndarray,
    seen: np.ndarray,
    tilt_deg: float,
    toward_deg: float,
) -> Miss:
    error, mean = (beam - truth)[seen], truth[seen].mean()
    site = parse_site((ROOT / "fixtures/sites/mill-lane-4.toml").read_text("utf-8"))
    array = site.arrays[0]
    along, across = tube_angles(
        sun=year.sun, tilt_deg=tilt_deg, azimuth_deg=toward_deg, tubes_run="up"
    )
    modifier = incidence_modifier(
        array=array, theta_longitudinal_deg=along, theta_transversal_deg=across
    )
    gains = [
        gain_w_m2(array=array, beam_w_m2=one, diffuse_w_m2=total - one, modifier=modifier)[
            seen
        ].sum()
        for one in (beam, truth)
    ]
    return Miss(
        bias=float(error.mean() / mean),
        rmse=float(np.sqrt(np.mean(error**2)) / mean),
        gain=float(gains[0] / gains[1] - 1.0),
    )


def measured_days() -> Iterator[tuple[str, np.ndarray, np.ndarray]]:
    """Give name, beam found and beam measured of the two days, steps above 50 W/m2."""
    for name, padding in (("PVT_UI_Typ1", 11), ("PVT_UI_Typ4", 0)):
        path = SHARED / "collector-days-2min" / f"{name}_measurements.txt"
        if not path.exists():
            continue
        rows = np.loadtxt(path, skiprows=2)[padding:]
        total, diffuse = rows[:, 1], rows[:, 2]
        # The year is not stated; seconds count from 1 January.
        found = split_plane(
            g_plane_w_m2=total,
            cos_incidence=np.cos(np.radians(rows[:, 4])),
            cos_zenith=np.cos(np.radians(rows[:, 5])),
            extraterrestrial_w_m2=extraterrestrial_w_m2(1_735_689_600 + rows[:, 0]),
            tilt_deg=MEASURED_TILT_DEG,
        )
        bright = total > 50.0
        yield name, found.beam_w_m2[bright], (total - diffuse)[bright]


def main() -> None:
    """Print everything."""
    for year in years():
        print(f"\n{year.name}: {len(year.time_s)} h, {year.ghi.sum() / 1000:.0f} kWh/m2 global")
        for tilt_deg, toward_deg in PLANES:
            sums = model_sums(year, tilt_deg, toward_deg)
            said = ", ".join(f"{model} {share:.3f}" for model, share in sums.items())
            print(f"  {tilt_deg:.0f}/{toward_deg:.0f} yearly sum over Hay & Davies: {said}")
            alone = ", ".join(
                f"{model} {from_global(year, tilt_deg, toward_deg, model):.3f}" for model in MODELS
            )
            print(f"  {tilt_deg:.0f}/{toward_deg:.0f} from global alone over all parts: {alone}")
            for sky in ("hay_davies", "perez"):
                for name, miss in split_misses(year, tilt_deg, toward_deg, sky).items():
                    print(f"  {tilt_deg:.0f}/{toward_deg:.0f} plane by {sky:10s} {name:18s} {miss}")
    for name, found, truth in measured_days():
        error = found - truth
        print(
            f"\n{name}, measured: bias {error.mean() / truth.mean():+.1%}, rmse "
            f"{np.sqrt(np.mean(error**2)) / truth.mean():.1%} of mean beam {truth.mean():.0f} W/m2"
        )


if __name__ == "__main__":
    main()
