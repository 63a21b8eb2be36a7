"""What the step reads and what it leaves behind: parameters, road, state, channels, limits and stops, all by name.

Legend: SI inside, the unit of every field behind it: m, s, kg, N, V, A, W, J, rad/s, ohm; temperatures in degC; no unit
means dimensionless. Signs: distance forward, grade up +, headwind +, motor torque + drives, pack current + leaves the
pack, heat + into the node. Letters as in `physics/`.
"""

from __future__ import annotations

import functools
from typing import Any, NamedTuple, cast

import numpy as np

from ridesim.engine.codes import Channel, Law, Ledger, Limit, Stop, Total

__all__ = [
    "NODE", "STOP", "Asked", "Channel", "Fade", "Here", "Law", "Ledger", "Limit", "MotorNow", "MotorPull", "Outcome",
    "PackNow", "Parameters", "Pull", "RoadArrays", "State", "Stop", "Total", "as_record",
    "as_records", "record_and_room", "state_of",
]  # fmt: skip


class Parameters(NamedTuple):
    """One bike on one day, as plain numbers in SI. Lower-case Greek and `per_` as in the legends of `physics/`."""

    # bike
    mass: float  # [kg]
    mass_coasting: float  # with the wheels' inertia, and a fixed drive's rotor [kg]
    mass_driving: float  # with the rotor's inertia [kg]
    per_mass_coasting: float  # [1/kg]
    per_mass_driving: float  # [1/kg]
    drag_area: float  # CdA [m2]
    crr: float  # the tyre's own; the road's nodes carry theirs
    drive_grip: float  # largest propulsive force on the level, grip or front lift [N]
    pedal_share: float  # of the pedal force that counts against it: 1 at the same wheel (dimensionless)
    motor_brake_grip: float  # largest braking force of the motor's wheel on the level [N]
    both_brakes_grip: float  # largest braking force of both wheels on the level [N]
    # rider
    pedal_efficiency: float  # of the pedal chain
    pedal_force_bound: float  # at the wheel, from the crank torque in the lowest gear [N]
    response_rate: float  # one over the driver's response time [1/s]
    braking: float  # planned deceleration, > 0 [m/s2]
    pace: float  # no faster than this, whatever the plan [m/s]
    walker_power: float  # beside that of the pedals, of a rider on foot [W]
    on_foot: bool  # whether these are the numbers of a bike that is pushed
    push_length: float  # longest ramp that is pushed up; 0: none [m]
    push_force: float  # of a rider on foot [N]
    push_speed: float  # [m/s]
    rider_mass: float  # [kg]
    # drive
    turned: float  # motor radians per metre of road, G/r [1/m]
    driving_gain: float  # wheel force per shaft torque, G eta/r [1/m]
    braking_gain: float  # G/(eta r) [1/m]
    per_driving_gain: float  # [m]
    per_braking_gain: float  # [m]
    efficiency: float  # eta of all stages
    stage_drag_driving: float  # the stages' drag at the motor shaft while driving [N m]
    stage_drag_braking: float  # and while braking [N m]
    freewheel: bool
    rotor_inertia: float  # J [kg m2]
    # gears; what stands in `engine.gears.GEARED` is that of the gear that is in
    gears: int  # how many
    shift_time: float  # without force [s]
    shifts_standing: bool
    through_chain: bool  # whether the rider pedals the chain that the motor drives
    mass_shifting: float  # with the wheels' inertia alone [kg]
    per_mass_shifting: float  # [1/kg]
    shift_up_speed: float  # road speed at which this gear is left for the next [m/s]
    shift_down_speed: float  # [m/s]
    input_per_force: float  # torque into the gears per wheel force; 0: neither gears nor pedal chain [m]
    # beside another drive
    beside_share: float  # of the other's driving force that counts against this one's grip
    beside_share_braking: float  # and of its braking force
    room_share: float  # of what the full pack still takes, that this drive may charge with whatever the other does
    common_duty: float  # duty at a planned speed that both drives share, over that of this one alone; 1: one drive
    # motor
    torque_constant: float  # K at 20 degC [N m/A] = [V s/rad]
    magnet_per_k: float  # change of K with body temperature [1/K]
    resistance: float  # R line to line at 20 degC [ohm]
    inductance: float  # L line to line, of the q axis [H]
    salience: float  # L_q/L_d; 1: magnets on the surface
    reluctance: float  # p (L_q - L_d): torque per current and field current [N m/A2]
    pole_pairs: float
    tau_0: float  # hysteresis and bearings [N m]
    tau_1: float  # eddy currents and windage [N m s/rad]
    winding_k_per_j: float  # 1/C_w [K/J]
    body_k_per_j: float  # 1/C_b [K/J]
    winding_to_body: float  # G_wb [W/K]
    cooling_still: float  # g_0 [W/K]
    cooling_moving: float  # g_1 [W/K per (m/s)^n]
    cooling_exponent: float  # n
    enclosure: float  # share of the cooling that a cover leaves
    winding_limit: float  # of the insulation class [degC]
    body_limit: float  # of the magnet grade [degC]
    winding_stop: float  # at which the ride ends [degC]
    # controller; motor currents DC-equivalent
    law: int  # a `Law`
    limits_on: bool
    throttle: float  # 0 to 1; negative: follow the speed plan
    drive_current: float  # [A]
    brake_current: float  # [A]
    field_current: float  # most d-axis current against the magnets; 0: no field weakening [A]
    pack_current: float  # out of the pack [A]
    charge_current: float  # into the pack [A]
    charge_voltage: float  # [V]
    low_voltage_start: float  # full current above [V]
    low_voltage_end: float  # no current below [V]
    duty: float  # largest modulation, motor voltage over pack voltage
    top_electrical_speed: float  # road speed at the electrical frequency limit [m/s]
    motor_fold_start: float  # winding, full current below [degC]
    motor_fold_end: float  # no current above; equal to the start: off [degC]
    controller_fold_start: float  # [degC]
    controller_fold_end: float  # [degC]
    assist_factor: float  # motor power over pedal power, under the assist law
    assist_speed: float  # legal limit [m/s]
    shaft_power: float  # limit [W]
    standby: float  # P_s [W]
    on_resistance: float  # R_on [ohm]
    switching: float  # k, loss per |I| V
    controller_k_per_j: float  # 1/C [K/J]
    controller_to_air: float  # G [W/K]
    # pack
    charge_per_coulomb: float  # charge fraction per coulomb [1/C]
    cell_resistance: float  # of the whole pack's cells, at 25 degC [ohm]
    wiring_resistance: float  # [ohm]
    polarisation_resistance: float  # R_rc at 25 degC [ohm]
    polarisation_time: float  # R_rc C [s]
    activation: float  # of the fast resistance [J/mol]
    slow_activation: float  # of the polarisation resistance [J/mol]
    cold_share: float  # of the charge out of reach at 1C, per growth of a diffusion time since 20 degC; 0: none
    cold_activation: float  # of that diffusion [J/mol]
    per_one_c: float  # one over the current that empties the pack in an hour [1/A]
    charge_floor: float  # charge fraction at which the pack counts as empty
    cut_off_voltage: float  # [V]
    pack_k_per_j: float  # 1/C [K/J]
    pack_to_air: float  # G [W/K]
    pack_temp_limit: float  # [degC]
    open_voltage: np.ndarray  # of the pack, on an even grid of charge [V]
    resistance_curve: np.ndarray  # factor on `cell_resistance`, on the same grid
    gear_table: np.ndarray  # the numbers of `engine.gears.GEARED`, gear by gear; zeros where there is one only
    # no part of a record
    second: Parameters | None = None  # of the other one of two different drives


