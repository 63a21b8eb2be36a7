"""What the step reads and what it leaves behind: parameters, road, state, channels, limits and stops, all by name.

SI inside: m, s, kg, N, V, A, W, J, rad/s, ohm; temperatures in degC.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

import numpy as np


class Law(IntEnum):
    """What the throttle asks for."""

    TORQUE = 0
    VOLTAGE = 1
    GOVERNOR = 2
    ASSIST = 3


class Limit(IntEnum):
    """The bound that holds the motor (or the tyre) in a step; each step counts for one motor cause at the most."""

    NONE = 0
    MOTOR_CURRENT = 1
    BRAKE_CURRENT = 2
    PACK_CURRENT = 3
    PACK_POWER = 4
    CHARGE_CURRENT = 5
    FULL_PACK = 6
    COLD_PACK = 7
    DUTY = 8
    ELECTRICAL_SPEED = 9
    MOTOR_TEMPERATURE = 10
    CONTROLLER_TEMPERATURE = 11
    LOW_VOLTAGE = 12
    ASSIST_SPEED = 13
    MOTOR_POWER = 14
    OVER_SPEED = 15
    GRIP = 16


class Stop(IntEnum):
    """Why a ride ended."""

    RUNNING = 0
    FINISHED = 1
    PACK_EMPTY = 2
    LOW_VOLTAGE = 3
    STALLED = 4
    OVER_TEMPERATURE = 5
    TIME_LIMIT = 6
    NOT_FINITE = 7


class Ledger(IntEnum):
    """Lines of the energy ledger [J]. Sources positive when they give, sinks positive when they take."""

    CHEMISTRY_OUT = 0
    CHEMISTRY_IN = 1
    RIDER = 2
    PACK_LOSS = 3
    PACK_POLARISATION_STORED = 4
    CONTROLLER_LOSS = 5
    COPPER = 6
    IRON = 7
    STAGES = 8
    PEDAL_CHAIN = 9
    AIR = 10
    ROLLING = 11
    BEARINGS = 12
    FRICTION_BRAKES = 13
    HEIGHT = 14
    KINETIC = 15


class Total(IntEnum):
    """Running figures of a ride: integrals, extremes and where they were met. SI units."""

    TIME = 0
    MOVING_TIME = 1
    DISTANCE = 2
    TERMINAL_OUT = 3
    TERMINAL_IN = 4
    PEAK_DRIVE_CURRENT = 5
    PEAK_BRAKE_CURRENT = 6
    PEAK_PACK_CURRENT = 7
    PEAK_CHARGE_CURRENT = 8
    LOWEST_VOLTAGE = 9
    HIGHEST_VOLTAGE = 10
    TOP_SPEED = 11
    PEAK_WINDING = 12
    PEAK_WINDING_AT = 13
    PEAK_BODY = 14
    PEAK_BODY_AT = 15
    PEAK_CONTROLLER = 16
    PEAK_CONTROLLER_AT = 17
    PEAK_PACK_TEMP = 18
    PEAK_PACK_TEMP_AT = 19
    MOTOR_SQUARE_TIME = 20
    PACK_SQUARE_TIME = 21
    SUSTAINED_MOTOR_SQUARE = 22
    SUSTAINED_PACK_SQUARE = 23
    PEAK_SHAFT_TORQUE = 24
    PEAK_BRAKE_TORQUE = 25
    BRAKING_WANTED = 26
    MOTOR_BRAKING = 27
    WINDING_OVER_SECONDS = 28
    WINDING_OVER_FIRST_AT = 29
    BODY_OVER_SECONDS = 30
    PACK_OVER_SECONDS = 31
    CURVE_LEFT_SECONDS = 32
    PEAK_MECHANICAL_POWER = 33
    CHARGE_OUT = 34
    CHARGE_IN = 35
    SHAFT_WORK = 36
    LOWEST_VOLTAGE_AT = 37
    PEAK_DRIVE_CURRENT_AT = 38
    MEAN_MOTOR_SQUARE = 39
    MEAN_PACK_SQUARE = 40


class Channel(IntEnum):
    """Columns of the recorded trace. SI units."""

    TIME = 0
    DISTANCE = 1
    SPEED = 2
    PLAN_SPEED = 3
    ALTITUDE = 4
    GRADE = 5
    MOTOR_CURRENT = 6
    MOTOR_CURRENT_HIGH = 7
    MOTOR_CURRENT_LOW = 8
    PACK_CURRENT = 9
    PACK_CURRENT_HIGH = 10
    PACK_CURRENT_LOW = 11
    PACK_VOLTAGE = 12
    PACK_VOLTAGE_LOW = 13
    DUTY = 14
    MOTOR_SPEED = 15
    SHAFT_TORQUE = 16
    MOTOR_FORCE = 17
    PEDAL_FORCE = 18
    BRAKE_FORCE = 19
    AIR_FORCE = 20
    ROLLING_FORCE = 21
    GRADE_FORCE = 22
    BEARING_FORCE = 23
    COPPER_POWER = 24
    IRON_POWER = 25
    CONTROLLER_POWER = 26
    WINDING_TEMP = 27
    BODY_TEMP = 28
    CONTROLLER_TEMP = 29
    PACK_TEMP = 30
    CHARGE_FRACTION = 31
    LIMIT = 32
    OPEN_VOLTAGE = 33
    AIR_TEMP = 34


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
    activation: float
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
    ]
)
"""One node of a road; a structured row lies in one cache line and is read by name."""

STOP = np.dtype([("at", "f8"), ("dwell", "f8")])
"""A stop: where [m] and how long [s]."""


def as_record(p: Parameters) -> np.record:
    """Return parameters as one structured record: the compiled step takes it by reference and reads it by name."""
    fields = []
    for name, value in zip(p._fields, p, strict=True):
        if isinstance(value, np.ndarray):
            fields.append((name, "f8", value.shape))
        else:
            fields.append((name, _KINDS[type(value)]))
    record = np.recarray(1, dtype=np.dtype(fields, align=True))
    for name, value in zip(p._fields, p, strict=True):
        record[name][0] = value
    return record[0]


_KINDS: dict[type, str] = {float: "f8", int: "i8", bool: "?"}


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
