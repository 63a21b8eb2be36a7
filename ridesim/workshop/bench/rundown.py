"""A rundown: a motor let go at speed, `J w' = -(tau_0 + tau_1 w)`; its fall tells drag over inertia.

With the drag known (no-load current) it tells the inertia; with the inertia known, the drag.
Source: retardation test, IEC 60034-2-1:2014, 6.1.3 (from memory); the law of motion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridesim.errors import RideError
from ridesim.units import from_si, to_si
from ridesim.workshop.bench.errors import Floats
from ridesim.workshop.bench.runs import RunKey, correlated_error
from ridesim.workshop.limits import Verdict, held

DRAG, GROWTH = "drag_torque_nm", "drag_growth_nm_s"
LEAST_ROWS = 8
"""Readings of one fall (guess)."""
BEGUN, ENDED, ROSE = 0.97, 0.05, 0.03
"""A fall begins below the first share of its peak, ends below the second, or where it rises by the third of it."""
LEAST_FALL = 0.4
"""Share of its peak that a rundown must fall by: less tells no drag from noise (guess)."""
CONTRADICTION = 0.15
WIDE_INERTIA = 0.20
"""Relative error of the inertia that is worth another rundown; it hardly moves a ride (guess)."""
WIDE_SHAPE = 0.25
"""Of the torque, between two ways to one drag (guess)."""
STRAIGHT = 1e-6


@dataclass(frozen=True)
class Drag:
    """Known drag: constant [N m] and growing with speed [N m s], with errors."""

    constant_nm: float
    growth_nm_s: float
    constant_error_nm: float = 0.0
    growth_error_nm_s: float = 0.0

    def at(self, omega: Floats) -> Floats:
        """Return the torque at shaft speeds [rad/s]."""
        return self.constant_nm + self.growth_nm_s * omega


@dataclass(frozen=True, eq=False)
class RundownFit:
    """Falls of one motor: deceleration `still + growth w` [rad/s2, 1/s], keys that follow, and the falls themselves."""

    still_rad_per_s2: float
    still_error_rad_per_s2: float
    growth_per_s: float
    growth_error_per_s: float
    keys: tuple[RunKey, ...]
    falls: int
    rms_rpm: float
    measured: tuple[tuple[Floats, Floats], ...]
    computed: tuple[Floats, ...]
    verdict: Verdict
    reason: str


def falls_of(where: str, time_s: Floats, speed_rpm: Floats) -> list[tuple[Floats, Floats]]:
    """Return the stretches in which a motor runs down freely: seconds and shaft speed [rad/s]. Raises RideError."""
    known = np.isfinite(speed_rpm)
    time, speed = time_s[known], np.abs(speed_rpm[known])
    smooth = _median_of_three(speed)
    top = float(smooth.max(initial=0.0))
    if top <= 0.0:
        raise RideError(where, "the motor never turns: all speeds are zero", "check the column of speed")
    found, at = [], 0
    while at < len(smooth):
        begin, end = _next_fall(smooth, at, top)
        if end - begin >= LEAST_ROWS and smooth[end - 1] <= (1.0 - LEAST_FALL) * smooth[begin]:
            part = slice(begin, end)
            found.append((time[part] - time[begin], to_si(speed[part], "rpm")))
        at = end
    if not found:
        what = f"no stretch of {LEAST_ROWS} readings falls freely by {LEAST_FALL:.0%} of its speed"
        raise RideError(where, what, "cut the power at speed, and log faster")
    return found


def _median_of_three(values: Floats) -> Floats:
    padded = np.concatenate((values[:1], values, values[-1:]))
    return np.median(np.stack((padded[:-2], padded[1:-1], padded[2:])), axis=0)


def _next_fall(smooth: Floats, at: int, top: float) -> tuple[int, int]:
    """Return begin and end of the next stretch that falls from its peak, the end counted from behind it."""
    peak, begin, lowest = 0.0, len(smooth), np.inf
    for index in range(at, len(smooth)):
        value = smooth[index]
        if begin == len(smooth):
            peak = max(peak, value)
            if value < BEGUN * peak and peak > 2.0 * ENDED * top:
                begin, lowest = index, value
            continue
        lowest = min(lowest, value)
        if value < ENDED * peak or value > lowest + ROSE * peak:
            return begin, index
    return begin, len(smooth)


def fit_rundown(
    where: str, falls: list[tuple[Floats, Floats]], drag: Drag | None = None, inertia_kg_m2: float | None = None,
    gain_error: float = 0.0,
) -> RundownFit:  # fmt: skip
    """Return what falls tell: the rotor's inertia where the drag is known, else the drag where the inertia is.

    `gain_error`: relative error of the known one that the meters share. Raises RideError for falls that tell nothing.
    """
    if any(omega[-1] >= omega[0] or time[-1] <= time[0] for time, omega in falls) or not falls:
        raise RideError(where, "the motor does not slow down", "check the columns of time and speed")
    theta, covariance, left = _solve(falls)
    still, growth = float(theta[0]), float(theta[1])
    errors = np.sqrt(np.diag(covariance)[:2])
    middle = float(np.mean(np.concatenate([omega for _, omega in falls])))
    slowing = still + growth * middle
    if slowing <= 0.0:
        raise RideError(where, "the motor does not slow down", "check the columns of time and speed")
    gradient = np.array([1.0, middle])
    share = float(np.sqrt(gradient @ covariance[:2, :2] @ gradient)) / slowing
    keys, shape = _keys(falls, (still, growth), errors, share, drag, inertia_kg_m2, gain_error)
    rms = float(np.sqrt(np.mean(np.concatenate(left) ** 2)))
    top = max(float(omega.max()) for _, omega in falls)
    verdict, reason = _judge(rms / top, _apart(falls, middle), share, shape, keys)
    computed = tuple(omega - off for (_, omega), off in zip(falls, left, strict=True))
    return RundownFit(
        still, float(errors[0]), growth, float(errors[1]), keys, len(falls), float(from_si(rms, "rpm")), tuple(falls),
        computed, verdict, reason,
    )  # fmt: skip


def _fall(time: Floats, first: float, still: float, growth: float) -> Floats:
    """Return the speed of a free fall, in closed form; at rest it stays."""
    if abs(growth) * float(time[-1]) < STRAIGHT:
        return np.maximum(first - still * time, 0.0)
    gone = -np.expm1(-growth * time)
    return np.maximum(first - (first + still / growth) * gone, 0.0)


def _solve(falls: list[tuple[Floats, Floats]]) -> tuple[Floats, Floats, list[Floats]]:
    """Return still and growing deceleration with each fall's first speed, their covariance, and what is left."""
    from scipy.optimize import least_squares

    def left(at: Floats) -> list[Floats]:
        """Return measured less modelled shaft speeds [rad/s], fall by fall."""
        return [omega - _fall(time, first, at[0], at[1]) for (time, omega), first in zip(falls, at[2:], strict=True)]

    firsts = [float(omega[0]) for _, omega in falls]
    rate = float(np.mean([(omega[0] - omega[-1]) / time[-1] for time, omega in falls]))
    start = np.array([0.5 * rate, 0.5 * rate / np.mean(firsts), *firsts])
    floor = np.concatenate(([0.0, 0.0], np.zeros(len(firsts))))

    def joined(at: Floats) -> Floats:
        """Return those of all falls in one line [rad/s]."""
        return np.concatenate(left(at))

    found = least_squares(joined, start, bounds=(floor, np.inf), x_scale="jac")
    rest = left(found.x)
    error = max(correlated_error(each) for each in rest)
    slopes = np.asarray(found.jac)
    return np.asarray(found.x), error**2 * np.linalg.pinv(slopes.T @ slopes), rest


