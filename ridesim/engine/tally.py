"""What is written down at every step: the ledger, running figures, times on limits, and rows of the trace."""

from __future__ import annotations

import math

import numpy as np

from ridesim.engine.here import altitude_at
from ridesim.engine.state import Channel, Here, Ledger, Limit, Outcome, Parameters, Pull, RoadArrays, State, Total
from ridesim.jit import inner_kernel
from ridesim.physics import motor

SUSTAINED_TIME = 60.0
"""Time constant of the running mean behind the sustained currents [s]."""

LEDGER_LINES = len(Ledger)
TOTALS = len(Total)
LIMITS = len(Limit)
CHANNELS = len(Channel)

# Plain integers for the compiled code: an enum member is an object there.
(
    _TIME, _MOVING_TIME, _DISTANCE, _TERMINAL_OUT, _TERMINAL_IN, _PEAK_DRIVE_CURRENT, _PEAK_BRAKE_CURRENT,
    _PEAK_PACK_CURRENT, _PEAK_CHARGE_CURRENT, _LOWEST_VOLTAGE, _HIGHEST_VOLTAGE, _TOP_SPEED, _PEAK_WINDING,
    _PEAK_WINDING_AT, _PEAK_BODY, _PEAK_BODY_AT, _PEAK_CONTROLLER, _PEAK_CONTROLLER_AT, _PEAK_PACK_TEMP,
    _PEAK_PACK_TEMP_AT, _MOTOR_SQUARE_TIME, _PACK_SQUARE_TIME, _SUSTAINED_MOTOR_SQUARE, _SUSTAINED_PACK_SQUARE,
    _PEAK_SHAFT_TORQUE, _PEAK_BRAKE_TORQUE, _BRAKING_WANTED, _MOTOR_BRAKING, _WINDING_OVER_SECONDS,
    _WINDING_OVER_FIRST_AT, _BODY_OVER_SECONDS, _PACK_OVER_SECONDS, _CURVE_LEFT_SECONDS, _PEAK_MECHANICAL_POWER,
    _CHARGE_OUT, _CHARGE_IN, _SHAFT_WORK, _LOWEST_VOLTAGE_AT, _PEAK_DRIVE_CURRENT_AT, _MEAN_MOTOR_SQUARE,
    _MEAN_PACK_SQUARE, _LAST_LIMIT,
) = (int(member) for member in Total)  # fmt: skip
(
    _CHEMISTRY_OUT, _CHEMISTRY_IN, _RIDER, _PACK_LOSS, _PACK_POLARISATION_STORED, _CONTROLLER_LOSS, _COPPER, _IRON,
    _STAGES, _PEDAL_CHAIN, _AIR, _ROLLING, _BEARINGS, _FRICTION_BRAKES, _HEIGHT, _KINETIC,
) = (int(member) for member in Ledger)  # fmt: skip
_CURRENT_HIGH, _CURRENT_LOW = int(Channel.MOTOR_CURRENT_HIGH), int(Channel.MOTOR_CURRENT_LOW)
_PACK_HIGH, _PACK_LOW = int(Channel.PACK_CURRENT_HIGH), int(Channel.PACK_CURRENT_LOW)
_VOLTAGE_LOW = int(Channel.PACK_VOLTAGE_LOW)
_OVER_SPEED = int(Limit.OVER_SPEED)
_SLOW_FACTOR = 1.0 / SUSTAINED_TIME


@inner_kernel
def start_totals(totals: np.ndarray, s: State) -> None:
    """Set every running figure to its start."""
    totals[:] = 0.0
    totals[_LOWEST_VOLTAGE] = math.inf
    totals[_WINDING_OVER_FIRST_AT] = math.nan
    totals[_PEAK_WINDING] = s.winding_temp
    totals[_PEAK_BODY] = s.body_temp
    totals[_PEAK_CONTROLLER] = s.controller_temp
    totals[_PEAK_PACK_TEMP] = s.pack_temp


@inner_kernel
def book(ledger: np.ndarray, p: Parameters, pull: Pull, out: Outcome, dt: float) -> None:
    """Write one step into the energy ledger [J]."""
    x = out.travelled
    pedal = pull.pedal_force * x
    gained = pull.spin_up * out.shaft * dt
    ledger[_CHEMISTRY_OUT if out.chemistry >= 0.0 else _CHEMISTRY_IN] += abs(out.chemistry)
    ledger[_RIDER] += pedal / p.pedal_efficiency
    ledger[_PEDAL_CHAIN] += pedal / p.pedal_efficiency - pedal
    ledger[_PACK_LOSS] += out.fast_loss + out.slow_loss
    ledger[_PACK_POLARISATION_STORED] += out.polarisation_stored
    ledger[_CONTROLLER_LOSS] += out.controller * dt
    ledger[_COPPER] += out.copper * dt
    ledger[_IRON] += out.iron * dt + out.rotor_lost
    ledger[_STAGES] += out.shaft * dt - gained - pull.motor_force * x
    ledger[_AIR] += pull.air_force * x
    ledger[_ROLLING] += pull.rolling_force * x
    ledger[_BEARINGS] += pull.bearing_force * x
    ledger[_FRICTION_BRAKES] += pull.brake_force * x
    ledger[_HEIGHT] += pull.grade_force * x
    ledger[_KINETIC] += out.kinetic