RECORDED = Parameters._fields[:-1]
"""The parameters that a record holds: all but a second drive's, which has a record of its own."""


class RoadArrays(NamedTuple):
    """A road on an even grid, as the step reads it. SI units."""

    length: float  # [m]
    per_spacing: float  # [1/m]
    nodes: np.ndarray  # (n,) of NODE
    stops: np.ndarray  # (k,) of STOP
    cycle_step: float  # [s]
    cycle_speed: np.ndarray  # (m,) [m/s], or empty


NODE = np.dtype(
    [
        ("altitude", "f8"),  # [m]
        ("sin_theta", "f8"),
        ("cos_theta", "f8"),
        ("air_density", "f8"),  # [kg/m3]
        ("air_temp", "f8"),  # [degC]
        ("headwind", "f8"),  # at rider height [m/s]
        ("crosswind", "f8"),  # [m/s]
        ("rolling", "f8"),  # rolling coefficient
        ("pedal_power", "f8"),  # of the rider while pedalling [W]
        ("plan_square", "f8"),  # square of the planned speed [m2/s2]
        ("plan_slope", "f8"),  # its rise over one spacing [m2/s2]
        ("plan_braking", "f8"),  # the plan's own deceleration, <= 0 [m/s2]
    ]
)
"""One node of a road; a structured row lies in one cache line and is read by name."""

