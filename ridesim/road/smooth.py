"""Smoothing, slopes and climbs on a uniform grid."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

SIGMA_PER_WIDTH = 1.0 / (2.0 * math.sqrt(2.0 * math.log(2.0)))  # full width at half maximum of a Gaussian
KERNEL_SIGMAS = 4.0  # beyond it the weight is below 4e-4 of the middle
HYSTERESIS_M = 3.0  # common practice for barometric altitude, no source

Array = NDArray[np.float64]


def smoothed(values: Array, spacing_m: float, smoothing_m: float) -> Array:
    """Return local-linear regression with a Gaussian kernel of full width at half maximum `smoothing_m` [m].

    Straight lines pass unchanged, up to both ends; inside it equals a Gaussian mean, which shifts nothing.
    Source: Fan and Gijbels (1996), Local Polynomial Modelling and Its Applications, section 3.1.
    """
    return smoother(len(values), spacing_m, smoothing_m)(values)


def smoother(count: int, spacing_m: float, smoothing_m: float) -> Callable[[Array], Array]:
    """Return `smoothed` for columns of this length, its weights made once."""
    reach = math.ceil(KERNEL_SIGMAS * SIGMA_PER_WIDTH * smoothing_m / spacing_m)
    if smoothing_m <= spacing_m or count < 3:
        return np.ndarray.copy
    offset = np.arange(-reach, reach + 1) * spacing_m
    weight = np.exp(-0.5 * (offset / (SIGMA_PER_WIDTH * smoothing_m)) ** 2)
    s0, s1, s2 = (_sum_around(np.ones(count), weight * offset**power) for power in (0, 1, 2))
    whole = s0 * s2 - s1**2

    lean = weight * offset

    def smooth(values: Array) -> Array:
        """Return a column smoothed by a line fitted about each point, in its own unit."""
        middle = float(values.mean())
        moved = values - middle
        t0 = _sum_around(moved, weight)
        # Inside, the window is even and its first moment vanishes: what it leans by counts at both ends alone.
        if count <= 4 * reach:
            return middle + (s2 * t0 - s1 * _sum_around(moved, lean)) / whole
        found = middle + t0 / s0
        for end in (slice(0, 2 * reach), slice(count - 2 * reach, count)):
            t1 = _sum_around(moved[end], lean)
            here = slice(0, reach) if end.start == 0 else slice(reach, 2 * reach)
            at = slice(end.start + here.start, end.start + here.stop)
            found[at] = middle + (s2[at] * t0[at] - s1[at] * t1[here]) / whole[at]
        return found

    return smooth


def _sum_around(values: Array, weight: Array) -> Array:
    """Return sum_k weight[k] values[i + k - reach], with nothing beyond the ends."""
    reach = len(weight) // 2
    return np.convolve(values, weight[::-1])[reach : reach + len(values)]


def climb_and_descent(altitude_m: Array) -> tuple[float, float]:
    """Return the plain sums of all rises and of all falls [m], both positive."""
    step = np.diff(altitude_m)
    return float(step[step > 0.0].sum()), float(np.abs(step[step < 0.0]).sum())


def climb_and_descent_with_hysteresis(altitude_m: Array, threshold_m: float = HYSTERESIS_M) -> tuple[float, float]:
    """Return climb and descent [m] that count only moves of more than `threshold_m` from the last counted height."""
    climb = descent = 0.0
    counted = float(altitude_m[0])
    for altitude in altitude_m.tolist():
        if altitude - counted >= threshold_m:
            climb += altitude - counted
            counted = altitude
        elif counted - altitude >= threshold_m:
            descent += counted - altitude
            counted = altitude
    return climb, descent


def steepest(altitude_m: Array, spacing_m: float, over_m: float) -> float:
    """Return the steepest mean climb or fall, rise per metre, over any stretch of `over_m` (or the whole line)."""
    nodes = min(max(1, round(over_m / spacing_m)), len(altitude_m) - 1)
    return float(np.abs(altitude_m[nodes:] - altitude_m[:-nodes]).max() / (nodes * spacing_m))


def sine_of_slope(altitude_m: Array, spacing_m: float) -> Array:
    """Return rise per metre of road surface at the nodes: central differences, one-sided at the ends."""
    return np.gradient(altitude_m, spacing_m)


def running_integral(values: Array, spacing_m: float) -> Array:
    """Return the trapezoid integral from the first node to each node, shape (n,)."""
    return np.concatenate(([0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * spacing_m)))


def grade_of(sine: Array) -> Array:
    """Return rise per run, tan(theta), of sin(theta)."""
    return sine / np.sqrt(1.0 - sine**2)


def sine_of(grade: Array) -> Array:
    """Return sin(theta) of rise per run, tan(theta)."""
    return grade / np.sqrt(1.0 + grade**2)
