"""What the step reads and what it leaves behind: parameters, road, state, channels, limits and stops, all by name.

SI inside: m, s, kg, N, V, A, W, J, rad/s, ohm; temperatures in degC.
"""

from __future__ import annotations

import functools
from typing import Any, NamedTuple, cast

import numpy as np

from ridesim.engine.codes import Channel, Law, Ledger, Limit, Stop, Total

__all__ = [
    "NODE", "STOP", "Channel", "Fade", "Here", "Law", "Ledger", "Limit", "Outcome", "PackNow", "Parameters", "Pull",
    "RoadArrays", "State", "Stop", "Total", "as_record",
]  # fmt: skip


class Parameters(NamedTuple):
    """One bike on one day, as plain numbers in SI."""

    # bike
    mass: float
    mass_coasting: float  # with the wheels' inertia
    mass_driving: float  # with the rotor's inertia too
    per_mass_coasting: float  # 1/kg
    per_mass_driving: float
    drag_area: float
    crr: float
    drive_grip: float  # largest propulsive force on the level, grip or front lift [N]
    motor_brake_grip: float  # largest braking force of the motor's wheel on the level [N]
    both_brakes_grip: float  # largest braking force of both wheels on the level [N]
    radius: float
    # rider
    pedal_efficiency: float
    pedal_force_bound: float
    response_rate: float  # 1/s
    braking: float
    # drive
    turned: float  # motor radians per metre of road [1/m]
    driving_gain: float  # wheel force per shaft torque [1/m]
    braking_gain: float
    per_driving_gain: float  # [m]
    per_braking_gain: float
    efficiency: float
    stage_drag: float
    freewheel: bool
    rotor_inertia: float
    # motor
    torque_constant: float
    magnet_per_k: float
    resistance: float
    inductance: float
    pole_pairs: float
    tau_0: float
    tau_1: float
    winding_k_per_j: float
    body_k_per_j: float
    winding_to_body: float
    cooling_still: float
    cooling_moving: float
    cooling_exponent: float
    enclosure: float
    winding_limit: float
    body_limit: float
    winding_stop: float
    # controller
    law: int
    limits_on: bool
    throttle: float  # negative: follow the speed plan
    drive_current: float
    brake_current: float
    pack_current: float
    charge_current: float
    charge_voltage: float
    low_voltage_start: float
    low_voltage_end: float
    duty: float
    top_electrical_speed: float  # road speed at the electrical limit [m/s]
    motor_fold_start: float
    motor_fold_end: float
    controller_fold_start: float
    controller_fold_end: float
    assist_factor: float
    assist_speed: float
    shaft_power: float
    standby: float
    on_resistance: float
    switching: float
    controller_k_per_j: float
    controller_to_air: float
    # pack
    series: float
    charge_per_coulomb: float
    cell_resistance: float  # of the whole pack, at 25 degC
    wiring_resistance: float
    polarisation_resistance: float
    polarisation_time: float
    activation: float  # of the fast resistance [J/mol]
    slow_activation: float  # of the polarisation resistance [J/mol]
    charge_floor: float
    cut_off_voltage: float
    pack_k_per_j: float
    pack_to_air: float
    pack_temp_limit: float
    open_voltage: np.ndarray  # of the pack, on an even grid of charge
    resistance_curve: np.ndarray  # factor, on the same grid


class RoadArrays(NamedTuple):
    """A road on an even grid, as the step reads it. SI units."""

    length: float
    spacing: float
    per_spacing: float  # 1/m
    nodes: np.ndarray  # (n,) of NODE
    stops: np.ndarray  # (k,) of STOP
    cycle_step: float
    cycle_speed: np.ndarray  # (m,) or empty