@inner_kernel
def _raise(totals: np.ndarray, value_at: int, place_at: int, value: float, x: float) -> None:
    if value > totals[value_at]:
        totals[value_at] = value
        totals[place_at] = x


@inner_kernel
def tally(
    totals: np.ndarray, p: Parameters, s: State, pull: Pull, out: Outcome, here: Here, x: float, dt: float
) -> None:
    """Take one step into the running figures; x is the distance ridden so far [m]."""
    totals[_TIME] += dt
    totals[_MOVING_TIME] += out.moving if out.travelled > 0.0 else 0.0
    totals[_DISTANCE] = x
    totals[_LAST_LIMIT] = pull.limit
    power = out.pack_voltage * out.pack_current * dt
    faster = _faster_end(s, out, here)
    peak = _peak_pack_current(p, pull, out, faster)
    if power >= 0.0:
        totals[_TERMINAL_OUT] += power
        totals[_CHARGE_OUT] += out.pack_current * dt
        totals[_PEAK_PACK_CURRENT] = max(totals[_PEAK_PACK_CURRENT], peak)
    else:
        totals[_TERMINAL_IN] -= power
        totals[_CHARGE_IN] -= out.pack_current * dt
        totals[_PEAK_CHARGE_CURRENT] = max(totals[_PEAK_CHARGE_CURRENT], -peak)
    _raise(totals, _PEAK_DRIVE_CURRENT, _PEAK_DRIVE_CURRENT_AT, pull.current, x)
    totals[_PEAK_BRAKE_CURRENT] = max(totals[_PEAK_BRAKE_CURRENT], -pull.current)
    if out.pack_voltage < totals[_LOWEST_VOLTAGE]:
        totals[_LOWEST_VOLTAGE] = out.pack_voltage
        totals[_LOWEST_VOLTAGE_AT] = x
    totals[_HIGHEST_VOLTAGE] = max(totals[_HIGHEST_VOLTAGE], out.pack_voltage)
    totals[_TOP_SPEED] = max(totals[_TOP_SPEED], s.speed)
    _raise(totals, _PEAK_WINDING, _PEAK_WINDING_AT, s.winding_temp, x)
    _raise(totals, _PEAK_BODY, _PEAK_BODY_AT, s.body_temp, x)
    _raise(totals, _PEAK_CONTROLLER, _PEAK_CONTROLLER_AT, s.controller_temp, x)
    _raise(totals, _PEAK_PACK_TEMP, _PEAK_PACK_TEMP_AT, s.pack_temp, x)
    _tally_currents(totals, pull.current * pull.current, out.pack_current * out.pack_current, dt)
    totals[_PEAK_SHAFT_TORQUE] = max(totals[_PEAK_SHAFT_TORQUE], pull.shaft_torque)
    totals[_PEAK_BRAKE_TORQUE] = max(totals[_PEAK_BRAKE_TORQUE], -pull.shaft_torque)
    totals[_PEAK_MECHANICAL_POWER] = max(totals[_PEAK_MECHANICAL_POWER], out.shaft)
    totals[_SHAFT_WORK] += max(out.shaft, 0.0) * dt
    if pull.wanted < 0.0:
        totals[_BRAKING_WANTED] -= pull.wanted * out.travelled
        totals[_MOTOR_BRAKING] -= min(pull.motor_force, 0.0) * out.travelled
    _tally_passed_limits(totals, p, s, x, dt)


@inner_kernel
def _faster_end(s: State, out: Outcome, here: Here) -> float:
    """Return by which share the step's faster end is faster than its mean, where powers peak with the current held.

    A limit lets go within half a step of that end, before it or after. In a bend the current is not held.
    """
    if out.mean_speed <= 0.0 or (here.plan_acceleration < 0.0 and not here.for_stop):
        return 0.0
    return abs(s.speed - out.mean_speed) / out.mean_speed


