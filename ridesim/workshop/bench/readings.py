"""Bench measurements: from meter readings to the motor and pack numbers of a build.

Model (DC-equivalent, Hendershot and Miller 2010, from memory): `V = rpm / Kv + I R`, `T = Kt I`,
`Kt = 60 / (2 pi Kv)`, Kv being line-to-line peak; drag without load `Kt I = tau_0 + tau_1 omega`.
Errors as `bench.errors`. Every function raises RideError or BuildError for readings that make no sense.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridesim.errors import RideError
from ridesim.units import from_si, to_si
from ridesim.workshop.bench.errors import (
    NO_ERRORS,
    Floats,
    ReadingErrors,
    judge_error,
    larger,
    propagate,
    scatter_errors,
)
from ridesim.workshop.bench.resistance import require_milliohms
from ridesim.workshop.limits import Verdict, held, require_positive

NAME_PLATE_KV_SPREAD = 0.11
"""Measured against printed Kv of 12 of 13 small outrunners: -10 to +11 % (outrunner propeller bench, 2026 fit)."""
SPEED_SPREAD = 1.5
"""Fastest to slowest no-load speed below which the two drag terms are poorly told apart; a guess."""
CONTRADICTION = 0.15
"""Share of the mean by which one motor's readings cannot disagree: largest less smallest Kv of single no-load points,
and twice the rms misfit of loaded points' voltage. A constant drop of 0.5 V in 12 V would be 0.04 (guess)."""
WIDE_RESISTANCE = 0.15
"""Relative error of a resistance under load worth a second look: 16 points each of 13 measured small outrunners leave 5
to 12 % (outrunner propeller bench, 2026 fit)."""
WIDE_DRAG = 0.20
"""Relative error of the drag torque in the middle of the speeds that is worth more readings (guess)."""


@dataclass(frozen=True)
class BenchPoint:
    """One steady reading: DC voltage and current at the motor's inverter at full duty, and the shaft speed."""

    voltage_v: float
    current_a: float
    speed_rpm: float

    def __post_init__(self) -> None:
        require_positive("bench point", **vars(self))


@dataclass(frozen=True)
class NoLoadFit:
    """Kv and drag of a motor; drag torque at speed is `drag_torque_nm + drag_growth_nm_s * omega` (rad/s).

    `kv_spread_percent`: largest less smallest Kv of single points over the mean.
    """

    kv_rpm_per_v: float
    kv_error_rpm_per_v: float
    torque_per_current_nm_per_a: float
    drag_torque_nm: float
    drag_torque_error_nm: float
    drag_growth_nm_s: float
    drag_growth_error_nm_s: float
    kv_spread_percent: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class LoadedFit:
    """Kv and the whole resistance between the meter and the winding (inverter and leads included).

    `misfit_percent`: rms of the voltage off the fit over the mean voltage.
    """

    kv_rpm_per_v: float
    kv_error_rpm_per_v: float
    resistance_mohm: float
    resistance_error_mohm: float
    r_squared: float
    misfit_percent: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class SpinTest:
    """Kv from the voltage of a motor turned from outside."""

    kv_rpm_per_v: float
    kv_error_rpm_per_v: float
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
    require_milliohms("no-load test", resistance_mohm=resistance_mohm)
    if len({point.speed_rpm for point in points}) < 2:
        raise RideError("no-load test", "all points have the same speed", "measure at two speeds or more")
    flat = np.append(readings.ravel(), resistance_mohm)
    spread = np.append(_spread(len(points), errors), 0.0)
    (kv, drag, growth), by_points = propagate(_no_load_solution, flat, spread)
    scatter = _no_load_scatter(readings, resistance_mohm, kv, drag, growth)
    # The resistance is one for all points: its error moves them together and shows in no scatter.
    shared = np.append(np.zeros(readings.size), errors.resistance_mohm)
    by_resistance = propagate(_no_load_solution, flat, shared)[1]
    together = [math.hypot(each, other) for each, other in zip(larger(by_points, scatter), by_resistance, strict=True)]
    kv_error, drag_error, growth_error = together
    single = _single_kv(readings, resistance_mohm)
    kv_spread = float(np.ptp(single) / single.mean())
    verdict, reason = _judge_no_load(
        readings[:, 2], single, (kv, drag, growth), (kv_error, drag_error, growth_error), name_plate_kv_rpm_per_v
    )
    constant, off = 1.0 / to_si(kv, "rpm_per_v"), from_si(kv_spread, "percent")
    return NoLoadFit(kv, kv_error, constant, drag, drag_error, growth, growth_error, off, verdict, reason)