NODE = np.dtype(
    [
        ("altitude", "f8"),
        ("sin_theta", "f8"),
        ("cos_theta", "f8"),
        ("air_density", "f8"),
        ("air_temp", "f8"),
        ("headwind", "f8"),
        ("crosswind", "f8"),
        ("rolling", "f8"),  # rolling coefficient
        ("pedal_power", "f8"),  # of the rider while pedalling
        ("plan_square", "f8"),  # square of the planned speed
        ("plan_slope", "f8"),  # its rise over one spacing
        ("plan_braking", "f8"),  # the plan's own deceleration, <= 0 [m/s2]
    ]
)
"""One node of a road; a structured row lies in one cache line and is read by name."""

STOP = np.dtype([("at", "f8"), ("dwell", "f8")])
"""A stop: where [m] and how long [s]."""


def as_record(p: Parameters) -> Parameters:
    """Return parameters as one structured record: the compiled step takes it by reference and reads it by name."""
    shapes = tuple(value.shape if isinstance(value, np.ndarray) else () for value in p)
    row: Any = tuple(p)
    return cast(Parameters, np.rec.array([row], dtype=_layout(shapes))[0])


@functools.cache
def _layout(shapes: tuple[tuple[int, ...], ...]) -> np.dtype[np.void]:
    kinds = (_KINDS.get(getattr(kind, "__forward_arg__", ""), "f8") for kind in Parameters.__annotations__.values())
    return np.dtype(list(zip(Parameters._fields, kinds, shapes, strict=True)), align=True)


_KINDS = {"int": "i8", "bool": "?"}


class State(NamedTuple):
    """Where the ride stands between two steps."""

    time: float
    lap_time: float
    distance: float  # along this lap
    speed: float
    acceleration: float
    charge: float  # fraction
    polarisation: float  # V
    winding_temp: float
    body_temp: float
    controller_temp: float
    pack_temp: float
    rotor_energy: float  # J, of a freewheel drive's rotor
    cooling_speed: float  # m/s, at which the body's cooling was last taken
    cooling: float  # W/K
    dwell_left: float
    stop_index: int


class Here(NamedTuple):
    """The road at one place."""

    sin_theta: float
    cos_theta: float
    air_density: float
    air_temp: float
    headwind: float
    crosswind: float
    rolling: float
    pedal_power: float
    plan_speed: float
    plan_acceleration: float
    for_stop: bool  # whether the plan brakes for a stop


class Fade(NamedTuple):
    """How the polarisation moves over one step length."""

    step: float  # s
    rate: float  # 1/step [1/s]
    share: float  # mean of exp(-t/tau) over the step
    fade: float  # exp(-dt/tau)


class PackNow(NamedTuple):
    """The pack over one step."""

    open_circuit: float  # V
    fast_resistance: float  # R_0 [ohm]
    voltage: float  # behind the resistance, polarisation taken off [V]
    resistance: float  # R_0 and the step's share of the slow one [ohm]
    slow_resistance: float  # of the polarisation [ohm]


class Pull(NamedTuple):
    """The command of one step: current, forces and the bound that holds them."""

    current: float
    shaft_torque: float
    iron_torque: float
    motor_force: float
    pedal_force: float
    brake_force: float
    air_force: float
    rolling_force: float
    grade_force: float
    bearing_force: float
    mass: float
    per_mass: float
    wanted: float
    asked: float  # motor current before the bounds [A]
    spin_up: float  # share of the shaft work that first speeds up a freewheel drive's rotor
    coupled: bool
    limit: int
    tyre_limit: int


class Outcome(NamedTuple):
    """What one step did: the operating point at its mean speed."""

    travelled: float
    moving: float  # s, the part of the step before a halt
    mean_speed: float
    motor_speed: float
    resistance: float
    emf: float
    pack_voltage: float
    pack_current: float
    open_voltage: float
    copper: float  # W
    iron: float  # W
    controller: float  # W
    shaft: float  # W
    fast_loss: float  # J
    slow_loss: float  # J
    polarisation_stored: float  # J
    chemistry: float  # J
    kinetic: float  # J
    rotor_lost: float  # J
    slow_resistance: float  # of the polarisation [ohm]
