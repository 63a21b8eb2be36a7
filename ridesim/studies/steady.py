"""The steady climb in closed form: what holding a speed on a grade asks, and where the heat settles.

The physics is that of the step, kernel by kernel: the force, the current for it, copper with its feedback (resistance
up, magnets down, so current up), iron, and the two lumps at rest. Beyond the runaway current no steady state exists,
and the answer says so. Legend as in `physics/`: SI, temperatures in degC.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.circuit import circuit_of, cold_resistance, motor_now
from ridesim.engine.gears import at_speed
from ridesim.engine.params import both_parameters, current_scale, parameters, road_arrays
from ridesim.engine.state import Parameters, RoadArrays
from ridesim.jit import plain
from ridesim.physics import controller, drive, heat, pack, resistance, rider
from ridesim.physics.motor import COPPER_PER_K, voltage_squared_with_field
from ridesim.ride.simulate import as_loaded
from ridesim.road.made import make_flat
from ridesim.road.plan import plan_speed
from ridesim.units import to_si

NEWTON_PASSES = 60
NEWTON_TOLERANCE_K = 1e-9
FIELD_ROUNDS = 12
FIELD_TOLERANCE_K = 1e-3
BISECTIONS = 60
"""Halvings of a bracket: more than a double can tell apart."""
ENDLESS_ROAD_M = 1e9
motor_at, circuit, out_of_reach_ohm = plain(motor_now), plain(circuit_of), plain(cold_resistance)
voltage_with_field = plain(voltage_squared_with_field)
HALF_CHARGE = 0.5
"""Charge at which the pack is held where a question has no time in it: neither full nor empty (guess)."""


class Still(NamedTuple):
    """The air that stays the same for ever, and the pack that is held at one charge and one temperature."""

    road: RoadArrays  # a short level road through that air
    air_density: float
    air_temp: float
    rolling: float
    pedal_power: float
    open_voltage: float
    pack_resistance: float  # with the slow part fully grown
    slow: float  # its slow part at the pack's temperature [ohm]
    cells: float  # the cells' fast resistance at this charge and 25 degC [ohm]
    cell_rating: float  # what all cells side by side may give for long [A]
    charge: float  # at which the pack is held


class Load(NamedTuple):
    """What holding one speed on one grade asks of the motor."""

    grade: float  # rise per run
    speed: float
    cos_theta: float
    resisting: float  # N, all of it
    pedal_force: float
    motor_force: float
    motor_speed: float  # rad/s
    torque: float  # K I, with the iron's drag [N m]
    shaft_torque: float
    iron: float  # W
    body_to_air: float  # W/K
    field: float = 0.0  # A against the magnets, as far as it is known


class Settled(NamedTuple):
    """Where the motor's heat settles under a load."""

    winding_temp: float
    body_temp: float
    current: float
    copper: float  # W
    gain: float  # K of body temperature that one K of it brings back; 1: runaway


class Electric(NamedTuple):
    """The electrical side of a load at given motor temperatures."""

    current: float
    voltage_squared: float
    pack_voltage: float  # NaN past the power peak of the pack
    pack_current: float
    controller_loss: float
    field: float = 0.0  # against the magnets [A]

    @property
    def arrow(self) -> float:
        """Length of the current's arrow, which the motor current limit sees [A]."""
        return math.hypot(self.current, self.field)


@dataclass(frozen=True)
class SteadyState:
    """A steady climb. Temperatures and currents are None where no steady state exists."""

    grade_percent: float
    speed_km_h: float
    motor_force_n: float
    pedal_force_n: float
    shaft_torque_nm: float
    shaft_power_w: float
    exists: bool
    winding_temp_c: float | None
    body_temp_c: float | None
    controller_temp_c: float | None
    motor_current_a: float | None
    motor_current_dc_equivalent_a: float | None
    copper_power_w: float | None
    iron_power_w: float
    pack_current_a: float | None
    runaway_current_dc_equivalent_a: float
    """Current at which heat feeds back on itself at this speed: beyond it nothing settles."""


