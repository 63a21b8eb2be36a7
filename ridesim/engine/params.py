"""Build and road to plain numbers in SI: the only place where units are converted."""

from __future__ import annotations

from typing import Any

import numpy as np

from ridesim.bike.schema import Build, Pack
from ridesim.bike.second import refuse_second, seen_by_second
from ridesim.engine.cells import activations, cold_numbers, fast_ohm, slow_ohm
from ridesim.engine.columns import by_row
from ridesim.engine.estimates import COOLING_REFERENCE_SPEED, Estimates, charge_share, estimate
from ridesim.engine.gearing import in_one_gear, rolling_mass, stages, start_gear
from ridesim.engine.gears import gear_table
from ridesim.engine.pair import SecondState
from ridesim.engine.plan import lay_plan
from ridesim.engine.state import NODE, Law, Parameters, RoadArrays, State
from ridesim.physics.motor import AMPLITUDE_TO_DC
from ridesim.physics.resistance import (
    both_brakes_force_bound,
    drive_force_bound,
    motor_brake_force_bound,
    other_share_of_braking_grip,
    other_share_of_grip,
    pedal_share_of_grip,
)
from ridesim.road.air import LAPSE_RATE_K_PER_M, SEA_LEVEL_PRESSURE_PA, air_density, pressure_pa, wind_along_and_across
from ridesim.road.plan import SpeedPlan
from ridesim.road.profile import Road
from ridesim.units import to_si

CHARGE_GRID = 1001
"""Points of the resampled voltage curve."""

WINDING_STOP_C = 350.0
"""Winding temperature at which a ride ends: every insulation class is long gone (guess)."""

NEVER = 1e9
"""A temperature or speed that is never reached."""


def motor_scale(build: Build) -> float:
    """Return DC-equivalent ampere per ampere as the build's commutation reads it, of one motor."""
    return AMPLITUDE_TO_DC if build.controller.commutation == "sine" else 1.0


def current_scale(build: Build) -> float:
    """Return the step's DC-equivalent ampere, of all motors together, per ampere of one as its controller reads it."""
    return motor_scale(build) * build.drive.motors


def with_drag(params: Parameters, factor: float) -> Parameters:
    """Return parameters whose motor drags by a factor of what it did, hysteresis and eddy currents alike."""
    return params._replace(tau_0=params.tau_0 * factor, tau_1=params.tau_1 * factor)


def charge_tables(pack: Pack) -> tuple[np.ndarray, np.ndarray]:
    """Return the pack's open-circuit voltage [V] and resistance factor on an even grid of charge, each (1001,)."""
    grid = np.linspace(0.0, 1.0, CHARGE_GRID)
    volts = np.multiply.outer(pack.series, np.interp(grid, pack.cell.charge_fraction, pack.cell.open_circuit_v))
    volts = volts + np.asarray(pack.open_circuit_offset_v)[..., None]
    curve = pack.cell.resistance_curve or (1.0,) * len(pack.cell.charge_fraction)
    return volts, np.interp(grid, pack.cell.charge_fraction, curve)


def parameters(
    build: Build, *, limits: bool = True, law: str | None = None, throttle: float | None = None
) -> Parameters:
    """Return a build as the step reads it. `throttle` from 0 to 1 holds the throttle instead of a speed plan.

    Numbers of the build may be columns, (rows,): so are then the parameters that depend on them (`engine.columns`).
    Raises BuildError for a bike of two different drives: it takes two such records, see `both_parameters`.
    """
    refuse_second(build, "a question that looks at one motor's numbers")
    return _parameters(build, limits, law, throttle)


def both_parameters(
    build: Build, *, limits: bool = True, law: str | None = None, throttle: float | None = None
) -> Parameters:
    """Return a build as the step reads it, as `parameters` does, and a second drive behind it, in `second`."""
    first = _parameters(build, limits, law, throttle)
    if build.second is None:
        return first
    return first._replace(second=_parameters(seen_by_second(build), limits, law, throttle))


