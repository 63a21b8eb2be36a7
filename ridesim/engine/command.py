"""What rider and controllers do in a step: the wanted force, what legs, motors and brakes give of it.

Legend: v speed [m/s], F force at the wheel [N], I motor current, + drives [A], K torque constant [N m/A], omega motor
speed [rad/s]; `resist` is what air, tyres, grade and bearings hold back with [N]; letters as in `physics/`.
"""

from __future__ import annotations

from ridesim.engine.asks import motor_pull
from ridesim.engine.circuit import circuit_of, motor_now
from ridesim.engine.gears import sped_up
from ridesim.engine.pair import Second
from ridesim.engine.second import (
    all_rotors,
    ask_second,
    both_forces,
    grip_taken,
    left_circuit,
    left_resist,
    left_wanted,
    second_at_rest,
    with_second_rotor,
)
from ridesim.engine.state import Here, Limit, PackNow, Parameters, Pull, State
from ridesim.jit import inner_kernel, rare_kernel
from ridesim.physics import resistance, rider

FULL_THROTTLE_FORCE = 1e6
"""A wheel force no bike reaches [N]: what a held throttle wants."""

OBEYED_N = 0.1
"""A driver gets what he wants to within so much [N]."""

ARRIVAL_WINDOW = 1.0
"""A halt this close before a stop counts as the stop [m]."""


@inner_kernel
def wanted_acceleration(p: Parameters, here: Here, v: float) -> float:
    """Return the acceleration the driver wants [m/s2]: the planned one + (v_plan - v)/tau.

    Planned braking to a stop belongs to a place: a bike slower than its plan passes along it more slowly, and brakes by
    so much less (the chain rule). Otherwise it would halt short of the stop, by up to braking tau^2/2.
    """
    planned = here.plan_acceleration
    if here.for_stop and v < here.plan_speed and here.plan_speed * here.plan_speed > 2.0 * p.braking * ARRIVAL_WINDOW:
        planned *= v / here.plan_speed
    return planned + (here.plan_speed - v) * p.response_rate


@inner_kernel
def wanted_force(second: Second | None, p: Parameters, here: Here, resist: float, v: float) -> float:
    """Return the wheel force the driver wants [N]: resistance + m_eff (wanted acceleration)."""
    if p.throttle >= 0.0:
        return FULL_THROTTLE_FORCE
    return resist + all_rotors(second, p.mass_driving) * wanted_acceleration(p, here, v)


@inner_kernel
def is_obeyed(pull: Pull) -> bool:
    """Return whether legs, motors and brakes give what the driver wants: no bound holds them."""
    return abs(pull.motor_force + pull.pedal_force - pull.brake_force - pull.wanted) <= OBEYED_N


@inner_kernel
def held_back(push: float, most_roll: float, most_bearing: float) -> tuple[float, float, float]:
    """Return rolling, bearing and brake force of a bike that stands [N]; push: what would set it in motion [N].

    Tyres and bearings hold a small push forward by themselves. The rest is the brake's, or the foot's (< 0) against
    rolling back.
    """
    roll = min(max(push, 0.0), most_roll)
    bearing = min(max(push - roll, 0.0), most_bearing)
    return roll, bearing, push - roll - bearing


@inner_kernel
def resting(p: Parameters, s: State, air: float, roll: float, grade: float, bearing: float) -> Pull:
    """Return the command of a bike that is held still: brake or foot takes what gravity and wind ask."""
    rolling, bearings, brake = held_back(-air - grade, roll, bearing)
    return Pull(
        current=0.0,
        field=0.0,
        shaft_torque=0.0,
        iron_torque=0.0,
        motor_force=0.0,
        pedal_force=0.0,
        brake_force=brake,
        air_force=air,
        rolling_force=rolling,
        grade_force=grade,
        bearing_force=bearings,
        mass=p.mass_coasting,
        per_mass=p.per_mass_coasting,
        wanted=0.0,
        asked=0.0,
        spin_up=0.0,
        coupled=False,
        held=True,
        limit=Limit.NONE,
        tyre_limit=Limit.NONE,
        second=second_at_rest(s.second),
    )


@rare_kernel
def command(second: Second | None, p: Parameters, here: Here, s: State, now: PackNow, v: float, dt: float) -> Pull:
    """Return what rider and controllers do in this step, at the guessed mean speed v [m/s]."""
    air = resistance.air_drag(here.air_density, p.drag_area, v, here.headwind, here.crosswind)
    roll = resistance.rolling_drag(here.rolling, p.mass, here.cos_theta)
    grade = resistance.grade_force(p.mass, here.sin_theta)
    bearing = resistance.bearing_drag(v)
    if s.dwell_left > 0.0 or (s.speed == 0.0 and here.plan_speed == 0.0 and p.throttle < 0.0):
        return resting(p, s, air, roll, grade, bearing)
    resist = air + roll + grade + bearing
    wanted = wanted_force(second, p, here, resist, v)
    shifting = s.shift_left > 0.0
    pedal = rider.pedal_force(here.pedal_power, p.pedal_efficiency, v, wanted, p.pedal_force_bound)
    if shifting and p.through_chain:
        pedal = 0.0
    beside = ask_second(second, p, here, s, now, resist, wanted, pedal, v, dt)
    m = motor_now(p, v * p.turned, s.winding_temp, s.body_temp)
    c = left_circuit(beside, circuit_of(p, m, now.voltage, now.resistance))
    own = motor_pull(
        p, here, s, c, m, left_resist(beside, resist), left_wanted(beside, wanted, pedal), pedal, v, dt,
        grip_taken(beside),
    )  # fmt: skip
    motor_force = both_forces(beside, own.force)
    brake, brake_limit = _friction_brake(p, here, wanted, motor_force)
    held = s.speed == 0.0 and v == 0.0 and motor_force + pedal - brake <= resist
    if held:
        roll, bearing, brake = held_back(motor_force + pedal - air - grade, roll, bearing)
    # Named before they are handed over: the compiler takes no choice inside a long list of keywords.
    mass, per_mass = sped_up(p, own.coupled, shifting)
    mass, per_mass = with_second_rotor(second, beside, mass, per_mass)
    tyre_limit = own.tyre_limit if own.tyre_limit != Limit.NONE else brake_limit
    return Pull(
        current=own.current,
        field=own.field,
        shaft_torque=own.shaft_torque,
        iron_torque=own.iron_torque,
        motor_force=motor_force,
        pedal_force=pedal,
        brake_force=brake,
        air_force=air,
        rolling_force=roll,
        grade_force=grade,
        bearing_force=bearing,
        mass=mass,
        per_mass=per_mass,
        wanted=wanted,
        asked=own.asked,
        spin_up=own.spin_up,
        coupled=own.coupled,
        held=held,
        limit=own.limit,
        tyre_limit=tyre_limit,
        second=beside,
    )


@inner_kernel
def _friction_brake(p: Parameters, here: Here, wanted: float, motor_force: float) -> tuple[float, Limit]:
    """Return what the friction brakes add to the motor's braking [N], and GRIP where the tyres bound their sum."""
    if wanted >= 0.0:
        return 0.0, Limit.NONE
    brake = max(motor_force - wanted, 0.0)
    left = max(p.both_brakes_grip * here.cos_theta + min(motor_force, 0.0), 0.0)
    if brake > left:
        return left, Limit.GRIP
    return brake, Limit.NONE