def steady_state(
    build: str | Path | Build | LoadedBuild,
    grade_percent: float,
    speed_km_h: float,
    *,
    charge_fraction: float = HALF_CHARGE,
) -> SteadyState:
    """Return where the heat settles when a speed is held on a grade for ever, no limit in the way.

    Still air, the pack held at `charge_fraction`. Raises BuildError for a build that cannot be read.
    """
    bike = as_loaded(build, "`ridesim climb`").build
    p, still = parameters(bike), still_of(bike, charge_fraction)
    load = load_at(p, still, to_si(grade_percent, "percent"), to_si(speed_km_h, "km_h"))
    settled = settle_with_field(p, still, load)
    found = None if settled is None else electric_at(p, load, still, settled.winding_temp, settled.body_temp)
    box = None if found is None else controller_temp(p, still, found)
    return SteadyState(
        grade_percent=grade_percent,
        speed_km_h=speed_km_h,
        motor_force_n=load.motor_force,
        pedal_force_n=load.pedal_force,
        shaft_torque_nm=load.shaft_torque,
        shaft_power_w=load.shaft_torque * load.motor_speed,
        exists=settled is not None,
        winding_temp_c=settled and settled.winding_temp,
        body_temp_c=settled and settled.body_temp,
        controller_temp_c=box if box is not None and math.isfinite(box) else None,
        motor_current_a=settled and settled.current / current_scale(bike),
        motor_current_dc_equivalent_a=settled and settled.current / bike.drive.motors,
        copper_power_w=settled and settled.copper,
        iron_power_w=load.iron,
        pack_current_a=found.pack_current if found is not None and math.isfinite(found.pack_current) else None,
        runaway_current_dc_equivalent_a=runaway_current(p, load, still.air_temp) / bike.drive.motors,
    )


def still_of(build: Build, charge_fraction: float, altitude_m: float = 0.0) -> Still:
    """Return the air at a height, without wind, and the pack at a charge and its starting temperature."""
    level = make_flat(20.0, altitude_m=altitude_m)
    plan = plan_speed(level, 1.0, lateral_m_per_s2=1.0, braking_m_per_s2=1.0)
    road = road_arrays(build, level, plan)
    road.nodes["headwind"], road.nodes["crosswind"] = 0.0, 0.0
    node, p = road.nodes[0], both_parameters(build)
    cells_c = build.pack.start_temperature_c
    cells_c = float(node["air_temp"]) if cells_c is None else cells_c
    warm, slow = (pack.arrhenius_factor(each, cells_c) for each in (p.activation, p.slow_activation))
    grid = np.linspace(0.0, 1.0, len(p.open_voltage))
    cells = p.cell_resistance * float(np.interp(charge_fraction, grid, p.resistance_curve))
    rested = float(np.interp(charge_fraction, grid, p.open_voltage))
    slow_ohm = p.polarisation_resistance * slow
    kept = out_of_reach_ohm(p, charge_fraction, cells / p.cell_resistance, cells_c)
    return Still(
        road,
        float(node["air_density"]),
        float(node["air_temp"]),
        float(node["rolling"]),
        float(node["pedal_power"]),
        rested,
        cells * warm + p.wiring_resistance + slow_ohm + kept,
        slow_ohm,
        cells,
        build.pack.parallel * build.pack.cell.max_discharge_a,
        charge_fraction,
    )


def load_at(p: Parameters, still: Still, grade: float, speed: float) -> Load:
    """Return what holding a speed [m/s] on a grade [rise per run] asks: the rider gives first, the motor the rest.

    Gears are in as the shift rule has them at that speed.
    """
    p = at_speed(p, speed)
    cos_theta = 1.0 / math.sqrt(1.0 + grade * grade)
    resisting = (
        resistance.air_drag(still.air_density, p.drag_area, speed, 0.0, 0.0)
        + resistance.rolling_drag(still.rolling, p.mass, cos_theta)
        + resistance.grade_force(p.mass, grade * cos_theta)
        + resistance.bearing_drag(speed)
    )
    pedal = rider.pedal_force(still.pedal_power, p.pedal_efficiency, speed, resisting, p.pedal_force_bound)
    force = resisting - pedal
    omega = speed * p.turned
    shaft, iron = 0.0, 0.0
    if force > 0.0 or not p.freewheel:
        shaft = drive.shaft_torque(
            force, p.stage_drag_driving, p.stage_drag_braking, p.per_driving_gain, p.per_braking_gain
        )
        iron = motor_at(p, omega, still.air_temp, still.air_temp).iron_torque
    cooling = heat.body_to_air(p.cooling_still, p.cooling_moving, p.cooling_exponent, p.enclosure, speed)
    return Load(
        grade, speed, cos_theta, resisting, pedal, force, omega, shaft + iron, shaft, iron * omega, cooling
    )  # fmt: skip


def settle(p: Parameters, load: Load, air_c: float) -> Settled | None:
    """Return where winding and body settle under a load, or None where they never do.

    The body's temperature solves T = T_air + (P_copper(T) + P_iron)/G_ba. The right side is convex and rising, so
    Newton's method from the cold side climbs to the lower root without passing it; where it cannot, there is none.
    """
    body = air_c
    for _ in range(NEWTON_PASSES):
        copper, slope, current = _copper_at(p, load, body)
        gain = slope / load.body_to_air
        missing = air_c + (copper + load.iron) / load.body_to_air - body
        if not math.isfinite(missing):
            return None
        if missing <= NEWTON_TOLERANCE_K:
            return Settled(body + copper / p.winding_to_body, body, current, copper, gain)
        if gain >= 1.0:
            return None
        body += missing / (1.0 - gain)
    return None