def _parameters(build: Build, limits: bool, law: str | None, throttle: float | None) -> Parameters:
    found = estimate(build)
    gears = [in_one_gear(build, found, at) for at in range(len(build.drive.speeds))]
    return Parameters(
        **gears[0],
        gear_table=gear_table(gears),
        **_bike(build),
        **_rider(build, held=throttle is not None),
        **_drive(build, found),
        **_motor(build, found),
        **_controller(build, found, limits, law, throttle),
        **_pack(build, found),
    )


def _bike(build: Build) -> dict[str, Any]:
    bicycle = build.bicycle
    return {
        "mass": build.mass_kg,
        "mass_shifting": rolling_mass(build),
        "per_mass_shifting": 1.0 / rolling_mass(build),
        "drag_area": bicycle.drag_area_m2 + bicycle.wheel_drag_area_m2,
        "crr": build.tyre.rolling_resistance,
        **_tyres(build),
    }


def _tyres(build: Build) -> dict[str, Any]:
    bicycle = build.bicycle
    stance = (
        bicycle.grip,
        build.mass_kg,
        1.0,
        to_si(bicycle.wheelbase_mm, "mm"),
        to_si(bicycle.mass_centre_height_mm, "mm"),
        to_si(bicycle.mass_centre_ahead_mm, "mm"),
    )
    rear = build.drive.driven_wheel == "rear"
    return {
        "drive_grip": by_row(drive_force_bound, *stance, rear),
        "pedal_share": by_row(pedal_share_of_grip, bicycle.grip, stance[3], stance[4], rear),
        "motor_brake_grip": by_row(motor_brake_force_bound, *stance, rear),
        "both_brakes_grip": by_row(both_brakes_force_bound, *stance),
    }


def _rider(build: Build, *, held: bool) -> dict[str, Any]:
    """The rider; one who holds the throttle stays on the bike."""
    rider = build.rider
    return {
        "response_rate": 1.0 / rider.response_time_s,
        "braking": rider.braking_m_per_s2,
        "pace": NEVER,
        "walker_power": 0.0,
        "on_foot": False,
        "push_length": 0.0 if held else rider.pushes_up_to_m,
        "push_force": rider.pushing_force_n,
        "push_speed": to_si(rider.pushing_speed_km_h, "km_h"),
        "rider_mass": rider.mass_kg,
    }


def _drive(build: Build, found: Estimates) -> dict[str, Any]:
    _, driving_drag, braking_drag = stages(build)
    gears = build.drive.gears
    return {
        "gears": len(build.drive.speeds),
        "shift_time": gears.shift_time_s,
        "shifts_standing": gears.kind != "derailleur",
        "through_chain": build.drive.through_pedal_chain,
        "stage_drag_driving": driving_drag,
        "stage_drag_braking": braking_drag,
        "freewheel": build.drive.coupling == "freewheel",
        **_beside(build),
        "rotor_inertia": build.drive.motors * found.rotor_inertia_kg_m2,
    }


def _beside(build: Build) -> dict[str, Any]:
    """What a drive takes notice of in the other one of two."""
    if build.second is None:
        return {"beside_share": 0.0, "beside_share_braking": 0.0, "room_share": 1.0, "common_duty": 1.0}
    bicycle, rear = build.bicycle, build.drive.driven_wheel == "rear"
    same = build.drive.driven_wheel == build.second.drive.driven_wheel
    stance = (
        bicycle.grip,
        to_si(bicycle.wheelbase_mm, "mm"),
        to_si(bicycle.mass_centre_height_mm, "mm"),
        to_si(bicycle.mass_centre_ahead_mm, "mm"),
    )
    return {
        "beside_share": by_row(other_share_of_grip, *stance, rear, same),
        "beside_share_braking": by_row(other_share_of_braking_grip, *stance, rear, same),
        "room_share": charge_share(build),
        "common_duty": _common_duty(build),
    }


def _common_duty(build: Build) -> Any:
    """Return the duty that both drives share at a planned speed, over that of this one: there both push with nothing.

    Each pushes with k (d U - k v)/R, k = K G/r: their sum is nothing at d U = v sum(k^2/R)/sum(k/R).
    """
    k, r = _volts_per_speed(build)
    other_k, other_r = _volts_per_speed(seen_by_second(build))
    return (k * k / r + other_k * other_k / other_r) / (k / r + other_k / other_r) / k


