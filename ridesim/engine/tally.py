"""What is written down at every step: the ledger, running figures, times on limits, and rows of the trace.

Legend: x distance ridden, laps added up [m], dt step [s], energies in J; the units of totals and channels stand beside
their names in `codes`.
"""

from __future__ import annotations

import math

import numpy as np

from ridesim.bike.gears import MOST_GEARS
from ridesim.engine.here import altitude_at
from ridesim.engine.pair import Second, SecondOutcome, SecondPull
from ridesim.engine.second import first_force, second_bike
from ridesim.engine.state import Channel, Here, Ledger, Limit, Outcome, Parameters, Pull, RoadArrays, State, Total
from ridesim.jit import if_none, inner_kernel, rare_kernel
from ridesim.physics.motor import voltage_squared_with_field

SUSTAINED_TIME = 60.0
"""Time constant of the running mean behind the sustained currents [s]."""

LEDGER_LINES = len(Ledger)
TOTALS = len(Total) - 1 + MOST_GEARS
"""The last of `Total` has room for every gear behind it."""
LIMITS = len(Limit)
CHANNELS = len(Channel)


@inner_kernel
def start_totals(totals: np.ndarray, s: State) -> None:
    """Set every running figure to its start."""
    totals[:] = 0.0
    totals[Total.LOWEST_VOLTAGE] = math.inf
    totals[Total.WINDING_OVER_FIRST_AT] = math.nan
    totals[Total.PEAK_WINDING] = s.winding_temp
    totals[Total.PEAK_BODY] = s.body_temp
    totals[Total.PEAK_CONTROLLER] = s.controller_temp
    totals[Total.PEAK_PACK_TEMP] = s.pack_temp
    totals[Total.HIGHEST_CHARGE] = s.charge


@inner_kernel
def book(ledger: np.ndarray, p: Parameters, pull: Pull, out: Outcome, dt: float) -> None:
    """Write one step into the energy ledger [J]."""
    x = out.travelled
    pedal = pull.pedal_force * x
    ledger[Ledger.CHEMISTRY_OUT if out.chemistry >= 0.0 else Ledger.CHEMISTRY_IN] += abs(out.chemistry)
    ledger[Ledger.WALKER if p.on_foot else Ledger.RIDER] += pedal / p.pedal_efficiency
    ledger[Ledger.PEDAL_CHAIN] += pedal / p.pedal_efficiency - pedal
    ledger[Ledger.PACK_LOSS] += out.fast_loss + out.slow_loss
    ledger[Ledger.PACK_POLARISATION_STORED] += out.polarisation_stored
    book_motor(ledger, out, pull.spin_up * out.shaft * dt, first_force(pull.second, pull.motor_force), x, dt)
    ledger[Ledger.AIR] += pull.air_force * x
    ledger[Ledger.ROLLING] += pull.rolling_force * x
    ledger[Ledger.BEARINGS] += pull.bearing_force * x
    ledger[Ledger.FRICTION_BRAKES] += pull.brake_force * x + out.halted
    ledger[Ledger.HEIGHT] += pull.grade_force * x
    ledger[Ledger.KINETIC] += out.kinetic
    ledger[Ledger.SHIFTS] += out.shifted


@inner_kernel
def book_motor(
    ledger: np.ndarray, own: Outcome | SecondOutcome, gained: float, force: float, x: float, dt: float
) -> None:
    """Write what one drive lost in a step into a ledger [J]; gained: by its rotor [J], force: at its wheel [N]."""
    ledger[Ledger.CONTROLLER_LOSS] += own.controller * dt
    ledger[Ledger.COPPER] += own.copper * dt
    ledger[Ledger.IRON] += own.iron * dt + own.rotor_lost
    ledger[Ledger.STAGES] += own.shaft * dt - gained - force * x


@rare_kernel
def count_walk(totals: np.ndarray, travelled: float, dt: float) -> None:
    """Take a step on foot into the running figures."""
    totals[Total.PUSHED_DISTANCE] += travelled
    totals[Total.PUSHED_TIME] += dt