STOP = np.dtype([("at", "f8"), ("dwell", "f8"), ("braked_from", "f8")])
"""A stop: where [m] and how long [s], and from where on the plan brakes for it [m]; -inf: not known."""


def as_record(p: Parameters) -> Parameters:
    """Return parameters as one structured record: the compiled step takes it by reference and reads it by name."""
    return record_and_room(p)[0]


def record_and_room(p: Parameters) -> tuple[Parameters, np.ndarray]:
    """Return parameters as a record, and room for another one, (1,): a ride writes into both."""
    if isinstance(p, np.record):
        # Into the record it writes only the gear that is in.
        return cast(Parameters, p.copy()) if p.gears > 1 else p, np.empty(1, dtype=p.dtype)
    both: Any = np.empty(2, dtype=_layout(p.open_voltage.shape, p.resistance_curve.shape, p.gear_table.shape))
    both[0] = tuple(p[:-1])
    return both[0], both[1:]


def as_records(p: Parameters, rows: range) -> np.ndarray:
    """Return some rows of parameters as one record each; numbers may be columns, tables have one line a row then.

    A second drive has records of its own, of `p.second`.
    """
    values: dict[str, Any] = dict(zip(RECORDED, p[:-1], strict=True))
    records = np.recarray(len(rows), dtype=_layout(*(np.shape(values[name])[-1:] for name in TABLES)))
    for name, value in values.items():
        is_column = np.ndim(value) > (name in TABLES)
        records[name] = value[rows.start : rows.stop] if is_column else value
    return records


TABLES = ("open_voltage", "resistance_curve", "gear_table")
"""The parameters that are tables."""


@functools.cache
def _layout(*shapes: tuple[int, ...]) -> np.dtype[np.void]:
    """Return the layout of a record whose tables have these shapes; what is taken out of an array of it is a record."""
    written = (getattr(Parameters.__annotations__[name], "__forward_arg__", "") for name in RECORDED)
    kinds = (_KINDS.get(kind, "f8") for kind in written)
    of_tables = dict(zip(TABLES, shapes, strict=True))
    fields = [(name, kind, of_tables.get(name, ())) for name, kind in zip(RECORDED, kinds, strict=True)]
    return np.dtype((np.record, np.dtype(fields, align=True)))


_KINDS = {"int": "i8", "bool": "?"}


class State(NamedTuple):
    """Where the ride stands between two steps."""

    time: float  # [s]
    lap_time: float  # [s]
    distance: float  # along this lap [m]
    speed: float  # [m/s]
    acceleration: float  # of the last step [m/s2]
    charge: float  # fraction
    polarisation: float  # v_rc [V]
    winding_temp: float  # [degC]
    body_temp: float  # [degC]
    controller_temp: float  # [degC]
    pack_temp: float  # [degC]
    rotor_energy: float  # of a freewheel drive's rotor, or of any that a shift has cut off [J]
    cooling_speed: float  # at which the body's cooling was last taken [m/s]
    cooling: float  # [W/K]
    dwell_left: float  # [s]
    shift_left: float  # of the shift into `gear` [s]
    gear: int  # the lowest is 0
    stop_index: int
    second: Any = None  # of a bike of two different drives: SecondState


STATE_NUMBERS = len(State._fields) - 1
"""How many numbers hold the state of a bike of one drive."""


def numbers_of(state: State) -> list[Any]:
    """Return the state of a bike of one drive as numbers, or columns of them: `STATE_NUMBERS`."""
    return list(state[:STATE_NUMBERS])


def state_of(row: np.ndarray) -> State:
    """Return the state that one row of numbers holds, (STATE_NUMBERS,)."""
    *numbers, gear, stop_index = row.tolist()
    return State._make([*numbers, int(gear), int(stop_index), None])


