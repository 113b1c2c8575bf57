"""What a visit changed counts from its day on, in every figure; the facts before it stay.

All logs are invented. Four local days in June, every day alike.
"""

import pytest

from tests.build_command import Desk, a_log, change, full_site, with_lines, without_table

FOUR_DAYS = a_log("2025-05-31T23:00", 4 * 144)
MIDDLE = "2025-06-03"


@pytest.fixture
def desk(tmp_path, capsys):
    return Desk(tmp_path, capsys)


def site(*changes: str) -> str:
    bare = without_table(without_table(full_site(), "[[change]]"), "[[backup.tariff]]")
    return bare + "".join(changes)


def savings(desk, *changes: str) -> dict:
    return desk.report(site(*changes), FOUR_DAYS).report["savings"]


def test_fuel_is_useful_heat_over_the_efficiency(desk):
    report = desk.report(site(), FOUR_DAYS).report
    saved, pump = report["savings"], report["totals"]["pump_kwh"]
    assert saved["fuel_kwh"] == pytest.approx(saved["useful_kwh"] / 0.84, abs=1e-3)
    assert saved["money"] == pytest.approx(saved["fuel_kwh"] * 0.07, abs=1e-3)
    assert saved["pump_cost"] == pytest.approx(pump * 0.27, abs=1e-3)
    assert saved["money_net"] == pytest.approx(saved["money"] - saved["pump_cost"], abs=1e-3)
    assert saved["co2_kg"] == pytest.approx(saved["fuel_kwh"] * 0.21 - pump * 0.136, abs=1e-3)


def test_an_efficiency_that_changed_counts_from_its_day_on(desk):
    before = savings(desk)
    after = savings(desk, change(MIDDLE, "backup.efficiency", "0.42"))
    assert after["useful_kwh"] == before["useful_kwh"]
    assert after["fuel_kwh"] == pytest.approx(1.5 * before["fuel_kwh"], rel=1e-3)
    assert after["money"] == pytest.approx(1.5 * before["money"], rel=1e-3)
    assert after["fuel_low_kwh"] < after["fuel_kwh"] < after["fuel_high_kwh"]


def test_a_price_that_changed_counts_from_its_day_on_like_a_tariff(desk):
    before = savings(desk)
    changed = savings(desk, change(MIDDLE, "backup.price_per_kwh", "0.14"))
    tariff = f"[[backup.tariff]]\nfrom = {MIDDLE}\nprice_per_kwh = 0.14\n"
    assert changed["money"] == pytest.approx(1.5 * before["money"], rel=1e-3)
    assert savings(desk, tariff) == changed


def test_co2_that_changed_counts_from_its_day_on(desk):
    before = savings(desk)
    after = savings(desk, change(MIDDLE, "backup.co2_kg_per_kwh", "0.42"))
    pump = before["fuel_kwh"] * 0.21 - before["co2_kg"]
    assert after["co2_kg"] + pump == pytest.approx(1.5 * (before["co2_kg"] + pump), rel=1e-3)


def test_money_of_two_currencies_is_not_added(desk):
    saved = savings(desk, change(MIDDLE, "backup.currency", '"EUR"'))
    assert saved["fuel_kwh"] > 0
    assert saved["money"] is None
    assert saved["money_net"] is None


def test_a_promise_that_changed_counts_from_its_day_on(desk):
    promise = [0.0] * 12
    given = site(change(MIDDLE, "design.monthly_kwh", str(promise)))
    days = desk.report(given, a_log("2025-05-31T23:00", 30 * 144)).report
    assert [day["design_kwh"] for day in days["days"][:4]] == [4.6667, 4.6667, 0.0, 0.0]
    assert days["months"][0]["design_kwh"] == pytest.approx(2 * 140 / 30, abs=1e-3)


def test_an_irradiance_sensor_that_changed_widens_expected_heat_from_its_day_on(desk):
    sun = [0, 0, 0, 0, 0, 120, 250, 400, 550, 680, 780, 830]
    sun += [820, 770, 690, 570, 430, 290, 150, 60, 0, 0, 0, 0]
    log = a_log(
        "2025-05-31T23:00",
        4 * 144,
        heads=("t_loop_hot_c", "t_loop_cold_c", "flow_l_min", "g_plane_w_m2", "t_ambient_c"),
        values=lambda row: (
            50 + row % 7 / 10, 40 + row % 5 / 10, 2.0 if sun[row // 6 % 24] > 300 else 0.0,
            sun[row // 6 % 24] + row % 3, 18 + row % 2 / 10,
        ),
    )  # fmt: skip

    def widths(*changes: str) -> list[float]:
        report = desk.report(site(*changes), log).report
        return [day["expected_high_kwh"] - day["expected_kwh"] for day in report["days"]]

    better = widths(change(MIDDLE, "sensors.irradiance_percent", "1.0"))
    usual = widths()
    assert better[:2] == usual[:2]
    assert better[2] < 0.9 * usual[2]


def test_the_pump_of_before_keeps_its_power(desk):
    usual = desk.report(site(), FOUR_DAYS).report["totals"]["pump_kwh"]
    stronger = desk.report(site(change(MIDDLE, "loop.pump_w", "80")), FOUR_DAYS).report
    assert stronger["totals"]["pump_kwh"] == pytest.approx(1.5 * usual, rel=1e-3)


def test_a_fluid_that_changed_counts_from_its_day_on(desk):
    water = change(MIDDLE, "loop.fluid", '"water"') + change(MIDDLE, "loop.concentration", "0")
    usual = desk.report(site(), FOUR_DAYS).report["days"]
    changed = desk.report(site(water), FOUR_DAYS).report["days"]
    assert changed[1]["delivered_kwh"] == usual[1]["delivered_kwh"]
    assert changed[2]["delivered_kwh"] > 1.05 * usual[2]["delivered_kwh"]


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("array.1.tubes", "16"),
        ("array.1.area_m2", "1.65"),
        ("array.1.iam_transversal", "[1, 1, 1, 1, 1, 1, 1, 1, 1, 0]"),
        ("store.limit_c", "75"),
        ("store.mixing_valve_c", "50"),
        ("controller.start_difference_k", "6"),
        ("horizon.elevation_deg", "[0, 0, 0, 0, 10]"),
        ("hot_water.litres_per_day", "200"),
        ("sensors.temperature_class", "0.2"),
        ("sensors.strapped_on", "false"),
        ("backup.hours", "[[6.0, 7.0]]"),
        ("commissioned.filled", "2025-06-02"),
        ("warranty.conditions", '["one"]'),
        ("site.elevation_m", "90"),
    ],
)
def test_any_key_of_the_file_can_change(desk, key, value):
    found = desk.report(site(change(MIDDLE, key, value)), FOUR_DAYS)
    assert (found.status, found.err) == (0, "")


def test_a_site_does_not_change_its_zone_because_days_are_cut_by_it(desk):
    found = desk.report(site(change(MIDDLE, "site.timezone", '"Europe/Paris"')), FOUR_DAYS)
    assert found.status == 2
    assert "site.timezone" in found.err
    assert "line " in found.err


def test_a_peak_efficiency_stands_once_also_after_a_change(desk):
    beam = with_lines(site(), eta0="eta0_beam = 0.74")
    assert desk.report(beam, FOUR_DAYS).status == 0
    found = desk.report(beam + change(MIDDLE, "array.1.eta0", "0.70"), FOUR_DAYS)
    assert found.status == 2
    assert "eta0_beam" in found.err