def _no_load_solution(flat: Floats) -> Floats:
    readings = flat[:-1].reshape(-1, 3)
    _, current, speed = readings.T
    back_voltage = _back_voltage(readings, float(flat[-1]))
    kv = float(speed @ speed / (speed @ back_voltage))
    torque = current / to_si(kv, "rpm_per_v")
    columns = np.column_stack((np.ones_like(speed), to_si(speed, "rpm")))
    drag, growth = np.linalg.lstsq(columns, torque, rcond=None)[0]
    return np.array([kv, drag, growth])


def _back_voltage(readings: Floats, resistance_mohm: float) -> Floats:
    """Return `V - I R` of each point. Raises RideError where nothing is left."""
    back_voltage: Floats = readings[:, 0] - readings[:, 1] * to_si(resistance_mohm, "mohm")
    if np.any(back_voltage <= 0.0):
        raise RideError("no-load test", "I R is as large as the voltage", "check the units: resistance in mohm")
    return back_voltage


def _single_kv(readings: Floats, resistance_mohm: float) -> Floats:
    return readings[:, 2] / _back_voltage(readings, resistance_mohm)


def _no_load_scatter(readings: Floats, resistance_mohm: float, kv: float, drag: float, growth: float) -> Floats | None:
    """Errors of Kv and both drag terms by the scatter of the points about the fit; None for a lone point too many."""
    speed, omega = readings[:, 2], to_si(readings[:, 2], "rpm")
    slope = scatter_errors(speed[:, None], _back_voltage(readings, resistance_mohm) - speed / kv)
    if slope is None:
        return None
    kv_error = float(slope[0]) * kv**2
    torque_misfit = readings[:, 1] / to_si(kv, "rpm_per_v") - drag - growth * omega
    terms = scatter_errors(np.column_stack((np.ones_like(omega), omega)), torque_misfit)
    by_kv = np.array([drag, growth]) * kv_error / kv
    return np.append(kv_error, np.abs(by_kv) if terms is None else np.hypot(terms, by_kv))


def _judge_no_load(
    speed: Floats,
    single_kv: Floats,
    found: tuple[float, float, float],
    errors: tuple[float, float, float],
    name_plate: float | None,
) -> tuple[Verdict, str]:
    """The gravest first: contradiction, negative drag, close speeds, uncertain drag, Kv."""
    kv, drag, growth = found
    spread, low, high = float(np.ptp(single_kv) / single_kv.mean()), single_kv.min(), single_kv.max()
    apart = f"the points contradict each other: one by one they give {low:.4g} to {high:.4g} rpm/V; repeat"
    below = "a drag term comes out negative: no motor does that; repeat, warm and steady"
    close = f"speeds within a factor {SPEED_SPREAD:g}: the drag terms are poorly told apart"
    grave = first_not_fine(
        held("bench_scatter", spread, CONTRADICTION, apart),
        held("bench_sign", min(drag, growth), 0.0, below),
        held("bench_speeds", float(speed.max() / speed.min()), SPEED_SPREAD, close),
    )
    if grave is not None:
        return grave
    mean = to_si(float(speed.mean()), "rpm")
    share = math.hypot(errors[1], errors[2] * mean) / (drag + growth * mean)
    unsure = f"reading errors or scatter leave the drag torque uncertain by {share:.0%}: more points"
    of_kv = _judge_kv(kv, errors[0], name_plate)
    return first_not_fine(of_kv, held("bench_drag_error", share, WIDE_DRAG, unsure)) or of_kv


def first_not_fine(*findings: tuple[Verdict, str]) -> tuple[Verdict, str] | None:
    """Return the first finding that is not fine, the gravest being named first."""
    return next((each for each in findings if each[0] != "fine"), None)


def _judge_kv(kv: float, kv_error: float, name_plate: float | None) -> tuple[Verdict, str]:
    by_error = judge_error(kv_error / kv, "Kv")
    if name_plate is None:
        return by_error
    require_positive("bench", name_plate_kv_rpm_per_v=name_plate)
    words = f"{kv:.4g} rpm/V against {name_plate:.4g} printed: further off than most measured motors"
    return first_not_fine(held("name_plate", abs(kv / name_plate - 1.0), NAME_PLATE_KV_SPREAD, words)) or by_error