class Here(NamedTuple):
    """The road at one place."""

    sin_theta: float
    cos_theta: float
    air_density: float  # [kg/m3]
    air_temp: float  # [degC]
    headwind: float  # [m/s]
    crosswind: float  # [m/s]
    rolling: float
    pedal_power: float  # [W]
    plan_speed: float  # [m/s]
    plan_acceleration: float  # [m/s2]
    for_stop: bool  # whether the plan brakes for a stop


class Fade(NamedTuple):
    """How the polarisation moves over one step length."""

    step: float  # dt [s]
    rate: float  # 1/dt [1/s]
    share: float  # mean of exp(-t/tau) over the step
    fade: float  # exp(-dt/tau)


class PackNow(NamedTuple):
    """The pack over one step."""

    open_circuit: float  # [V]
    fast_resistance: float  # R_0 [ohm]
    voltage: float  # U, behind the resistance, polarisation taken off [V]
    resistance: float  # r, R_0 and the step's share of the slow one [ohm]
    slow_resistance: float  # R_rc [ohm]


class MotorNow(NamedTuple):
    """The motor at one speed and its present temperatures."""

    torque_constant: float  # K [N m/A]
    emf: float  # E [V]
    resistance: float  # R [ohm]
    reactance: float  # X [ohm]
    iron_torque: float  # tau_0 + tau_1 omega [N m]


class Asked(NamedTuple):
    """The motor current of a step, what was asked before the bounds, and the bounds that hold."""

    current: float  # [A]
    asked: float  # [A]
    limit: Limit
    tyre_limit: Limit  # GRIP or NONE


class MotorPull(NamedTuple):
    """What one motor does in a step; fields as in `Pull`."""

    current: float
    field: float
    shaft_torque: float
    iron_torque: float
    force: float  # at the wheel, + drives [N]
    asked: float
    spin_up: float
    coupled: bool
    limit: Limit
    tyre_limit: Limit


class Pull(NamedTuple):
    """The command of one step: current, forces and the bound that holds them. Forces + in their own direction."""

    current: float  # I [A]
    field: float  # d-axis current against the magnets, >= 0 [A]
    shaft_torque: float  # K I less iron [N m]
    iron_torque: float  # of a rotor that turns [N m]
    motor_force: float  # at the wheel, of both drives where there are two, + drives [N]
    pedal_force: float  # [N]
    brake_force: float  # of the friction brakes; of a bike that is held, < 0 where it would roll back [N]
    air_force: float  # + holds back [N]
    rolling_force: float  # [N]
    grade_force: float  # + uphill [N]
    bearing_force: float  # [N]
    mass: float  # that is sped up [kg]
    per_mass: float  # [1/kg]
    wanted: float  # wheel force [N]
    asked: float  # motor current before the bounds [A]
    spin_up: float  # share of the shaft work that first speeds up a freewheel drive's rotor
    coupled: bool  # whether the rotor turns with the wheel
    held: bool  # whether the bike stands still, by its brake or the rider's foot
    limit: Limit
    tyre_limit: Limit  # GRIP or NONE
    second: Any  # of two different drives: SecondPull; else None


class Outcome(NamedTuple):
    """What one step did: the operating point at its mean speed."""

    travelled: float  # [m]
    moving: float  # the part of the step before a halt [s]
    mean_speed: float  # [m/s]
    motor_speed: float  # omega [rad/s]
    resistance: float  # R [ohm]
    emf: float  # E [V]
    pack_voltage: float  # V [V]
    pack_current: float  # I_b, of both drives [A]
    open_voltage: float  # [V]
    copper: float  # [W]
    iron: float  # [W]
    controller: float  # [W]
    shaft: float  # [W]
    fast_loss: float  # [J]
    slow_loss: float  # [J]
    polarisation_stored: float  # [J]
    chemistry: float  # [J]
    kinetic: float  # [J]
    rotor_lost: float  # [J]
    shifted: float  # what a rotor loses to another gear's speed [J]
    halted: float  # what the brake takes of the last millimetres a second [J]
    fast_resistance: float  # cells and wires together, of this instant [ohm]
    slow_resistance: float  # R_rc [ohm]
    second: Any  # of two different drives: SecondOutcome; else None