@rare_kernel
def count_push(totals: np.ndarray, x: float, to: float) -> bool:
    """Count a rider who gets off to push, at x [m], or why there is no place `to` push to; return whether there is."""
    totals[Total.NOT_PUSHED] = max(-to, 0.0)
    if to < 0.0:
        return False
    if totals[Total.PUSHES] == 0.0:
        totals[Total.PUSHED_FIRST_AT] = x
    totals[Total.PUSHES] += 1.0
    return True


@inner_kernel
def _raise(totals: np.ndarray, value_at: int, place_at: int, value: float, x: float) -> None:
    if value > totals[value_at]:
        totals[value_at] = value
        totals[place_at] = x


@inner_kernel
def tally(
    second: Second | None, totals: np.ndarray, p: Parameters, before: State, s: State, pull: Pull, out: Outcome,
    here: Here, current_slope: float, draw_slope: float, x: float, dt: float,
) -> None:  # fmt: skip
    """Take one step into the running figures; x: distance ridden by its end [m].

    before, s: the state at its start and at its end; slopes of motor and pack current [A/s].
    """
    totals[Total.TIME] += dt
    totals[Total.MOVING_TIME] += out.moving if out.travelled > 0.0 else 0.0
    totals[Total.DISTANCE] = x
    totals[Total.LAST_LIMIT] = pull.limit + 0  # an integer: the compiler puts no enum member among floats
    faster = _faster_end(s, out, here)
    peak = _peak_pack_current(second, p, s, pull, out, faster, 0.5 * dt * draw_slope)
    rise = 0.5 * dt * draw_slope if _brakes(pull.current, 0.5 * dt * current_slope) else 0.0
    charge_out, charge_in = both_ways(out.pack_current, rise, dt)
    totals[Total.CHARGE_OUT] += charge_out
    totals[Total.CHARGE_IN] += charge_in
    totals[Total.TERMINAL_OUT] += charge_out * out.pack_voltage
    totals[Total.TERMINAL_IN] += charge_in * out.pack_voltage
    if out.pack_current >= 0.0:
        totals[Total.PEAK_PACK_CURRENT] = max(totals[Total.PEAK_PACK_CURRENT], peak)
    else:
        totals[Total.PEAK_CHARGE_CURRENT] = max(totals[Total.PEAK_CHARGE_CURRENT], -peak)
    _raise(totals, Total.PEAK_DRIVE_CURRENT, Total.PEAK_DRIVE_CURRENT_AT, pull.current, x)
    totals[Total.PEAK_FIELD_CURRENT] = max(totals[Total.PEAK_FIELD_CURRENT], pull.field)
    totals[Total.PEAK_BRAKE_CURRENT] = max(totals[Total.PEAK_BRAKE_CURRENT], -pull.current)
    voltage = out.pack_voltage - max(peak - out.pack_current, 0.0) * out.fast_resistance
    if voltage < totals[Total.LOWEST_VOLTAGE]:
        totals[Total.LOWEST_VOLTAGE] = voltage
        totals[Total.LOWEST_VOLTAGE_AT] = x
    totals[Total.HIGHEST_VOLTAGE] = max(totals[Total.HIGHEST_VOLTAGE], out.pack_voltage)
    totals[Total.TOP_SPEED] = max(totals[Total.TOP_SPEED], s.speed)
    _raise(totals, Total.PEAK_WINDING, Total.PEAK_WINDING_AT, s.winding_temp, x)
    _raise(totals, Total.PEAK_BODY, Total.PEAK_BODY_AT, s.body_temp, x)
    _raise(totals, Total.PEAK_CONTROLLER, Total.PEAK_CONTROLLER_AT, s.controller_temp, x)
    _raise(totals, Total.PEAK_PACK_TEMP, Total.PEAK_PACK_TEMP_AT, s.pack_temp, x)
    totals[Total.HIGHEST_CHARGE] = max(totals[Total.HIGHEST_CHARGE], s.charge)
    motor_square = pull.current * pull.current + pull.field * pull.field
    _tally_currents(totals, motor_square, out.pack_current * out.pack_current, dt)
    totals[Total.PEAK_SHAFT_TORQUE] = max(totals[Total.PEAK_SHAFT_TORQUE], pull.shaft_torque)
    totals[Total.PEAK_BRAKE_TORQUE] = max(totals[Total.PEAK_BRAKE_TORQUE], -pull.shaft_torque)
    totals[Total.PEAK_MECHANICAL_POWER] = max(
        totals[Total.PEAK_MECHANICAL_POWER], _peak_power(p, s, pull, out, faster, 0.5 * dt * current_slope)
    )
    if pull.wanted < 0.0:
        totals[Total.MOTOR_BRAKING] -= min(pull.motor_force, 0.0) * out.travelled
    _tally_passed_limits(totals, p, before, s, out, x, dt)
    if p.input_per_force > 0.0:
        _tally_gears(totals, p, before, s, pull, dt)