@inner_kernel
def _peak_pack_current(p: Parameters, pull: Pull, out: Outcome, faster: float) -> float:
    """Return the pack current at the faster end of the step [A]. A limit on the pack current is not passed."""
    peak = out.pack_current + out.emf * pull.current * faster / out.pack_voltage
    if p.limits_on and pull.limit != _OVER_SPEED:
        return min(max(peak, min(-p.charge_current, out.pack_current)), max(p.pack_current, out.pack_current))
    return peak


@inner_kernel
def _tally_currents(totals: np.ndarray, motor_square: float, pack_square: float, dt: float) -> None:
    totals[_MOTOR_SQUARE_TIME] += motor_square * dt
    totals[_PACK_SQUARE_TIME] += pack_square * dt
    share = dt * _SLOW_FACTOR
    totals[_MEAN_MOTOR_SQUARE] += (motor_square - totals[_MEAN_MOTOR_SQUARE]) * share
    totals[_MEAN_PACK_SQUARE] += (pack_square - totals[_MEAN_PACK_SQUARE]) * share
    totals[_SUSTAINED_MOTOR_SQUARE] = max(totals[_SUSTAINED_MOTOR_SQUARE], totals[_MEAN_MOTOR_SQUARE])
    totals[_SUSTAINED_PACK_SQUARE] = max(totals[_SUSTAINED_PACK_SQUARE], totals[_MEAN_PACK_SQUARE])


@inner_kernel
def _tally_passed_limits(totals: np.ndarray, p: Parameters, s: State, x: float, dt: float) -> None:
    if s.winding_temp > p.winding_limit:
        if totals[_WINDING_OVER_SECONDS] == 0.0:
            totals[_WINDING_OVER_FIRST_AT] = x
        totals[_WINDING_OVER_SECONDS] += dt
    if s.body_temp > p.body_limit:
        totals[_BODY_OVER_SECONDS] += dt
    if s.pack_temp > p.pack_temp_limit:
        totals[_PACK_OVER_SECONDS] += dt
    if s.charge < 0.0 or s.charge > 1.0:
        totals[_CURVE_LEFT_SECONDS] += dt


@inner_kernel
def count_limit(seconds: np.ndarray, first_at: np.ndarray, limit: int, x: float, dt: float) -> None:
    """Add dt to the time on a limit, and keep the place where it was first met [m]."""
    if limit == 0:
        return
    if seconds[limit] == 0.0:
        first_at[limit] = x
    seconds[limit] += dt


@inner_kernel
def record(
    row: np.ndarray, p: Parameters, road: RoadArrays, s: State, pull: Pull, out: Outcome, here: Here, x: float
) -> None:
    """Write one row of the trace; the interval's extremes are kept by `keep_extremes`."""
    spread = motor.voltage_squared(out.emf, pull.current, out.resistance, p.pole_pairs * out.motor_speed * p.inductance)
    duty = math.sqrt(spread) / out.pack_voltage
    values = (
        s.time,
        x,
        s.speed,
        here.plan_speed,
        altitude_at(road, s.distance),
        here.sin_theta / here.cos_theta,
        pull.current,
        row[_CURRENT_HIGH],
        row[_CURRENT_LOW],
        out.pack_current,
        row[_PACK_HIGH],
        row[_PACK_LOW],
        out.pack_voltage,
        row[_VOLTAGE_LOW],
        duty,
        out.motor_speed,
        pull.shaft_torque,
        pull.motor_force,
        pull.pedal_force,
        pull.brake_force,
        pull.air_force,
        pull.rolling_force,
        pull.grade_force,
        pull.bearing_force,
        out.copper,
        out.iron,
        out.controller,
        s.winding_temp,
        s.body_temp,
        s.controller_temp,
        s.pack_temp,
        s.charge,
        float(pull.limit),
        out.open_voltage,
        here.air_temp,
    )
    for channel in range(CHANNELS):
        row[channel] = values[channel]


@inner_kernel
def keep_extremes(row: np.ndarray, pull: Pull, out: Outcome, fresh: bool) -> None:
    """Keep highest and lowest currents and the lowest voltage since the last row, so that no peak is lost."""
    if fresh:
        row[_CURRENT_HIGH] = row[_CURRENT_LOW] = pull.current
        row[_PACK_HIGH] = row[_PACK_LOW] = out.pack_current
        row[_VOLTAGE_LOW] = out.pack_voltage
        return
    row[_CURRENT_HIGH] = max(row[_CURRENT_HIGH], pull.current)
    row[_CURRENT_LOW] = min(row[_CURRENT_LOW], pull.current)
    row[_PACK_HIGH] = max(row[_PACK_HIGH], out.pack_current)
    row[_PACK_LOW] = min(row[_PACK_LOW], out.pack_current)
    row[_VOLTAGE_LOW] = min(row[_VOLTAGE_LOW], out.pack_voltage)