def _volts_per_speed(build: Build) -> tuple[Any, Any]:
    """Return the back-EMF per road speed but for what both share, 1/kv times G, and the winding's resistance."""
    return build.drive.fastest_turns / build.motor.kv_rpm_per_v, build.motor.resistance_mohm


def _motor(build: Build, found: Estimates) -> dict[str, Any]:
    """The motor; alike ones on one drive are one of half the resistance and twice the rest (equal throttle)."""
    motor, n = build.motor, build.drive.motors
    still = n * found.body_to_air_still_w_per_k
    moving = (n * found.body_to_air_at_36_km_h_w_per_k - still) / COOLING_REFERENCE_SPEED**motor.cooling_exponent
    return {
        "torque_constant": 1.0 / to_si(motor.kv_rpm_per_v, "rpm_per_v"),
        "magnet_per_k": to_si(motor.magnet_coefficient_percent_per_k, "percent_per_k"),
        "resistance": to_si(motor.resistance_mohm, "mohm") / n,
        "inductance": to_si(motor.inductance_uh, "uh") / n,
        "salience": motor.salience,
        "reluctance": motor.pole_pairs * (to_si(motor.inductance_uh, "uh") / n) * (1.0 - 1.0 / motor.salience),
        "pole_pairs": 1.0 * motor.pole_pairs,
        "tau_0": n * found.hysteresis_torque_nm,
        "tau_1": n * found.eddy_torque_nm_s,
        "winding_k_per_j": 1.0 / (n * found.winding_heat_capacity_j_per_k),
        "body_k_per_j": 1.0 / (n * found.body_heat_capacity_j_per_k),
        "winding_to_body": n * found.winding_to_body_w_per_k,
        "cooling_still": still,
        "cooling_moving": moving,
        "cooling_exponent": motor.cooling_exponent,
        "enclosure": motor.enclosure,
        "winding_limit": motor.winding_limit_c,
        "body_limit": motor.magnet_limit_c,
        "winding_stop": WINDING_STOP_C,
    }


def _controller(
    build: Build, found: Estimates, limits: bool, law: str | None, throttle: float | None
) -> dict[str, Any]:
    box = build.controller
    scale, n = current_scale(build), build.drive.motors
    fold_start, fold_end = box.motor_full_current_below_c, box.motor_no_current_above_c
    sensor = fold_start is not None and fold_end is not None
    assist = box.assist_speed_limit_km_h
    return {
        "law": int(Law[(law or box.throttle_law).upper()]),
        "limits_on": limits,
        "throttle": -1.0 if throttle is None else float(throttle),
        "drive_current": box.motor_current_limit_a * scale,
        "brake_current": box.brake_current_limit_a * scale,
        "field_current": box.field_weakening_current_a * scale,
        "pack_current": n * box.pack_current_limit_a,
        "charge_current": found.charge_current_limit_a,
        "charge_voltage": found.charge_voltage_limit_v,
        "low_voltage_start": found.full_current_above_v,
        "low_voltage_end": found.no_current_below_v,
        "duty": box.modulation_limit,
        "motor_fold_start": fold_start if sensor else 0.0,
        "motor_fold_end": fold_end if sensor else 0.0,
        "controller_fold_start": box.controller_full_current_below_c,
        "controller_fold_end": box.controller_no_current_above_c,
        "assist_factor": box.assist_factor,
        "assist_speed": NEVER if assist is None else to_si(assist, "km_h"),
        "shaft_power": NEVER if box.motor_power_limit_w is None else n * box.motor_power_limit_w,
        "standby": n * box.standby_power_w,
        "on_resistance": to_si(box.on_resistance_mohm, "mohm") / n,
        "switching": box.switching_loss_fraction,
        "controller_k_per_j": 1.0 / (n * box.heat_capacity_j_per_k),
        "controller_to_air": n * box.to_air_w_per_k,
    }