@inner_kernel
def _tally_gears(totals: np.ndarray, p: Parameters, before: State, s: State, pull: Pull, dt: float) -> None:
    force = first_force(pull.second, pull.motor_force) + (pull.pedal_force if p.through_chain else 0.0)
    totals[Total.PEAK_GEAR_TORQUE] = max(totals[Total.PEAK_GEAR_TORQUE], force * p.input_per_force)
    totals[Total.SHIFTS] += 1.0 if s.gear != before.gear else 0.0
    totals[Total.SHIFTING_TIME] += dt if before.shift_left > 0.0 else 0.0
    totals[Total.GEAR_TIME + before.gear] += dt


@inner_kernel
def _brakes(current: float, rise: float) -> bool:
    """Return whether a motor brakes at a step's middle or still at its start; `rise` as in `both_ways`, of its current.

    Behind its middle no current is known: it may stop at nought.
    """
    return current < max(rise, 0.0)


@inner_kernel
def both_ways(current: float, rise: float, dt: float) -> tuple[float, float]:
    """Return what a current carries out and back over a step [C]; `rise` is how far its end lies above its middle [A].

    A current that crosses nothing inside the step carries both ways: two triangles.
    """
    size = abs(rise)
    if abs(current) >= size:
        return max(current, 0.0) * dt, max(-current, 0.0) * dt
    out, back = size + current, size - current
    per_slope = dt / (4.0 * size)
    return out * out * per_slope, back * back * per_slope


@inner_kernel
def _faster_end(s: State, out: Outcome, here: Here) -> float:
    """Return by which share the step's faster end is faster than its mean, where powers peak with the current held.

    A limit lets go within half a step of that end, before it or after. In a bend the current is not held.
    """
    if out.mean_speed <= 0.0 or (here.plan_acceleration < 0.0 and not here.for_stop):
        return 0.0
    return abs(s.speed - out.mean_speed) / out.mean_speed


@inner_kernel
def _one_motor(done: None, b: None, power: float) -> float:
    return power


@inner_kernel
def _both_motors(done: SecondOutcome, b: SecondPull, power: float) -> float:
    return power + done.emf * b.current


@inner_kernel
def _one_bounds(second: None, p: Parameters) -> tuple[float, float]:
    return p.charge_current, p.pack_current


@inner_kernel
def _both_bounds(second: Second, p: Parameters) -> tuple[float, float]:
    q = second_bike(second, p)
    return p.charge_current + q.charge_current, p.pack_current + q.pack_current


_turning_power = if_none(_one_motor, _both_motors)
_pack_bounds = if_none(_one_bounds, _both_bounds)


