"""Two different drives on one bike: against alike ones, closed forms, and a plant of its own solved by scipy."""

from __future__ import annotations

import copy
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ridesim.bike.load import LoadedBuild, build_from_dict, load_build, replace_keys
from ridesim.ride.drives import each_drive
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_flat, make_hills

from ..bikes import twice

CONFIGS = Path(__file__).parents[2] / "configs"
DEMO = CONFIGS / "longtail-two-drives.toml"
G = 9.80665
OFF = {"rider.power_w": 0.0, "weather.wind_speed_km_h": 0.0}


def demo(**keys: Any) -> LoadedBuild:
    return replace_keys(load_build(DEMO), {name.replace("__", "."): value for name, value in keys.items()})


def second_of(ride: Ride) -> Ride:
    return each_drive(ride)[1]


@pytest.mark.parametrize("law", ["torque", "voltage", "governor"])
@pytest.mark.parametrize("name", ["longtail-two-stage.toml", "longtail-freewheel.toml"])
def test_two_alike_drives_are_two_alike_motors(name: str, law: str):
    alike, written = twice(name)
    road = make_hills(3000.0, 40.0, 1500.0)
    a, b = (simulate(each, road, throttle_law=law, accuracy="fine") for each in (alike, written))
    for key in (
        "total_time_s", "net_energy_wh", "pack_energy_returned_wh", "peak_winding_temp_c", "peak_pack_current_a",
        "peak_charge_current_a", "sustained_motor_current_a", "peak_motor_current_a", "peak_controller_temp_c",
    ):  # fmt: skip
        assert getattr(b.figures, key) == pytest.approx(getattr(a.figures, key), rel=2e-3, abs=1e-3), key
    first, second = (each.figures for each in each_drive(b))
    assert second.peak_winding_temp_c == pytest.approx(first.peak_winding_temp_c, rel=2e-3)
    assert 2.0 * second.peak_shaft_torque_nm == pytest.approx(a.figures.peak_shaft_torque_nm, rel=2e-3)
    assert first.pack_energy_out_wh + second.pack_energy_out_wh == pytest.approx(a.figures.pack_energy_out_wh, rel=2e-3)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"second.drive.coupling": "fixed", "second.controller.brake_current_limit_a": 30.0},
        {"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0},
        {"controller.field_weakening_current_a": 20.0, "rider.cruise_speed_km_h": 50.0},
    ],
)
def test_the_ledger_closes_with_the_lines_of_both(changes: dict[str, Any]):
    ride = simulate(replace_keys(load_build(DEMO), changes), make_hills(4000.0, 60.0, 1300.0))
    assert abs(ride.ledger_residual_fraction) < 1e-9
    assert ride.ledger["second_motor_copper_loss"] > 0.5 and ride.ledger["second_drive_stage_loss"] > 0.5
    first, second = each_drive(ride)
    assert second.ledger["motor_copper_loss"] == ride.ledger["second_motor_copper_loss"]
    out, back = ((getattr(each.figures, f"pack_energy_{way}_wh") for each in (first, second, ride))
                 for way in ("out", "returned"))  # fmt: skip
    own = list(out)
    returned = list(back)
    # What one gives back the other may draw: the sums of both agree.
    assert own[0] + own[1] - returned[0] - returned[1] == pytest.approx(own[2] - returned[2], rel=1e-3)


def test_beside_gears_and_on_foot_it_closes_too():
    data = copy.deepcopy(dict(load_build(CONFIGS / "longtail-mid-drive.toml").data))
    data["second"] = copy.deepcopy(load_build(DEMO).data["second"])
    data["second"]["controller"] |= {"full_current_above_v": 40.0, "no_current_below_v": 36.0}
    geared = simulate(build_from_dict(data), make_hills(2500.0, 60.0, 1250.0))
    assert geared.finished and geared.figures.gear_shifts > 4
    assert abs(geared.ledger_residual_fraction) < 1e-9
    weak = demo(controller__motor_current_limit_a=12, second__controller__motor_current_limit_a=8)
    walked = simulate(weak, make_climb(30.0, 14.0))
    assert walked.figures.pushed_m > 5.0 and walked.figures.pushed_s > 5.0
    assert abs(walked.ledger_residual_fraction) < 1e-9
    on_foot = walked.trace[walked.trace["walker_force_n"] > 0.0]
    assert len(on_foot) > 20 and (on_foot[["motor_current_a", "second_motor_current_a"]] == 0.0).all(axis=None)


