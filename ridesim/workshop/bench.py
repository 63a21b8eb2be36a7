"""Bench measurements: from meter readings to the motor and pack numbers of a build.

Model (DC-equivalent, Hendershot and Miller 2010, from memory): `V = rpm / Kv + I R`, `T = Kt I`,
`Kt = 60 / (2 pi Kv)`, Kv being line-to-line peak; drag without load `Kt I = tau_0 + tau_1 omega`.
Error of a result: first order, readings independent (JCGM 100:2008, eq. 10, from memory), each term taken as
half the change of the result when one reading moves by plus and minus its error (ibid. 5.1.3, note 2, from
memory). A fault that all readings share, such as the gain of one meter, is not in it.
Every function raises RideError for readings that make no sense.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RideError
from ridesim.units import RPM

Verdict = Literal["fine", "look again", "stop"]
Floats = NDArray[np.float64]
FINE: Verdict = "fine"
LOOK: Verdict = "look again"
STOP: Verdict = "stop"

COPPER_ZERO_C = 234.5
"""degC below zero where copper's resistance would vanish, IEC 60028:1925."""
REFERENCE_C = 20.0
"""degC, reference temperature of IEC 60028:1925."""
COPPER_RANGE_C = (-60.0, 250.0)
"""degC, where the straight line for copper is used here; a guess, wider than any winding needs."""
NAME_PLATE_KV_SPREAD = 0.11
"""Measured against printed Kv of 12 of 13 small outrunners: -10 to +11 % (outrunner propeller bench, 2026 fit)."""
WIDE_ERROR = 0.05
"""Relative error of a result above which the measurement is worth repeating; common practice, no source."""
PAIR_SPREAD = 0.05
"""Spread of the three line-to-line resistances that is worth a second look; common practice, no source."""
SPEED_SPREAD = 1.5
"""Fastest to slowest no-load speed below which the two drag terms are poorly told apart; a guess."""


@dataclass(frozen=True)
class BenchPoint:
    """One steady reading: DC voltage and current at the motor's inverter at full duty, and the shaft speed."""

    voltage_v: float
    current_a: float
    speed_rpm: float

    def __post_init__(self) -> None:
        _positive("bench point", **vars(self))


@dataclass(frozen=True)
class ReadingErrors:
    """Standard error of one reading of each kind, same units as the readings."""

    voltage_v: float = 0.0
    current_a: float = 0.0
    speed_rpm: float = 0.0
    temperature_c: float = 0.0
    resistance_mohm: float = 0.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not 0.0 <= value < math.inf:
                raise RideError("reading errors", f"{name} = {value:g} (0 or more)", "give it as a positive number")


NO_ERRORS = ReadingErrors()


@dataclass(frozen=True)
class NoLoadFit:
    """Kv and drag of a motor; drag torque at speed is `drag_torque_nm + drag_growth_nm_s * omega` (rad/s)."""

    kv_rpm_per_v: float
    kv_error_rpm_per_v: float
    torque_per_current_nm_per_a: float
    drag_torque_nm: float
    drag_torque_error_nm: float
    drag_growth_nm_s: float
    drag_growth_error_nm_s: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class LoadedFit:
    """Kv and the whole resistance between the meter and the winding (inverter and leads included)."""

    kv_rpm_per_v: float
    kv_error_rpm_per_v: float
    resistance_mohm: float
    resistance_error_mohm: float
    r_squared: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class LineResistance:
    """Line-to-line resistance as measured and brought to 20 degC; the error belongs to the 20 degC value."""

    resistance_mohm: float
    resistance_at_20_c_mohm: float
    resistance_error_mohm: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class PairBalance:
    """Mean of the three line-to-line resistances, and the largest distance between two as a share of it."""

    resistance_mohm: float
    spread_percent: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class SpinTest:
    """Kv from the voltage of a motor turned from outside."""

    kv_rpm_per_v: float
    kv_error_rpm_per_v: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class PackResistance:
    """Resistance of a pack with its leads, and the voltage it would show without load."""

    resistance_mohm: float
    resistance_error_mohm: float
    open_circuit_v: float
    verdict: Verdict
    reason: str


