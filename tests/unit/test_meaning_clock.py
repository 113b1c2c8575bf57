"""The clock's error by the sun, on invented plants whose clocks are known to be right or wrong."""

import functools

import numpy as np
import pytest

from analysis.meaning.clock import clock_error
from analysis.sitefile import parse_site
from fixtures.scenario import home, site_toml
from fixtures.sensors import observe
from fixtures.simulate import simulate

AZIMUTHS = (170.0, 215.0, 140.0)


@functools.cache
def light(azimuth_deg: float, start: str, step_s: int, channel: str = "irradiance_plane"):
    scenario = home(azimuth_deg=azimuth_deg)
    run = simulate(scenario, seed=8, start=start, days=14)
    log = observe(run, seed=2, sensors="site", channels=(channel,), step_s=step_s)
    return parse_site(site_toml(scenario)), log.stamp_s, log.columns[channel]


@pytest.mark.parametrize("azimuth_deg", AZIMUTHS)
@pytest.mark.parametrize(("start", "step_s"), [("2025-01-10", 60), ("2025-06-10", 300)])
@pytest.mark.parametrize("off_min", [0, 37, -61, 180])
def test_the_error_is_found_within_its_uncertainty(azimuth_deg, start, step_s, off_min):
    site, stamps, values = light(azimuth_deg, start, step_s)
    found = clock_error(stamp_s=stamps + off_min * 60, irradiance_w_m2=values, site=site)
    assert found.days >= 8
    assert abs(found.error_s - off_min * 60) < 2.5 * found.u_s
    assert found.u_s < 600.0
    if off_min == 0:
        assert not found.is_wrong
        assert "fits the sun" in found.says
    if abs(off_min) >= 61:
        assert found.is_wrong
        assert ("ahead" if off_min > 0 else "behind") in found.says


def test_level_sensors_tell_too_and_too_few_days_do_not():
    site, stamps, values = light(170.0, "2025-06-10", 300, "irradiance_horizontal")
    found = clock_error(stamp_s=stamps, irradiance_w_m2=values, site=site)
    assert abs(found.error_s) < 2.5 * found.u_s
    two = stamps < stamps[0] + 2 * 86_400
    assert clock_error(stamp_s=stamps[two], irradiance_w_m2=values[two], site=site) is None
    nothing = np.full(len(stamps), np.nan)
    assert clock_error(stamp_s=stamps, irradiance_w_m2=nothing, site=site) is None
