"""Rules of the site file that join several keys: a site that no roof can carry is refused.

Each check gives the key path that is wrong and one sentence; none of them needs the text.
"""

from collections.abc import Iterator

from analysis.site import Array, Backup, Site, WarrantyTerm
from analysis.sitefile_lines import Path
from analysis.warranty.terms import TERM_KINDS

Fault = tuple[Path, str]

# From memory of collector certificates: an evacuated tube loses 0.3 to 6 W/(m2 K) at the first
# order, other collectors 1.5 to 25 (uncovered ones most).
_A1_SPAN = {"heat_pipe": (0.3, 6.0), "direct_flow": (0.3, 6.0), "flat_plate": (1.5, 25.0)}


def faults(site: Site) -> Iterator[Fault]:
    """Give every contradiction between the facts of a site.

    Parameters
    ----------
    site : Site
        Facts whose single values are all allowed.

    Yields
    ------
    tuple
        The path of the key at fault, and one sentence that names key, value and what is allowed.
    """
    for number, array in enumerate(site.arrays, start=1):
        yield from _array(array, ("array", number))
    yield from _loop(site)
    yield from _controller(site)
    yield from _rest(site)
    yield from _design(site)
    yield from _warranty(site)


def _name(path: Path, key: str) -> str:
    return ".".join(str(part) for part in (*path, key))


def _array(array: Array, path: Path) -> Iterator[Fault]:
    if array.collector == "flat_plate" and array.tubes is not None:
        yield (*path, "tubes"), f"{_name(path, 'tubes')} is given, but a flat_plate has no tubes"
    if array.collector != "flat_plate" and array.tubes is None:
        yield path, f"{_name(path, 'tubes')} is missing: a {array.collector} array needs a number"
    if array.eta0_hem is None and array.eta0_beam is None:
        yield path, f"{_name(path, 'eta0')} is missing: give eta0, or eta0_beam, 0.1 to 0.86"
    if array.eta0_hem is not None and array.eta0_beam is not None:
        yield (
            (*path, "eta0_beam"),
            f"{_name(path, 'eta0')} and eta0_beam are both given; keep the one that the "
            "certificate prints",
        )
    lowest, highest = _A1_SPAN[array.collector]
    if not lowest <= array.a1_w_m2k <= highest:
        yield (
            (*path, "a1_w_m2k"),
            f"{_name(path, 'a1_w_m2k')} is {array.a1_w_m2k:g}; allowed for a {array.collector}: "
            f"{lowest:g} to {highest:g} W/(m2 K)",
        )
    if array.collector != "heat_pipe":
        for key, value in (
            ("heat_pipe_start_c", array.heat_pipe_start_c),
            ("heat_pipe_limit_c", array.heat_pipe_limit_c),
        ):
            if value is not None:
                yield (
                    (*path, key),
                    f"{_name(path, key)} is given, but the array is a {array.collector}",
                )
    yield from _incidence(array, path)


def _incidence(array: Array, path: Path) -> Iterator[Fault]:
    angles = array.iam_angles_deg
    if angles[0] != 0 or angles[-1] != 90:
        yield (
            (*path, "iam_angles_deg"),
            f"{_name(path, 'iam_angles_deg')} runs from {angles[0]:g} to {angles[-1]:g}; "
            "it must start at 0 and end at 90 degrees",
        )
    for key, table in (
        ("iam_transversal", array.iam_transversal),
        ("iam_longitudinal", array.iam_longitudinal),
    ):
        if len(table) != len(angles):
            yield (
                (*path, key),
                f"{_name(path, key)} has {len(table)} values; it must have as many as "
                f"iam_angles_deg, {len(angles)}",
            )
        # The modifier is the ratio to normal incidence (ISO 9806), so it is 1 there.
        elif not 0.98 <= table[0] <= 1.02:
            yield (
                (*path, key),
                f"{_name(path, key)} starts with {table[0]:g}; at 0 degrees the modifier is 1",
            )


def _loop(site: Site) -> Iterator[Fault]:
    loop = site.loop
    if loop.fluid == "water" and loop.concentration_frac != 0:
        yield (
            ("loop", "concentration"),
            f"loop.concentration is {loop.concentration_frac:g}; allowed for water: 0",
        )
    if loop.fluid != "water" and loop.concentration_frac < 0.05:
        yield (
            ("loop", "concentration"),
            f"loop.concentration is {loop.concentration_frac:g}; allowed for {loop.fluid}: 0.05 to "
            '0.6 as a mass fraction (for pure water say fluid = "water")',
        )
    valve = loop.safety_valve_bar
    for key, value in (
        ("pressure_bar", loop.pressure_bar),
        ("vessel_precharge_bar", loop.vessel_precharge_bar),
    ):
        if valve is not None and value is not None and value >= valve:
            yield (
                ("loop", key),
                f"loop.{key} is {value:g}; it must be below safety_valve_bar, {valve:g} bar",
            )