def _apart(falls: list[tuple[Floats, Floats]], middle: float) -> float:
    """Return how far single falls stand apart: largest less smallest deceleration at the middle speed over the mean."""
    if len(falls) < 2:
        return 0.0
    each = np.array([theta[0] + theta[1] * middle for theta, _, _ in (_solve([fall]) for fall in falls)])
    return float(np.ptp(each) / each.mean())


def _keys(
    falls: list[tuple[Floats, Floats]], slowing: tuple[float, float], errors: Floats, share: float, drag: Drag | None,
    inertia: float | None, gain: float,
) -> tuple[tuple[RunKey, ...], float]:  # fmt: skip
    """Return the keys that follow, and how far the known drag's shape stands off the fall's."""
    if drag is None and inertia is None:
        return (), 0.0
    if drag is None:
        assert inertia is not None
        values = [inertia * each for each in slowing]
        wide = [float(np.hypot(inertia * error, value * gain)) for value, error in zip(values, errors, strict=True)]
        return (RunKey(DRAG, "drag, constant part", values[0], wide[0]),
                RunKey(GROWTH, "drag, growing part", values[1], wide[1])), 0.0  # fmt: skip
    omega = np.concatenate([each for _, each in falls])
    fall = slowing[0] + slowing[1] * omega
    torque = drag.at(omega)
    found = float(torque @ fall / (fall @ fall))
    off = float(np.sqrt(np.mean((torque - found * fall) ** 2)) / torque.mean())
    mean = float(omega.mean())
    of_drag = float(np.hypot(drag.constant_error_nm, drag.growth_error_nm_s * mean) / drag.at(np.array([mean]))[0])
    # Where both shapes differ, which speeds count is a choice: their difference is an error too.
    error = found * float(np.sqrt(share**2 + of_drag**2 + gain**2 + off**2))
    return (RunKey("rotor_inertia_kg_m2", "rotor, moment of inertia", found, error),), off


def _judge(off: float, apart: float, share: float, shape: float, keys: tuple[RunKey, ...]) -> tuple[Verdict, str]:
    words = f"the fall is {off:.1%} of its top speed off any one drag: a hand, a brake, a slipping log"
    runs = f"the falls contradict each other: their drags are {apart:.0%} apart; repeat, warm"
    other = f"the no-load current and the fall differ in shape by {shape:.0%}: a seal that warms, or a moving air"
    findings = (
        held("bench_scatter", off, CONTRADICTION, words),
        held("bench_scatter", apart, 2.0 * CONTRADICTION, runs),
        held("bench_run_error", shape, WIDE_SHAPE, other),
    )
    for finding in findings:
        if finding[0] != "fine":
            return finding
    for each in keys:
        relative = each.error / each.value if each.value > 0.0 else float("inf")
        if each.key == "rotor_inertia_kg_m2":
            wide = held("bench_run_error", relative, WIDE_INERTIA, f"{each.words} is uncertain by {relative:.0%}")
            return wide if wide[0] != "fine" else ("fine", f"{each.words} is certain to {relative:.0%}")
    told = f"the fall tells drag over inertia to {share:.1%}"
    return "fine", told if keys else f"{told}; give --no-load for the inertia, or --inertia for the drag"