def full_force(build: Any) -> float:
    """Closed form: what a motor gives at its wheel at its current limit, drag left out [N]."""
    k = 60.0 / (2.0 * math.pi * build.motor.kv_rpm_per_v)
    turns = math.prod(stage.ratio for stage in build.drive.stage)
    efficiency = math.prod(stage.efficiency for stage in build.drive.stage)
    radius = build.tyre.circumference_mm / 2000.0 / math.pi
    return k * math.sqrt(0.75) * build.controller.motor_current_limit_a * turns * efficiency / radius


def test_one_throttle_shares_a_force_by_what_each_gives_at_its_limit():
    ride = simulate(demo(rider__power_w=0.0), make_climb(2000.0, 4.0))
    first, second = (full_force(each.build) for each in each_drive(ride))
    late = ride.trace.iloc[-30:-5]
    share = (late["second_motor_force_n"] / late["motor_force_n"]).to_numpy()
    assert share == pytest.approx(second / (first + second), rel=1e-4)


def test_what_one_cannot_give_the_other_takes_over():
    road = make_climb(3000.0, 5.0)
    free = simulate(demo(rider__power_w=0.0), road)
    tight = simulate(demo(rider__power_w=0.0, second__controller__pack_current_limit_a=4.0), road)
    late = slice(-30, -5)
    for column in ("motor_force_n", "speed_km_h"):
        assert tight.trace[column].iloc[late].mean() == pytest.approx(free.trace[column].iloc[late].mean(), rel=2e-3)
    assert tight.trace["second_pack_current_a"].max() <= 4.0 * (1.0 + 1e-6)
    assert tight.trace["motor_current_a"].iloc[late].mean() > 1.2 * free.trace["motor_current_a"].iloc[late].mean()
    assert second_of(tight).figures.limits[0].name == "pack_current"


def test_no_limit_of_either_is_passed():
    keys = {"second__drive__coupling": "fixed", "second__controller__brake_current_limit_a": 30.0}
    ride = simulate(demo(**keys, rider__cruise_speed_km_h=40.0), make_hills(5000.0, 30.0, 1250.0))
    build = ride.build
    for drive, box in zip(each_drive(ride), (build.controller, build.second.controller), strict=True):
        f = drive.figures
        assert f.peak_motor_current_a <= box.motor_current_limit_a * (1.0 + 1e-9)
        assert f.peak_brake_current_a <= box.brake_current_limit_a * (1.0 + 1e-9)
        assert f.peak_pack_current_a <= box.pack_current_limit_a * (1.0 + 2e-3)
    cells = build.pack.parallel * build.pack.cell.max_charge_a
    assert 0.5 * cells < ride.figures.peak_charge_current_a <= cells * (1.0 + 2e-3)
    assert ride.figures.peak_pack_current_a <= 35.0 * (1.0 + 2e-3)


def test_both_wheels_slip_at_the_friction_coefficient_of_the_whole_weight():
    """Two driven wheels at their grip push with mu m g, wherever the mass lies. Closed form by moments."""
    keys = {"bicycle__grip": 0.1, "controller__motor_current_limit_a": 150, "controller__pack_current_limit_a": 200}
    keys |= {f"second__{key}": value for key, value in keys.items() if key.startswith("controller")}
    strong = demo(**keys, rider__power_w=0.0)
    ride = simulate(strong, make_flat(300.0), throttle=1.0)
    weight = ride.build.mass_kg * G
    assert ride.trace["motor_force_n"].iloc[2:10].to_numpy() == pytest.approx(0.1 * weight, rel=1e-6)
    assert ride.trace["second_motor_force_n"].iloc[3] < 0.6 * ride.trace["motor_force_n"].iloc[3]
    assert second_of(ride).figures.limits[0].name == "grip"


HEAT = {
    "winding_heat_capacity_j_per_k": 300.0, "body_heat_capacity_j_per_k": 1500.0, "winding_to_body_w_per_k": 8.0,
    "body_to_air_still_w_per_k": 2.0, "body_to_air_at_36_km_h_w_per_k": 5.0, "cooling_exponent": 0.6,
    "rotor_inertia_kg_m2": 0.004, "drag_torque_nm": 0.05, "drag_growth_nm_s": 1e-4, "no_load": [],
}  # fmt: skip