def fit_no_load(
    points: Sequence[BenchPoint],
    resistance_mohm: float,
    errors: ReadingErrors = NO_ERRORS,
    name_plate_kv_rpm_per_v: float | None = None,
) -> NoLoadFit:
    """Fit Kv [rpm/V], tau_0 [N m] and tau_1 [N m s] to no-load points at two or more speeds.

    `resistance_mohm`: line to line, at the temperature of the test. Least squares: `V - I R = rpm / Kv` through
    the origin, then `Kt I = tau_0 + tau_1 omega`; two points give the two drag terms exactly.
    Raises RideError for fewer than two speeds, readings not above zero, or a drop `I R` as large as the voltage.
    Source: DC-equivalent model, see the head of this module.
    """
    readings = _point_array("no-load test", points)
    _positive("no-load test", resistance_mohm=resistance_mohm)
    if len({point.speed_rpm for point in points}) < 2:
        raise RideError("no-load test", "all points have the same speed", "measure at two speeds or more")
    flat = np.append(readings.ravel(), resistance_mohm)
    spread = np.append(_spread(len(points), errors), errors.resistance_mohm)
    (kv, drag, growth), (kv_error, *drag_errors) = _propagate(_no_load_solution, flat, spread)
    speed = readings[:, 2]
    if drag < 0.0 or growth < 0.0:
        verdict, reason = STOP, "a drag term comes out negative: no motor does that; repeat, warm and steady"
    elif speed.max() < SPEED_SPREAD * speed.min():
        verdict, reason = LOOK, f"speeds within a factor {SPEED_SPREAD:g}: the drag terms are poorly told apart"
    else:
        verdict, reason = _judge_kv(kv, kv_error, name_plate_kv_rpm_per_v)
    drag_error, growth_error = drag_errors
    constant = 1.0 / (RPM * kv)
    return NoLoadFit(kv, kv_error, constant, drag, drag_error, growth, growth_error, verdict, reason)


def _no_load_solution(flat: Floats) -> Floats:
    voltage, current, speed = flat[:-1].reshape(-1, 3).T
    back_voltage = voltage - current * flat[-1] * 1e-3
    if np.any(back_voltage <= 0.0):
        raise RideError("no-load test", "I R is as large as the voltage", "check the units: resistance in mohm")
    kv = float(speed @ speed / (speed @ back_voltage))
    torque = current / (RPM * kv)
    columns = np.column_stack((np.ones_like(speed), speed * RPM))
    drag, growth = np.linalg.lstsq(columns, torque, rcond=None)[0]
    return np.array([kv, drag, growth])


def _judge_kv(kv: float, kv_error: float, name_plate: float | None) -> tuple[Verdict, str]:
    if name_plate is not None:
        _positive("no-load test", name_plate_kv_rpm_per_v=name_plate)
        if abs(kv / name_plate - 1.0) > NAME_PLATE_KV_SPREAD:
            return LOOK, f"{kv:.4g} rpm/V against {name_plate:.4g} printed: further off than most measured motors"
    return _judge_error(kv_error / kv, "Kv")


def fit_loaded_points(points: Sequence[BenchPoint], errors: ReadingErrors = NO_ERRORS) -> LoadedFit:
    """Fit Kv [rpm/V] and the whole resistance [mOhm] to points at full throttle under two or more loads.

    Least squares of `V = rpm / Kv + I R`. The resistance includes inverter and leads and is that of the warm motor.
    Raises RideError for fewer than two points, points that do not differ in load, or readings not above zero.
    Source: DC-equivalent model, see the head of this module.
    """
    readings = _point_array("loaded test", points)
    spread = _spread(len(points), errors)
    (kv, resistance), (kv_error, resistance_error) = _propagate(_loaded_solution, readings.ravel(), spread)
    voltage, current, speed = readings.T
    misfit = voltage - speed / kv - current * resistance * 1e-3
    around_mean = voltage - voltage.mean()
    total = float(around_mean @ around_mean)
    r_squared = 1.0 - float(misfit @ misfit) / total if total > 0.0 else float("nan")
    if kv <= 0.0 or resistance <= 0.0:
        verdict, reason = STOP, "Kv or the resistance comes out negative: repeat the readings at full duty"
    else:
        verdict, reason = _judge_error(max(kv_error / kv, resistance_error / resistance), "Kv or the resistance")
    return LoadedFit(kv, kv_error, resistance, resistance_error, r_squared, verdict, reason)


