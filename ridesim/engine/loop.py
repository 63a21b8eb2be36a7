"""One ride: steps until the road, the pack or the patience ends, with every figure taken at every step."""

from __future__ import annotations

import math

import numpy as np

from ridesim.engine.here import altitude_at, plan_brakes_at
from ridesim.engine.state import (
    Channel,
    Here,
    Ledger,
    Limit,
    Outcome,
    Parameters,
    Pull,
    RoadArrays,
    State,
    Stop,
    Total,
)
from ridesim.engine.step import fade_over, step
from ridesim.jit import kernel
from ridesim.physics import motor

STALL_PATIENCE = 10.0
"""Time without movement, wanting to move, after which a ride counts as stuck [s]."""

STALL_SPEED = 0.05
"""Speed below which a bike counts as not moving [m/s]."""

LOW_VOLTAGE_SHARE = 0.02
"""Share of the motor current left by the low-voltage foldback at which the pack counts as done."""

FINE_STEPS = 16
"""Into how many a step is divided where a limit, or braking, starts or ends inside it: peaks live there."""

DWELL_STEPS = 10
"""How many steps long a step is at most while the bike stands at a stop."""

CALM_STEPS = 10
"""So many steps without a switch and with hardly any acceleration, and the next step is twice as long."""

CALM_ACCELERATION = 0.05
"""What counts as hardly any acceleration [m/s2]: the step's error falls with its square."""

SHORTEST_SHARE = 1e-9
"""Least share of a step that is ridden to a lap's end, so that no step has zero length."""

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
    _MEAN_PACK_SQUARE,
) = (int(member) for member in Total)  # fmt: skip
(
    _CHEMISTRY_OUT, _CHEMISTRY_IN, _RIDER, _PACK_LOSS, _PACK_POLARISATION_STORED, _CONTROLLER_LOSS, _COPPER, _IRON,
    _STAGES, _PEDAL_CHAIN, _AIR, _ROLLING, _BEARINGS, _FRICTION_BRAKES, _HEIGHT, _KINETIC,
) = (int(member) for member in Ledger)  # fmt: skip
_RUNNING, _FINISHED, _PACK_EMPTY, _LOW, _STALLED, _HOT, _LATE, _NOT_FINITE = (int(member) for member in Stop)
_CURRENT_HIGH, _CURRENT_LOW = int(Channel.MOTOR_CURRENT_HIGH), int(Channel.MOTOR_CURRENT_LOW)
_PACK_HIGH, _PACK_LOW = int(Channel.PACK_CURRENT_HIGH), int(Channel.PACK_CURRENT_LOW)
_VOLTAGE_LOW = int(Channel.PACK_VOLTAGE_LOW)
_OVER_SPEED = int(Limit.OVER_SPEED)
_LIMIT_LOW_VOLTAGE = int(Limit.LOW_VOLTAGE)
_SLOW_FACTOR = 1.0 / SUSTAINED_TIME


@kernel
def start_totals(totals: np.ndarray, s: State) -> None:
    """Set every running figure to its start."""
    totals[:] = 0.0
    totals[_LOWEST_VOLTAGE] = math.inf
    totals[_WINDING_OVER_FIRST_AT] = math.nan
    totals[_PEAK_WINDING] = s.winding_temp
    totals[_PEAK_BODY] = s.body_temp
    totals[_PEAK_CONTROLLER] = s.controller_temp
    totals[_PEAK_PACK_TEMP] = s.pack_temp


@kernel
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


@kernel
def _raise(totals: np.ndarray, value_at: int, place_at: int, value: float, x: float) -> None:
    if value > totals[value_at]:
        totals[value_at] = value
        totals[place_at] = x


@kernel
def tally(totals: np.ndarray, p: Parameters, s: State, pull: Pull, out: Outcome, x: float, dt: float) -> None:
    """Take one step into the running figures; x is the distance ridden so far [m]."""
    totals[_TIME] += dt
    totals[_MOVING_TIME] += out.moving if out.travelled > 0.0 else 0.0
    totals[_DISTANCE] = x
    power = out.pack_voltage * out.pack_current * dt
    peak = _pack_current_at_top_speed(p, s, pull, out)
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


