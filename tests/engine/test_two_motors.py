"""Two alike motors on one drive: one of half the resistance and twice the rest; what is told is told per motor."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from ridesim.bike.load import load_build
from ridesim.engine.params import parameters
from ridesim.engine.state import RECORDED
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.workshop.check.drive import check_shares
from ridesim.workshop.loads import loads_of

CONFIGS = Path(__file__).parents[2] / "configs"
BIKES = ("longtail-belt", "longtail-two-stage", "longtail-freewheel", "longtail-hub")
NO_LOAD = ((1000.0, 0.9), (4000.0, 1.6))
MOTOR = {
    "motor.rotor_inertia_kg_m2": 2.5e-4, "motor.winding_heat_capacity_j_per_k": 90.0,
    "motor.body_heat_capacity_j_per_k": 500.0, "motor.winding_to_body_w_per_k": 4.0,
    "motor.body_to_air_still_w_per_k": 0.9, "motor.body_to_air_at_36_km_h_w_per_k": 3.5,
}  # fmt: skip
DOUBLED = (
    *MOTOR, "motor.mass_kg", "controller.mass_kg", "controller.motor_current_limit_a",
    "controller.brake_current_limit_a", "controller.pack_current_limit_a", "controller.standby_power_w",
    "controller.heat_capacity_j_per_k", "controller.to_air_w_per_k",
)  # fmt: skip
HALVED = ("motor.resistance_mohm", "motor.inductance_uh", "controller.on_resistance_mohm")


def no_load(factor: float) -> list[dict[str, float]]:
    return [{"speed_rpm": rpm, "current_a": factor * amps} for rpm, amps in NO_LOAD]


def value_of(build: Any, key: str) -> float:
    section, name = key.split(".")
    return getattr(getattr(build, section), name)


def pair(name: str) -> tuple[Any, Any]:
    """The same bike as two motors, and as the one motor that equals them."""
    where = CONFIGS / f"{name}.toml"
    base: dict[str, Any] = {**MOTOR, "motor.no_load": no_load(1.0), "drive.motors": 2}
    two = load_build(where, base)
    one: dict[str, Any] = {"motor.no_load": no_load(2.0), "drive.motors": 1}
    one |= {key: 2.0 * value_of(two.build, key) for key in DOUBLED}
    one |= {key: 0.5 * value_of(two.build, key) for key in HALVED}
    if two.build.controller.charge_current_limit_a is not None:
        one["controller.charge_current_limit_a"] = 2.0 * two.build.controller.charge_current_limit_a
    if two.build.controller.motor_power_limit_w is not None:
        one["controller.motor_power_limit_w"] = 2.0 * two.build.controller.motor_power_limit_w
    return two, load_build(where, one)


@pytest.mark.parametrize("name", BIKES)
def test_two_alike_motors_equal_one(name: str):
    two, one = pair(name)
    ours, theirs = parameters(two.build), parameters(one.build)
    for field in RECORDED:
        assert getattr(ours, field) == pytest.approx(getattr(theirs, field), rel=1e-12), field
    road = make_climb(1500.0, 6.0)
    a, b = simulate(two, road).figures, simulate(one, road).figures
    for key in ("total_time_s", "net_energy_wh", "peak_winding_temp_c", "peak_pack_current_a", "peak_shaft_torque_nm"):
        assert getattr(a, key) == pytest.approx(getattr(b, key), rel=1e-9), key
    for key in ("peak_motor_current_a", "sustained_motor_current_dc_equivalent_a", "rms_motor_current_a"):
        assert 2.0 * getattr(a, key) == pytest.approx(getattr(b, key), rel=1e-9), key


def test_loads_and_trace_are_of_one_motor():
    two, one = pair("longtail-belt")
    road = make_climb(800.0, 8.0)
    mine, both = simulate(two, road), simulate(one, road)
    a, b = loads_of(mine), loads_of(both)
    assert 2.0 * a.motor_current_a == pytest.approx(b.motor_current_a)
    assert a.shaft_torque_nm == pytest.approx(b.shaft_torque_nm)
    assert a.motor_peak_s == pytest.approx(b.motor_peak_s)
    limit = two.build.controller.motor_current_limit_a
    assert mine.trace["motor_current_a"].max() <= limit * (1.0 + 1e-9)
    assert 2.0 * mine.trace["motor_current_a"].max() == pytest.approx(both.trace["motor_current_a"].max())


def test_the_mass_of_both_is_carried():
    two, one = pair("longtail-hub")
    single = load_build(CONFIGS / "longtail-hub.toml")
    more = two.build.mass_kg - single.build.mass_kg
    assert more == pytest.approx(single.build.motor.mass_kg + single.build.controller.mass_kg)
    assert one.build.mass_kg == pytest.approx(two.build.mass_kg)


@pytest.mark.parametrize("law, apart, verdict", [
    ("torque", 5.0, "fine"), ("assist", 5.0, "fine"), ("governor", 5.0, "look again"),
    ("voltage", 0.1, "fine"), ("voltage", 10.0, "look again"),
])  # fmt: skip
def test_a_difference_of_kv_by_throttle_law(law: str, apart: float, verdict: str):
    keys = {"drive.motors": 2, "drive.kv_difference_percent": apart, "controller.throttle_law": law}
    loaded = load_build(CONFIGS / "longtail-belt.toml", keys)
    loads = loads_of(simulate(loaded, make_climb(500.0, 5.0)))
    (found,) = check_shares(loaded.build, loads)
    assert found.verdict == verdict
    if law == "voltage":
        motor = loaded.build.motor
        k = 60.0 / (2.0 * 3.141592653589793 * motor.kv_rpm_per_v)
        omega = loads.top_motor_speed_rpm * 2.0 * 3.141592653589793 / 60.0
        difference = omega * k * apart / 100.0 / (motor.resistance_mohm / 1000.0)
        assert found.figure == pytest.approx(0.5 * difference / loads.sustained_motor_current_a, rel=1e-9)


def test_one_motor_or_equal_kv_shares_nothing():
    loaded = load_build(CONFIGS / "longtail-belt.toml", {"drive.kv_difference_percent": 5.0})
    loads = loads_of(simulate(loaded, make_climb(300.0, 5.0)))
    assert check_shares(loaded.build, loads) == []
