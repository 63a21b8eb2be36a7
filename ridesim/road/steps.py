"""Altitudes that come in steps of metres: the road between them goes through the middle of each step."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# Guesses. Steps of a metre are smaller than what the smoothing of the altitude takes out.
STEP_LEAST_M, STEP_MOST_M = 2.0, 15.0
STEPS_LEAST = 8
LEVELS_LEAST = 3
LEVEL_LEAST_SHARE = 0.5  # of the points stand as high as the one before: where few do, the altitudes are the road's own
SINGLE_LEAST_SHARE = 0.8  # of the changes are by one step
ROUNDING = 0.02

Array = NDArray[np.float64]


def step_of(altitude_m: Array) -> float:
    """Return the step in which recorded altitudes come [m], 0 where they do not come in steps."""
    change = np.abs(np.diff(altitude_m))
    moves = change[change > 0.0]
    if len(moves) < STEPS_LEAST or len(moves) > (1.0 - LEVEL_LEAST_SHARE) * len(change):
        return 0.0
    step = float(np.median(moves))
    many = moves / step
    in_steps = np.abs(many - np.round(many)) < ROUNDING
    single = np.abs(many - 1.0) < ROUNDING
    enough = len(np.unique(np.round(altitude_m / step))) >= LEVELS_LEAST
    if STEP_LEAST_M <= step <= STEP_MOST_M and in_steps.all() and single.mean() >= SINGLE_LEAST_SHARE and enough:
        return step
    return 0.0


def through_the_steps(altitude_m: Array, place_m: Array) -> Array:
    """Return altitudes on straight lines through the middle of each step, from the first reading to the last.

    A reading rounds to the nearest step: half-way between two that differ, the road is at the mean of both.
    """
    edges = np.flatnonzero(np.diff(altitude_m) != 0.0)
    place, altitude = (0.5 * (values[edges] + values[edges + 1]) for values in (place_m, altitude_m))
    first = _end(place_m[0], altitude_m[0], place[:2], altitude[:2])
    last = _end(place_m[-1], altitude_m[-1], place[:-3:-1], altitude[:-3:-1])
    place = np.concatenate((place_m[:1], place, place_m[-1:]))
    return np.interp(place_m, place, np.concatenate(([first], altitude, [last])))


def _end(end_m: float, level_m: float, place_m: Array, altitude_m: Array) -> float:
    """Return the altitude at an end: towards its own level, no steeper than the road beside it."""
    slope = abs(altitude_m[1] - altitude_m[0]) / abs(place_m[1] - place_m[0])
    reach = slope * abs(end_m - place_m[0])
    return float(np.clip(level_m, altitude_m[0] - reach, altitude_m[0] + reach))