def _pack(build: Build, found: Estimates) -> dict[str, Any]:
    pack, cell = build.pack, build.pack.cell
    volts, curve = charge_tables(pack)
    groups = pack.series / pack.parallel * pack.resistance_factor
    share, (activation, slow_activation) = pack.resistance_share, activations(cell)
    capacity_ah = pack.parallel * cell.capacity_ah * pack.weakest_group_fraction * pack.capacity_fraction
    return {
        "charge_per_coulomb": 1.0 / to_si(capacity_ah, "ah"),
        "cell_resistance": fast_ohm(cell) * groups * share,
        "wiring_resistance": to_si(pack.interconnect_mohm + pack.wiring_mohm, "mohm") * share,
        "polarisation_resistance": slow_ohm(cell) * groups,
        "polarisation_time": cell.polarisation_time_s,
        "activation": activation,
        "slow_activation": slow_activation,
        **cold_numbers(cell),
        "per_one_c": 1.0 / capacity_ah,
        "charge_floor": pack.charge_floor_fraction,
        "cut_off_voltage": pack.series * cell.min_voltage_v,
        "pack_k_per_j": 1.0 / found.pack_heat_capacity_j_per_k,
        "pack_to_air": found.pack_to_air_w_per_k,
        "pack_temp_limit": pack.temperature_limit_c,
        "open_voltage": volts,
        "resistance_curve": curve,
    }


def road_arrays(build: Build, road: Road, plan: SpeedPlan) -> RoadArrays:
    """Return road, weather and speed plan as the step reads them."""
    weather = build.weather
    air_c = weather.temperature_c + LAPSE_RATE_K_PER_M * (road.altitude_m - road.altitude_m[0])
    pressure = pressure_pa(road.altitude_m) * (to_si(weather.sea_level_pressure_hpa, "hpa") / SEA_LEVEL_PRESSURE_PA)
    head, cross = wind_along_and_across(
        to_si(weather.wind_speed_km_h, "km_h"), weather.wind_from_deg, road.bearing_deg, weather.wind_exposure
    )
    cycle = plan.cycle_time_s
    nodes = np.recarray(len(road.distance_m), dtype=NODE)
    nodes["altitude"] = road.altitude_m
    nodes["sin_theta"] = np.sin(np.arctan(road.grade))
    nodes["cos_theta"] = np.cos(np.arctan(road.grade))
    nodes["air_density"] = air_density(pressure, air_c, to_si(weather.relative_humidity_percent, "percent"))
    nodes["air_temp"] = air_c
    nodes["headwind"] = head
    nodes["crosswind"] = cross
    nodes["rolling"] = road.rolling_factor * build.tyre.rolling_resistance
    nodes["pedal_power"] = build.rider.power_w
    stops = lay_plan(nodes, plan, road)
    return RoadArrays(
        length=road.length_m,
        per_spacing=1.0 / road.spacing_m,
        nodes=nodes,
        stops=stops,
        cycle_step=float(cycle[1] - cycle[0]) if cycle.size > 1 else 1.0,
        cycle_speed=np.ascontiguousarray(plan.cycle_speed_m_per_s, dtype=np.float64),
    )


def start_state(build: Build, *, speed_m_per_s: float = 0.0) -> State:
    """Return a bike at the start of the road, everything at air temperature unless the build says otherwise."""
    air_c = build.weather.temperature_c
    pack_c = air_c if build.pack.start_temperature_c is None else build.pack.start_temperature_c
    return State(
        time=0.0,
        lap_time=0.0,
        distance=0.0,
        speed=float(speed_m_per_s),
        acceleration=0.0,
        charge=build.pack.start_charge_fraction,
        polarisation=0.0,
        winding_temp=air_c,
        body_temp=air_c,
        controller_temp=air_c,
        pack_temp=pack_c,
        rotor_energy=0.0,
        cooling_speed=-1.0,
        cooling=0.0,
        dwell_left=0.0,
        shift_left=0.0,
        gear=start_gear(build, speed_m_per_s),
        stop_index=0,
        second=None if build.second is None else SecondState(air_c, air_c, air_c, 0.0),
    )