@kernel
def _pack_current_at_top_speed(p: Parameters, s: State, pull: Pull, out: Outcome) -> float:
    """Return the pack current at the faster end of the step [A]: where it peaks with the current held."""
    if out.mean_speed <= 0.0:
        return out.pack_current
    faster = abs(s.speed - out.mean_speed) / out.mean_speed
    peak = out.pack_current + out.emf * pull.current * faster / out.pack_voltage
    if p.limits_on:
        return min(max(peak, -p.charge_current), p.pack_current) if pull.limit != _OVER_SPEED else peak
    return peak


@kernel
def _tally_currents(totals: np.ndarray, motor_square: float, pack_square: float, dt: float) -> None:
    totals[_MOTOR_SQUARE_TIME] += motor_square * dt
    totals[_PACK_SQUARE_TIME] += pack_square * dt
    share = dt * _SLOW_FACTOR
    totals[_MEAN_MOTOR_SQUARE] += (motor_square - totals[_MEAN_MOTOR_SQUARE]) * share
    totals[_MEAN_PACK_SQUARE] += (pack_square - totals[_MEAN_PACK_SQUARE]) * share
    totals[_SUSTAINED_MOTOR_SQUARE] = max(totals[_SUSTAINED_MOTOR_SQUARE], totals[_MEAN_MOTOR_SQUARE])
    totals[_SUSTAINED_PACK_SQUARE] = max(totals[_SUSTAINED_PACK_SQUARE], totals[_MEAN_PACK_SQUARE])


@kernel
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


@kernel
def count_limit(seconds: np.ndarray, first_at: np.ndarray, limit: int, x: float, dt: float) -> None:
    """Add dt to the time on a limit, and keep the place where it was first met [m]."""
    if limit == 0:
        return
    if seconds[limit] == 0.0:
        first_at[limit] = x
    seconds[limit] += dt


@kernel
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


@kernel
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


@kernel
def why_stop(p: Parameters, s: State, pull: Pull, out: Outcome, stuck: float, latest: float) -> int:
    """Return the stop code after a step, or RUNNING."""
    if not (math.isfinite(s.speed) and math.isfinite(s.winding_temp) and math.isfinite(out.pack_voltage)):
        return _NOT_FINITE
    if s.charge <= p.charge_floor:
        return _PACK_EMPTY
    if out.pack_voltage <= p.cut_off_voltage:
        return _LOW
    if p.limits_on and p.low_voltage_start > p.low_voltage_end:
        span = p.low_voltage_start - p.low_voltage_end
        if out.pack_voltage <= p.low_voltage_end + LOW_VOLTAGE_SHARE * span:
            return _LOW
    if stuck > STALL_PATIENCE:
        return _LOW if pull.limit == _LIMIT_LOW_VOLTAGE else _STALLED
    if s.winding_temp > p.winding_stop:
        return _HOT
    if s.time >= latest:
        return _LATE
    return _RUNNING


@kernel
def regime_of(pull: Pull, here: Here) -> int:
    """Return a number that changes when a bound, braking or the plan's own braking starts or ends."""
    regime = pull.limit + LIMITS * pull.tyre_limit
    if pull.wanted > 0.0:
        regime += LIMITS * LIMITS
    if here.plan_acceleration < 0.0:
        regime += 2 * LIMITS * LIMITS
    return regime


@kernel
def about_to_switch(
    p: Parameters, road: RoadArrays, after: State, pull: Pull, here: Here, margin: float, dt: float
) -> bool:
    """Return whether the next step will leave a limit, or start to brake for the plan.

    `margin` is how far the asked current passed the limit one step ago [A]; its trend is drawn on for one step.
    """
    if pull.limit != 0 and 2.0 * (abs(pull.asked) - abs(pull.current)) <= margin:
        return True
    if road.cycle_speed.size > 1 or after.dwell_left > 0.0:
        return False
    ahead = after.distance + 0.5 * dt * after.speed
    return plan_brakes_at(road, p, after, ahead) != (here.plan_acceleration < 0.0)


@kernel
def lap_share(road: RoadArrays, before: State, after: State) -> float:
    """Return the share of the step after which the lap ends, or 2 if it goes on."""
    if road.cycle_speed.size > 1:
        end = road.cycle_step * (road.cycle_speed.size - 1)
        if after.lap_time < end:
            return 2.0
        return (end - before.lap_time) / (after.lap_time - before.lap_time)
    if after.distance < road.length:
        return 2.0
    return (road.length - before.distance) / (after.distance - before.distance)