def _loaded_solution(flat: Floats) -> Floats:
    voltage, current, speed = flat.reshape(-1, 3).T
    solution, _, rank, _ = np.linalg.lstsq(np.column_stack((speed, current)), voltage, rcond=None)
    if rank < 2:
        raise RideError("loaded test", "the points do not differ in load", "measure with two loads or more")
    return np.array([1.0 / solution[0], solution[1] * 1e3])


def line_resistance(
    voltage_v: float, current_a: float, temperature_c: float, errors: ReadingErrors = NO_ERRORS
) -> LineResistance:
    """Line-to-line resistance [mOhm] from the voltage drop of a known current, brought to 20 degC.

    Voltage leads on the motor's own leads, inside the current clips. `temperature_c` is the winding's, -60 to 250 degC.
    `R_20 = R (234.5 + 20) / (234.5 + T)`. Raises RideError for readings not above zero or copper out of range.
    Source: IEC 60028:1925.
    """
    _positive("resistance test", voltage_v=voltage_v, current_a=current_a)
    low, high = COPPER_RANGE_C
    if not low <= temperature_c <= high:
        raise RideError("resistance test", f"{temperature_c:g} degC ({low:g} to {high:g})", "check the thermometer")
    readings = np.array([voltage_v, current_a, temperature_c])
    spread = np.array([errors.voltage_v, errors.current_a, errors.temperature_c])
    (cold,), (error,) = _propagate(_resistance_at_20, readings, spread)
    verdict, reason = _judge_error(error / cold, "the resistance")
    return LineResistance(voltage_v / current_a * 1e3, cold, error, verdict, reason)


def _resistance_at_20(readings: Floats) -> Floats:
    voltage, current, temperature = readings
    return np.array([voltage / current * 1e3 / copper_factor(float(temperature))])


def copper_factor(temperature_c: float) -> float:
    """Resistance of copper at `temperature_c` to that at 20 degC. Source: IEC 60028:1925."""
    return (COPPER_ZERO_C + temperature_c) / (COPPER_ZERO_C + REFERENCE_C)


def compare_pairs(resistances_mohm: Sequence[float]) -> PairBalance:
    """Compare the three line-to-line resistances [mOhm] of one motor, all at one temperature.

    Raises RideError unless there are three, all above zero. Limit: common practice, no source.
    """
    if len(resistances_mohm) != 3:
        raise RideError("resistance test", f"{len(resistances_mohm)} pairs of leads (3)", "measure all three pairs")
    for value in resistances_mohm:
        _positive("resistance test", resistances_mohm=value)
    mean = sum(resistances_mohm) / 3.0
    spread = (max(resistances_mohm) - min(resistances_mohm)) / mean
    if spread > PAIR_SPREAD:
        reason = f"the pairs differ by {spread:.1%}: a bad joint, a shorted turn or a slipped clip"
        return PairBalance(mean, 100.0 * spread, LOOK, reason)
    return PairBalance(mean, 100.0 * spread, FINE, f"the pairs agree within {spread:.1%}")


def pole_pairs_from_magnets(magnets: int) -> int:
    """Pole pairs of a rotor with this many magnets (magnets / 2). Raises RideError for an odd or tiny count."""
    if magnets < 2 or magnets % 2:
        raise RideError("pole count", f"{magnets} magnets (even, 2 or more)", "count the magnets round the whole rotor")
    return magnets // 2


