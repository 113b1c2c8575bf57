"""A collector array for the checks; every number can be replaced by keyword."""

from analysis.site import Array


def an_array(**changes) -> Array:
    """Build an invented heat-pipe array, or another one."""
    facts = {
        "collector": "heat_pipe",
        "tubes": 20,
        "tubes_run": "up",
        "absorber_turn_deg": 0.0,
        "tilt_deg": 35.0,
        "azimuth_deg": 180.0,
        "area_m2": 2.0,
        "area_basis": "aperture",
        "eta0_hem": 0.60,
        "eta0_beam": None,
        "a1_w_m2k": 1.10,
        "a2_w_m2k2": 0.006,
        "heat_capacity_kj_m2k": 9.0,
        "iam_diffuse": 1.0,
        "stagnation_c": None,
        "heat_pipe_start_c": None,
        "heat_pipe_limit_c": None,
        "iam_angles_deg": (0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0),
        "iam_transversal": (1.0, 1.01, 1.04, 1.09, 1.15, 1.20, 1.22, 1.10, 0.7, 0.0),
        "iam_longitudinal": (1.0, 1.0, 0.99, 0.98, 0.96, 0.92, 0.85, 0.70, 0.4, 0.0),
    }
    return Array(**(facts | changes))


def certificate_flat_plate() -> Array:
    """Give the flat plate of a published certificate data sheet (ISO 9806:2017, no brand)."""
    return an_array(
        collector="flat_plate",
        tubes=None,
        area_basis="gross",
        eta0_hem=None,
        eta0_beam=0.739,
        a1_w_m2k=3.51,
        a2_w_m2k2=0.017,
        heat_capacity_kj_m2k=10.62,
        iam_diffuse=0.91,
    )