def test_a_long_climb_is_that_of_a_plant_solved_apart():
    """Full throttle on 8 %: both at their current limits; speed and four temperatures by scipy's solve_ivp."""
    keys = {f"{place}.{key}": value for place in ("motor", "second.motor") for key, value in HEAT.items()}
    keys |= {"second.motor.winding_heat_capacity_j_per_k": 140.0, "second.motor.body_to_air_still_w_per_k": 1.1}
    keys |= {"second.drive.stage.0.drag_torque_nm": 0.0, "second.drive.coupling": "fixed", **OFF}
    keys |= {f"{at}.{name}": 240.0 for at in ("controller", "second.controller")
             for name in ("motor_full_current_below_c",)}  # fmt: skip
    keys |= {f"{at}.motor_no_current_above_c": 260.0 for at in ("controller", "second.controller")}
    keys |= {f"{at}.pack_current_limit_a": 100.0 for at in ("controller", "second.controller")}
    keys |= {"pack.parallel": 12, "bicycle.mass_centre_ahead_mm": 650.0}
    build = replace_keys(load_build(DEMO), keys)
    ride = simulate(build, make_climb(6000.0, 8.0), throttle=1.0, accuracy="fine")
    assert ride.finished and [each.figures.limits[0].name for each in each_drive(ride)] == ["motor_current"] * 2
    at = ride.trace["time_s"].to_numpy()[[60, 240, -2]]
    found = climbed(ride, at)
    for row, (time, plant) in enumerate(zip(at, found.T, strict=True)):
        told = ride.trace.iloc[int(np.argmin(abs(ride.trace["time_s"] - time)))]
        names = ("winding_temp_c", "body_temp_c", "second_winding_temp_c", "second_body_temp_c")
        assert told["speed_km_h"] / 3.6 == pytest.approx(plant[0], rel=2e-3), row
        assert told[list(names)].to_numpy(dtype=float) == pytest.approx(plant[1:5], abs=0.15), row


def climbed(ride: Ride, at: Any) -> Any:
    """Return speed and the four temperatures of a climb at full throttle, both motors at their limits."""
    b = ride.build
    radius = b.tyre.circumference_mm / 2000.0 / math.pi
    nodes, spacing = ride.arrays.nodes, 1.0 / ride.arrays.per_spacing
    slope = math.atan(0.08)
    drives = []
    for build in (b, each_drive(ride)[1].build):
        motor, stage = build.motor, build.drive.stage
        turns, eta = (stage[0].ratio, stage[0].efficiency) if stage else (1.0, 1.0)
        drives.append((motor, turns / radius, eta, build.controller.motor_current_limit_a * math.sqrt(0.75)))
    mass = b.mass_kg + b.bicycle.wheels_inertia_kg_m2 / radius**2
    mass += sum(motor.rotor_inertia_kg_m2 * turned**2 for motor, turned, _, _ in drives)

    def rates(_: float, y: Any) -> Any:
        v, heats, place = y[0], y[1:5], y[5] / spacing
        at_nodes = np.arange(len(nodes))
        air, density = (float(np.interp(place, at_nodes, nodes[key])) for key in ("air_temp", "air_density"))
        force, slopes = 0.0, []
        for (motor, turned, eta, current), winding, body in zip(drives, heats[::2], heats[1::2], strict=True):
            omega = v * turned
            k = 60.0 / (2.0 * math.pi * motor.kv_rpm_per_v) * (1.0 - 0.0012 * (body - 20.0))
            iron = motor.drag_torque_nm + motor.drag_growth_nm_s * omega
            force += (k * current - iron) * turned * eta
            copper = current**2 * motor.resistance_mohm / 1000.0 * (1.0 + 0.00393 * (winding - 20.0))
            still, moving = motor.body_to_air_still_w_per_k, motor.body_to_air_at_36_km_h_w_per_k
            to_air = still + (moving - still) * (v / 10.0) ** motor.cooling_exponent
            over = motor.winding_to_body_w_per_k * (winding - body)
            slopes += [
                (copper - over) / motor.winding_heat_capacity_j_per_k,
                (over + iron * omega - to_air * (body - air)) / motor.body_heat_capacity_j_per_k,
            ]
        area = b.bicycle.drag_area_m2 + b.bicycle.wheel_drag_area_m2
        rolling = b.tyre.rolling_resistance * math.cos(slope) + math.sin(slope)
        held = 0.5 * density * area * v * v + b.mass_kg * G * rolling + 0.091 + 0.0087 * v
        return [(force - held) / mass, *slopes, v]

    start = [0.0, *[b.weather.temperature_c] * 4, 0.0]
    return solve_ivp(rates, (0.0, float(at[-1])), start, t_eval=at, rtol=1e-9, atol=1e-9, method="LSODA").y