def fit_loaded_points(
    points: Sequence[BenchPoint],
    errors: ReadingErrors = NO_ERRORS,
    name_plate_kv_rpm_per_v: float | None = None,
) -> LoadedFit:
    """Fit Kv [rpm/V] and the whole resistance [mOhm] to points at full throttle under two or more loads.

    Least squares of `V = rpm / Kv + I R`. The resistance includes inverter and leads and is that of the warm motor.
    Raises RideError for fewer than two points, points that do not differ in load, or readings not above zero.
    Source: DC-equivalent model, see the head of this module.
    """
    readings = _point_array("loaded test", points)
    spread = _spread(len(points), errors)
    (kv, resistance), by_points = propagate(_loaded_solution, readings.ravel(), spread)
    voltage, current, speed = readings.T
    misfit = voltage - speed / kv - current * to_si(resistance, "mohm")
    terms = scatter_errors(np.column_stack((speed, current)), misfit)
    scatter = None if terms is None else np.array([terms[0] * kv**2, from_si(terms[1], "mohm")])
    kv_error, resistance_error = larger(by_points, scatter)
    around_mean = voltage - voltage.mean()
    total = float(around_mean @ around_mean)
    r_squared = 1.0 - float(misfit @ misfit) / total if total > 0.0 else float("nan")
    off = float(np.sqrt(np.mean(misfit**2)) / voltage.mean())
    verdict, reason = _judge_loaded(off, kv, resistance, (kv_error, resistance_error), name_plate_kv_rpm_per_v)
    return LoadedFit(kv, kv_error, resistance, resistance_error, r_squared, from_si(off, "percent"), verdict, reason)


def _judge_loaded(
    off: float, kv: float, resistance: float, errors: tuple[float, float], name_plate: float | None
) -> tuple[Verdict, str]:
    apart = f"the points contradict each other: their voltage is {off:.1%} off any one motor; repeat"
    below = "Kv or the resistance comes out negative: repeat the readings at full duty"
    grave = first_not_fine(
        held("bench_scatter", off, 0.5 * CONTRADICTION, apart),
        held("bench_sign", min(kv, resistance), math.ulp(0.0), below),
    )
    if grave is not None:
        return grave
    unsure = f"reading errors or scatter leave the resistance uncertain by {errors[1] / resistance:.1%}"
    wide = held("bench_resistance_error", errors[1] / resistance, WIDE_RESISTANCE, unsure)
    return first_not_fine(wide) or _judge_kv(kv, errors[0], name_plate)


def _loaded_solution(flat: Floats) -> Floats:
    voltage, current, speed = flat.reshape(-1, 3).T
    solution, _, rank, _ = np.linalg.lstsq(np.column_stack((speed, current)), voltage, rcond=None)
    if rank < 2:
        raise RideError("loaded test", "the points do not differ in load", "measure with two loads or more")
    return np.array([1.0 / solution[0], from_si(solution[1], "mohm")])


def pole_pairs_from_magnets(magnets: int) -> int:
    """Pole pairs of a rotor with this many magnets (magnets / 2). Raises RideError for an odd or tiny count."""
    if magnets < 2 or magnets % 2:
        raise RideError("pole count", f"{magnets} magnets (even, 2 or more)", "count the magnets round the whole rotor")
    return magnets // 2


def kv_from_spin(
    line_voltage_rms_v: float,
    speed_rpm: float,
    errors: ReadingErrors = NO_ERRORS,
    name_plate_kv_rpm_per_v: float | None = None,
) -> SpinTest:
    """Kv [rpm/V] from the AC rms voltage between two open leads of a motor turned from outside.

    `Kv = rpm / (sqrt(2) V_rms)`: holds for a sinusoidal back-EMF; a trapezoidal one reads up to some per cent high.
    Raises RideError for readings not above zero. Source: definition of Kv on the line-to-line peak (Hendershot and
    Miller 2010, from memory).
    """
    require_positive("spin test", line_voltage_rms_v=line_voltage_rms_v, speed_rpm=speed_rpm)
    readings = np.array([line_voltage_rms_v, speed_rpm])
    spread = np.array([errors.voltage_v, errors.speed_rpm])
    (kv,), (error,) = propagate(_spin_solution, readings, spread)
    verdict, reason = _judge_kv(kv, error, name_plate_kv_rpm_per_v)
    return SpinTest(kv, error, verdict, reason)


def _spin_solution(readings: Floats) -> Floats:
    voltage, speed = readings
    return np.array([speed / (math.sqrt(2.0) * voltage)])


def _point_array(where: str, points: Sequence[BenchPoint]) -> Floats:
    if len(points) < 2:
        raise RideError(where, f"{len(points)} points (2 or more)", "measure more points")
    return np.array([[point.voltage_v, point.current_a, point.speed_rpm] for point in points])


def _spread(count: int, errors: ReadingErrors) -> Floats:
    return np.tile([errors.voltage_v, errors.current_a, errors.speed_rpm], count)