@inner_kernel
def _peak_pack_current(
    second: Second | None, p: Parameters, s: State, pull: Pull, out: Outcome, faster: float, rise: float
) -> float:
    """Return the pack current at the faster end of the step [A]; `rise` is how far its end lies above its middle [A].

    With the motor current held; not where the pack current goes the other way. A limit on it is not passed.
    """
    more = _turning_power(out.second, pull.second, out.emf * pull.current) * faster / out.pack_voltage
    rise = rise if s.speed >= out.mean_speed else -rise
    peak = out.pack_current + (min(more, max(rise, 0.0)) if more > 0.0 else max(more, min(rise, 0.0)))
    if p.limits_on and pull.limit != Limit.OVER_SPEED:
        charge, draw = _pack_bounds(second, p)
        return min(max(peak, min(-charge, out.pack_current)), max(draw, out.pack_current))
    return peak


@inner_kernel
def _peak_power(p: Parameters, s: State, pull: Pull, out: Outcome, faster: float, rise: float) -> float:
    """Return the shaft power at the faster end of the step [W]; `rise` is how far the current's end lies above [A]."""
    if pull.current <= 0.0 or out.shaft <= 0.0:
        return out.shaft
    rise = rise if s.speed >= out.mean_speed else -rise
    power = out.shaft * (1.0 + faster) * max(1.0 + min(rise / pull.current, 0.0), 0.0)
    if p.limits_on:
        power = min(power, p.shaft_power)
    return max(power, out.shaft)


@inner_kernel
def _tally_currents(totals: np.ndarray, motor_square: float, pack_square: float, dt: float) -> None:
    totals[Total.MOTOR_SQUARE_TIME] += motor_square * dt
    totals[Total.PACK_SQUARE_TIME] += pack_square * dt
    share = dt / (SUSTAINED_TIME + 0.5 * dt)
    totals[Total.MEAN_MOTOR_SQUARE] += (motor_square - totals[Total.MEAN_MOTOR_SQUARE]) * share
    totals[Total.MEAN_PACK_SQUARE] += (pack_square - totals[Total.MEAN_PACK_SQUARE]) * share
    totals[Total.SUSTAINED_MOTOR_SQUARE] = max(totals[Total.SUSTAINED_MOTOR_SQUARE], totals[Total.MEAN_MOTOR_SQUARE])
    totals[Total.SUSTAINED_PACK_SQUARE] = max(totals[Total.SUSTAINED_PACK_SQUARE], totals[Total.MEAN_PACK_SQUARE])


@inner_kernel
def _passed(before: float, after: float, limit: float) -> tuple[float, float]:
    """Return which share of a step a reading lies above its limit, and at which share of it that begins.

    Between the step's ends it runs in a straight line.
    """
    if before <= limit and after <= limit:
        return 0.0, 0.0
    if before > limit and after > limit:
        return 1.0, 0.0
    crossed = (limit - before) / (after - before)
    return (1.0 - crossed, crossed) if after > limit else (crossed, 0.0)


@inner_kernel
def _tally_passed_limits(
    totals: np.ndarray, p: Parameters, before: State, s: State, out: Outcome, x: float, dt: float
) -> None:
    share, begins = _passed(before.winding_temp, s.winding_temp, p.winding_limit)
    if share > 0.0 and totals[Total.WINDING_OVER_SECONDS] == 0.0:
        totals[Total.WINDING_OVER_FIRST_AT] = x - (1.0 - begins) * out.travelled
    totals[Total.WINDING_OVER_SECONDS] += share * dt
    totals[Total.BODY_OVER_SECONDS] += _passed(before.body_temp, s.body_temp, p.body_limit)[0] * dt
    totals[Total.PACK_OVER_SECONDS] += _passed(before.pack_temp, s.pack_temp, p.pack_temp_limit)[0] * dt
    over = _passed(before.charge, s.charge, 1.0)[0] + _passed(-before.charge, -s.charge, 0.0)[0]
    totals[Total.CURVE_LEFT_SECONDS] += over * dt


@inner_kernel
def count_limit(seconds: np.ndarray, first_at: np.ndarray, limit: Limit, x: float, dt: float) -> None:
    """Add dt to the time on a limit, and keep the place where it was first met [m]."""
    if limit == Limit.NONE:
        return
    if seconds[limit] == 0.0:
        first_at[limit] = x
    seconds[limit] += dt