def test_a_bike_of_one_drive_has_no_second():
    ride = simulate(load_build(CONFIGS / "longtail-hub.toml"), make_flat(300.0))
    assert ride.raw.second is None and ride.raw.end.second is None and each_drive(ride) == ()
    assert not [key for key in (*ride.ledger, *ride.trace.columns, *ride.summary) if "second" in key or key == "drives"]


def changed_over(build: LoadedBuild) -> LoadedBuild:
    """The same bike with its two drives listed the other way round."""
    data = copy.deepcopy(dict(build.data))
    first = {part: data[part] for part in ("drive", "motor", "controller")}
    return build_from_dict(data | data["second"] | {"second": first})


BRAKING = {"second.drive.coupling": "fixed", "second.controller.brake_current_limit_a": 30.0}
ONE_WHEEL = {"bicycle.grip": 0.12, "second.drive.driven_wheel": "rear", **OFF}
LEGAL = {f"{at}controller.assist_speed_limit_km_h": 20.0 for at in ("", "second.")}
UNLIKE = LEGAL | {"controller.assist_speed_limit_km_h": 16.0}
WEAK = {"pack.resistance_factor": 9.0, "pack.cell.min_voltage_v": 1.0, **OFF}
FULL = {f"{at}controller.charge_current_limit_a": 30.0 for at in ("", "second.")} | {
    "pack.start_charge_fraction": 1.0, "pack.resistance_factor": 3.0, "second.motor.kv_rpm_per_v": 200.0, **BRAKING,
}  # fmt: skip


@pytest.mark.parametrize(
    ("held", "keys", "grade", "options"),
    [
        (("assist_speed", "assist_speed"), LEGAL, 2.0, {}),
        (("assist_speed", "assist_speed"), UNLIKE, 1.0, {"throttle": 1.0}),
        (("grip", "grip"), ONE_WHEEL, 2.0, {"throttle": 1.0}),
        (("pack_power", "pack_power"), WEAK, 12.0, {"limits": False, "throttle_law": "governor", "throttle": 1.0}),
        (("pack_power", "pack_power"), WEAK, 12.0, {"limits": False, "throttle_law": "governor"}),
        (("full_pack", "brake_current"), FULL, -9.0, {}),
    ],
)  # fmt: skip
def test_which_drive_is_listed_first_changes_nothing(
    held: tuple[str, str], keys: dict[str, Any], grade: float, options: dict[str, Any]
):
    """What bounds both is shared by both drives' numbers: one top speed, one tyre, the pack's power and its room."""
    build = replace_keys(load_build(DEMO), keys)
    road = make_climb(200.0 if grade > 0.0 else 600.0, grade)
    a, b = (simulate(each, road, accuracy="fine", **options) for each in (build, changed_over(build)))
    first, second = each_drive(a)
    for each, name in zip((first, second), held, strict=True):
        assert each.figures.limits[0].name == name
    for key in ("total_time_s", "net_energy_wh", "pack_energy_returned_wh"):
        assert getattr(b.figures, key) == pytest.approx(getattr(a.figures, key), rel=1e-3, abs=1e-3), key
    for mine, same in zip((first, second), each_drive(b)[::-1], strict=True):
        for key in ("peak_motor_current_a", "pack_energy_out_wh", "peak_winding_temp_c"):
            assert getattr(same.figures, key) == pytest.approx(getattr(mine.figures, key), rel=1e-3), key


def test_at_the_packs_power_peak_both_motors_have_equal_throttle():
    """Closed form: the same share of their limits, and half the open voltage is left (maximum power transfer)."""
    build = replace_keys(load_build(DEMO), WEAK)
    ride = simulate(build, make_climb(400.0, 12.0), limits=False, throttle_law="governor", throttle=1.0)
    told = ride.trace.iloc[1]
    limits = [each.build.controller.motor_current_limit_a for each in each_drive(ride)]
    first, second = told["motor_current_a"] / limits[0], told["second_motor_current_a"] / limits[1]
    assert first == pytest.approx(second, rel=1e-6) and first > 1.2
    assert told["pack_voltage_v"] == pytest.approx(0.505 * told["open_voltage_v"], rel=0.02)