def _controller(site: Site) -> Iterator[Fault]:
    controller = site.controller
    if controller.start_difference_k <= controller.stop_difference_k:
        yield (
            ("controller", "start_difference_k"),
            f"controller.start_difference_k is {controller.start_difference_k:g}; it must be above "
            f"stop_difference_k, {controller.stop_difference_k:g} K",
        )


def _rest(site: Site) -> Iterator[Fault]:
    horizon = site.horizon
    if horizon is not None and len(horizon.azimuth_deg) != len(horizon.elevation_deg):
        yield (
            ("horizon", "elevation_deg"),
            f"horizon.elevation_deg has {len(horizon.elevation_deg)} values; it must have as many "
            f"as azimuth_deg, {len(horizon.azimuth_deg)}",
        )
    backup = site.backup
    # Above 1 only where heat is moved rather than made; 1.1 leaves room for condensing boilers
    # quoted on the lower heating value (common practice, no source).
    if backup is not None and backup.fuel != "heat_pump" and backup.efficiency > 1.1:
        yield (
            ("backup", "efficiency"),
            f"backup.efficiency is {backup.efficiency:g}; allowed for {backup.fuel}: 0.1 to 1.1 "
            "(above that only for a heat_pump)",
        )
    if backup is not None:
        yield from _efficiency_range(backup)


def _efficiency_range(backup: Backup) -> Iterator[Fault]:
    low, high = backup.efficiency_low, backup.efficiency_high
    for key, value, other in (
        ("efficiency_low", low, "efficiency_high"),
        ("efficiency_high", high, "efficiency_low"),
    ):
        if value is not None and getattr(backup, other) is None:
            yield (("backup", key), f"backup.{key} is given alone; give {other} with it")
    if low is not None and high is not None and not low <= backup.efficiency <= high:
        yield (
            ("backup", "efficiency_low"),
            f"backup.efficiency is {backup.efficiency:g}; it must lie between efficiency_low, "
            f"{low:g}, and efficiency_high, {high:g}",
        )


def _design(site: Site) -> Iterator[Fault]:
    water = site.hot_water
    if water is not None and water.litres_per_day is None and water.occupants is None:
        yield (
            ("hot_water",),
            "hot_water holds neither litres_per_day nor occupants; give one, or leave the table "
            "out",
        )
    solar_l = site.store.solar_volume_l
    if solar_l is not None and solar_l > site.store.volume_l:
        yield (
            ("store", "solar_volume_l"),
            f"store.solar_volume_l is {solar_l:g}; it is a part of volume_l, at most "
            f"{site.store.volume_l:g} l",
        )
    climate = site.climate
    if climate is None:
        return
    if not any(climate.horizontal_kwh_m2):
        yield (
            ("climate", "horizontal_kwh_m2"),
            "climate.horizontal_kwh_m2 is 0 in every month; give the sums of a typical year",
        )
    if climate.diffuse_kwh_m2 is not None and any(
        diffuse > whole * 1.001
        for diffuse, whole in zip(climate.diffuse_kwh_m2, climate.horizontal_kwh_m2, strict=True)
    ):
        yield (
            ("climate", "diffuse_kwh_m2"),
            "climate.diffuse_kwh_m2 is above horizontal_kwh_m2 in some month; it is a part of it",
        )


def _warranty(site: Site) -> Iterator[Fault]:
    for number, term in enumerate(site.warranty.terms if site.warranty else (), start=1):
        yield from _term(term, ("warranty", "term", number))


def _term(term: WarrantyTerm, path: Path) -> Iterator[Fault]:
    kind = TERM_KINDS[term.kind]
    name = ".".join(str(part) for part in path)
    for key in kind.needs:
        if getattr(term, key) is None:
            yield path, f"{name}.{key} is missing; a term of the kind {term.kind} needs it"
    spans = {
        "low_bar": (term.low_bar, term.high_bar),
        "low_concentration": (term.low_concentration_frac, term.high_concentration_frac),
    }
    for key, (low, high) in spans.items():
        if key in kind.one_of and low is None and high is None:
            yield path, f"{name} needs {' or '.join(kind.one_of)}"
        if low is not None and high is not None and low >= high:
            yield (*path, key), f"{name}.{key} is {low:g}; it must be below the highest, {high:g}"
    if term.kept is not None and term.noted is None:
        yield (*path, "kept"), f"{name}.kept is given; say with noted on which day that was found"