@inner_kernel
def record(
    row: np.ndarray, p: Parameters, road: RoadArrays, s: State, pull: Pull, out: Outcome, here: Here, x: float
) -> None:
    """Write one row of the trace; the interval's extremes stand in it already, by `keep_extremes`."""
    reactance = p.pole_pairs * out.motor_speed * p.inductance
    spread = voltage_squared_with_field(out.emf, pull.current, pull.field, out.resistance, reactance, p.salience)
    row[Channel.TIME] = s.time
    row[Channel.DISTANCE] = x
    row[Channel.SPEED] = s.speed
    row[Channel.PLAN_SPEED] = here.plan_speed
    row[Channel.ALTITUDE] = altitude_at(road, s.distance)
    row[Channel.GRADE] = here.sin_theta / here.cos_theta
    row[Channel.MOTOR_CURRENT] = pull.current
    row[Channel.PACK_CURRENT] = out.pack_current
    row[Channel.PACK_VOLTAGE] = out.pack_voltage
    row[Channel.MODULATION] = math.sqrt(spread) / out.pack_voltage
    row[Channel.MOTOR_SPEED] = out.motor_speed
    row[Channel.SHAFT_TORQUE] = pull.shaft_torque
    row[Channel.MOTOR_FORCE] = pull.motor_force
    row[Channel.WALKER_FORCE] = pull.pedal_force if p.on_foot else 0.0
    row[Channel.PEDAL_FORCE] = 0.0 if p.on_foot else pull.pedal_force
    row[Channel.BRAKE_FORCE] = pull.brake_force
    row[Channel.AIR_FORCE] = pull.air_force
    row[Channel.ROLLING_FORCE] = pull.rolling_force
    row[Channel.GRADE_FORCE] = pull.grade_force
    row[Channel.BEARING_FORCE] = pull.bearing_force
    row[Channel.COPPER_POWER] = out.copper
    row[Channel.IRON_POWER] = out.iron
    row[Channel.CONTROLLER_POWER] = out.controller
    row[Channel.WINDING_TEMP] = s.winding_temp
    row[Channel.BODY_TEMP] = s.body_temp
    row[Channel.CONTROLLER_TEMP] = s.controller_temp
    row[Channel.PACK_TEMP] = s.pack_temp
    row[Channel.CHARGE_FRACTION] = s.charge
    row[Channel.LIMIT] = pull.limit + 0
    row[Channel.OPEN_VOLTAGE] = out.open_voltage
    row[Channel.FIELD_CURRENT] = pull.field
    row[Channel.AIR_TEMP] = here.air_temp
    row[Channel.GEAR] = 0 if s.shift_left > 0.0 else s.gear + 1


@inner_kernel
def keep_extremes(row: np.ndarray, pull: Pull, out: Outcome, fresh: bool) -> None:
    """Keep highest and lowest currents and the lowest voltage since the last row, so that no peak is lost."""
    if fresh:
        row[Channel.MOTOR_CURRENT_HIGH] = row[Channel.MOTOR_CURRENT_LOW] = pull.current
        row[Channel.PACK_CURRENT_HIGH] = row[Channel.PACK_CURRENT_LOW] = out.pack_current
        row[Channel.PACK_VOLTAGE_LOW] = out.pack_voltage
        return
    row[Channel.MOTOR_CURRENT_HIGH] = max(row[Channel.MOTOR_CURRENT_HIGH], pull.current)
    row[Channel.MOTOR_CURRENT_LOW] = min(row[Channel.MOTOR_CURRENT_LOW], pull.current)
    row[Channel.PACK_CURRENT_HIGH] = max(row[Channel.PACK_CURRENT_HIGH], out.pack_current)
    row[Channel.PACK_CURRENT_LOW] = min(row[Channel.PACK_CURRENT_LOW], out.pack_current)
    row[Channel.PACK_VOLTAGE_LOW] = min(row[Channel.PACK_VOLTAGE_LOW], out.pack_voltage)