def kv_from_spin(line_voltage_rms_v: float, speed_rpm: float, errors: ReadingErrors = NO_ERRORS) -> SpinTest:
    """Kv [rpm/V] from the AC rms voltage between two open leads of a motor turned from outside.

    `Kv = rpm / (sqrt(2) V_rms)`: holds for a sinusoidal back-EMF; a trapezoidal one reads up to some per cent high.
    Raises RideError for readings not above zero. Source: definition of Kv on the line-to-line peak (Hendershot and
    Miller 2010, from memory).
    """
    _positive("spin test", line_voltage_rms_v=line_voltage_rms_v, speed_rpm=speed_rpm)
    readings = np.array([line_voltage_rms_v, speed_rpm])
    spread = np.array([errors.voltage_v, errors.speed_rpm])
    (kv,), (error,) = _propagate(_spin_solution, readings, spread)
    verdict, reason = _judge_error(error / kv, "Kv")
    return SpinTest(kv, error, verdict, reason)


def _spin_solution(readings: Floats) -> Floats:
    voltage, speed = readings
    return np.array([speed / (math.sqrt(2.0) * voltage)])


def pack_resistance(
    light_voltage_v: float,
    light_current_a: float,
    heavy_voltage_v: float,
    heavy_current_a: float,
    errors: ReadingErrors = NO_ERRORS,
) -> PackResistance:
    """Pack resistance [mOhm] from two steady loads, `R = (V_1 - V_2) / (I_2 - I_1)`, read some 10 s after each change.

    Raises RideError when the heavy load does not draw more current at less voltage. Source: circuit law.
    """
    _positive("pack test", light_voltage_v=light_voltage_v, heavy_voltage_v=heavy_voltage_v)
    _positive("pack test", heavy_current_a=heavy_current_a)
    if not 0.0 <= light_current_a < heavy_current_a:
        raise RideError(
            "pack test", "the heavy load draws no more current than the light one", "swap or repeat the loads"
        )
    if heavy_voltage_v >= light_voltage_v:
        raise RideError("pack test", "the voltage does not fall under the heavy load", "check the meter and the order")
    readings = np.array([light_voltage_v, light_current_a, heavy_voltage_v, heavy_current_a])
    spread = np.array([errors.voltage_v, errors.current_a, errors.voltage_v, errors.current_a])
    (resistance,), (error,) = _propagate(_pack_solution, readings, spread)
    verdict, reason = _judge_error(error / resistance, "the resistance")
    open_circuit = light_voltage_v + light_current_a * resistance * 1e-3
    return PackResistance(resistance, error, open_circuit, verdict, reason)


def _pack_solution(readings: Floats) -> Floats:
    light_voltage, light_current, heavy_voltage, heavy_current = readings
    return np.array([(light_voltage - heavy_voltage) / (heavy_current - light_current) * 1e3])


def _propagate(
    solution: Callable[[Floats], Floats], readings: Floats, spread: Floats
) -> tuple[list[float], list[float]]:
    """Every result of `solution` and its standard error; see the head of this module."""
    results = solution(readings)
    variance = np.zeros_like(results)
    for index in np.flatnonzero(spread):
        step = np.zeros_like(readings)
        step[index] = spread[index]
        variance += ((solution(readings + step) - solution(readings - step)) / 2.0) ** 2
    return results.tolist(), np.sqrt(variance).tolist()


def _judge_error(relative: float, what: str) -> tuple[Verdict, str]:
    if relative > WIDE_ERROR:
        return LOOK, f"the reading errors alone leave {what} uncertain by {relative:.1%}"
    return FINE, f"the reading errors leave {what} certain to {relative:.1%}"


def _point_array(where: str, points: Sequence[BenchPoint]) -> Floats:
    if len(points) < 2:
        raise RideError(where, f"{len(points)} points (2 or more)", "measure more points")
    return np.array([[point.voltage_v, point.current_a, point.speed_rpm] for point in points])


def _spread(count: int, errors: ReadingErrors) -> Floats:
    return np.tile([errors.voltage_v, errors.current_a, errors.speed_rpm], count)


def _positive(where: str, **values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise RideError(where, f"{name} = {value:g} (above 0)", "check the reading and its unit")