def settle_with_field(p: Parameters, still: Still, load: Load) -> Settled | None:
    """Return where winding and body settle under a load that may ask for field weakening, or None where they never do.

    Warm magnets ask for less of it, and its copper warms them: some rounds settle both, from the cold side.
    """
    found = settle(p, load, still.air_temp)
    if p.field_current <= 0.0:
        return found
    winding = body = still.air_temp
    for _ in range(FIELD_ROUNDS):
        field = electric_at(p, load, still, winding, body).field
        found = settle(p, load._replace(field=field), still.air_temp)
        if found is None or abs(found.winding_temp - winding) < FIELD_TOLERANCE_K:
            break
        winding, body = found.winding_temp, found.body_temp
    return found


def _copper_at(p: Parameters, load: Load, body: float) -> tuple[float, float, float]:
    """Return settled copper loss [W], its slope with body temperature [W/K] and the current [A]; infinite: runaway.

    P = I^2 R(T_w) with T_w = T_b + P/G_wb is linear in P; I = torque / K(T_b).
    """
    now = motor_at(p, load.motor_speed, body, body)
    if now.torque_constant <= 0.0:
        return math.inf, math.inf, math.inf
    warmer = motor_at(p, load.motor_speed, body, body + 1.0)
    k, k_warmer = (each.torque_constant + p.reluctance * load.field for each in (now, warmer))
    current = load.torque / k
    current_slope = current * (1.0 - k_warmer / k)  # K falls in a straight line
    square = current * current + load.field * load.field
    per_k = p.resistance * COPPER_PER_K
    spare = 1.0 - square * per_k / p.winding_to_body
    if spare <= 0.0:
        return math.inf, math.inf, current
    copper = square * now.resistance / spare
    square_slope = 2.0 * current * current_slope
    slope = (square_slope * now.resistance + square * per_k + copper * square_slope * per_k / p.winding_to_body) / spare
    return copper, slope, current


def runaway_current(p: Parameters, load: Load, air_c: float) -> float:
    """Return the current at this load's speed past which no heat balance exists [A], by halving the torque."""
    low, high = 0.0, load.torque + 1.0
    while settle(p, load._replace(torque=high), air_c) is not None:
        low, high = high, 2.0 * high
    last = settle(p, load._replace(torque=low), air_c)
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        found = settle(p, load._replace(torque=middle), air_c)
        if found is None:
            high = middle
        else:
            low, last = middle, found
    return math.inf if last is None else last.current


def electric_at(p: Parameters, load: Load, still: Still, winding_c: float, body_c: float) -> Electric:
    """Return current, voltages and losses of a load at given motor temperatures [degC].

    Where the voltage does not suffice, with the field current that it asks for, up to the most that there is.
    """
    now = motor_at(p, load.motor_speed, winding_c, body_c)
    c = circuit(p, now, still.open_voltage, still.pack_resistance)
    current = load.torque / now.torque_constant if now.torque_constant > 0.0 else math.inf
    field = 0.0
    magnets = c.emf
    if p.field_current > 0.0 and math.isfinite(current):
        if p.reluctance > 0.0:
            current = controller.salient_current(c, current, p.duty, p.field_current)
        field = min(controller.field_needed(c, current, p.duty), p.field_current)
        c = controller.with_field(c, field, current)
    voltage = controller.loaded_voltage(c, current)
    return Electric(
        current,
        voltage_with_field(magnets, current, field, c.motor_resistance, c.reactance, p.salience),
        voltage,
        (still.open_voltage - voltage) / still.pack_resistance,
        controller.controller_loss(c, current, voltage) - field * field * c.motor_resistance,
        field,
    )


def controller_temp(p: Parameters, still: Still, found: Electric) -> float:
    """Return where the controller's temperature settles [degC]."""
    return still.air_temp + found.controller_loss / p.controller_to_air


def endless_road(still: Still, grade: float, speed: float, length: float = ENDLESS_ROAD_M) -> RoadArrays:
    """Return a road of one grade [rise per run] and one planned speed [m/s], through air that stays the same."""
    nodes = still.road.nodes[:2].copy()
    nodes["cos_theta"] = 1.0 / math.sqrt(1.0 + grade * grade)
    nodes["sin_theta"] = grade * nodes["cos_theta"]
    nodes["plan_square"] = speed * speed
    return still.road._replace(length=length, per_spacing=1.0 / length, nodes=nodes)