@kernel
def restart(s: State) -> State:
    """Return the state at the road's start again: everything but place, lap clock and stops is kept."""
    return State(
        s.time, 0.0, 0.0, s.speed, s.acceleration, s.charge, s.polarisation, s.winding_temp, s.body_temp,
        s.controller_temp, s.pack_temp, s.rotor_energy, s.cooling_speed, s.cooling, 0.0, 0,
    )  # fmt: skip


@kernel
def ride(
    p: Parameters, road: RoadArrays, s: State, dt: float, laps: int, latest: float, every: int,
    trace: np.ndarray, totals: np.ndarray, ledger: np.ndarray, limit_seconds: np.ndarray, limit_first: np.ndarray,
    brake_by_limit: np.ndarray,
) -> tuple[State, int, int]:  # fmt: skip
    """Ride a road `laps` times from state s; return the last state, the stop code and the rows written.

    dt [s] is the step where something happens: a limit or braking that starts or ends divides it, calm riding doubles
    it. latest: time at which patience ends [s]; every: steps a row. trace (rows, channels), totals, ledger [J],
    limit_seconds [s], limit_first [m] and brake_by_limit (friction brake energy by the limit that kept the motor from
    braking, J) are filled in place; no trace is kept where it has no rows.
    """
    start_totals(totals, s)
    twice, whole, fine = fade_over(p, 2.0 * dt), fade_over(p, dt), fade_over(p, dt / FINE_STEPS)
    calm = 0
    rows, lap, fine_left, regime, code, fresh = 0, 0, 0, -1, _RUNNING, True
    stuck, ridden, margin, next_row = 0.0, 0.0, 0.0, s.time + every * dt
    while code == _RUNNING:
        over = fine if fine_left > 0 else (twice if calm >= CALM_STEPS else whole)
        dwelling = s.dwell_left > 0.0
        if dwelling:
            over = fade_over(p, min(s.dwell_left, DWELL_STEPS * dt))
            fine_left = 0
        cut, halted = False, False
        while True:
            after, pull, out, here = step(p, road, s, over)
            now = regime_of(pull, here)
            share = lap_share(road, s, after)
            switches = now != regime or about_to_switch(p, road, after, pull, here, margin, dt)
            if switches and fine_left == 0 and over.step >= dt and not dwelling:
                fine_left, over = 3 * FINE_STEPS, fine
            elif share < 1.0 and not cut:
                cut, over = True, fade_over(p, over.step * max(share, SHORTEST_SHARE))
            elif s.speed > 0.0 and after.speed == 0.0 and out.moving < over.step and not halted:
                halted, over = True, fade_over(p, max(out.moving, over.step * SHORTEST_SHARE))
            else:
                break
        steady = fine_left == 0 and abs(after.acceleration) <= CALM_ACCELERATION
        calm = calm + 1 if steady else 0
        regime, margin = now, abs(pull.asked) - abs(pull.current)
        fine_left = max(fine_left - 1, 0)
        h = over.step
        ridden += out.travelled
        book(ledger, p, pull, out, h)
        tally(totals, p, after, pull, out, ridden, h)
        count_limit(limit_seconds, limit_first, pull.limit, ridden, h)
        count_limit(limit_seconds, limit_first, pull.tyre_limit, ridden, h)
        brake_by_limit[pull.limit] += pull.brake_force * out.travelled
        stuck = stuck + h if pull.wanted > 0.0 and after.speed < STALL_SPEED else 0.0
        if share <= 1.0 or cut:
            lap += 1
        code = why_stop(p, after, pull, out, stuck, latest)
        if code == _RUNNING and lap >= laps:
            code = _FINISHED
        if rows < trace.shape[0]:
            keep_extremes(trace[rows], pull, out, fresh)
            fresh = False
            if after.time >= next_row - 0.5 * h or code != _RUNNING or cut:
                record(trace[rows], p, road, after, pull, out, here, ridden)
                rows, next_row, fresh = rows + 1, after.time + every * dt, True
        s = restart(after) if share <= 1.0 or cut else after
    return s, code, rows
