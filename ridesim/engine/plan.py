"""A speed plan laid into a road's nodes, as the step reads it."""

from __future__ import annotations

import numpy as np

from ridesim.engine.state import STOP
from ridesim.road.plan import SpeedPlan
from ridesim.road.profile import Road

BRAKE_EASE_M = 10.0
"""Road over which a rider eases into the brakes before a bend [m] (guess)."""

LEAST_BRAKING = 1e-9
"""A planned deceleration below it is rounding [m/s2]."""

PLACE_TRIES, PLACE_M = 8, 1e-3
"""Where braking for a stop begins is told to within so much [m], or not at all."""


def lay_plan(nodes: np.ndarray, plan: SpeedPlan, road: Road) -> np.recarray:
    """Lay a speed plan into a road's nodes, in place, and return its stops."""
    nodes["plan_square"] = plan.speed_m_per_s**2
    nodes["plan_slope"] = monotone_slope(nodes["plan_square"])
    nodes["plan_braking"] = plan_braking(plan.speed_m_per_s, road.spacing_m)
    stops = np.recarray(len(plan.stop_distance_m), dtype=STOP)
    stops["at"], stops["dwell"] = plan.stop_distance_m, plan.stop_dwell_s
    stops["braked_from"] = braked_from(nodes, plan, road.spacing_m)
    return stops


def braked_from(nodes: np.ndarray, plan: SpeedPlan, spacing_m: float) -> np.ndarray:
    """Return from where on a plan brakes for each of its stops [m], (k,): where 2 a (stop - x) falls below its square.

    -inf where the plan itself changes too fast to tell.
    """
    per_square = 0.5 / plan.braking_m_per_s2
    place, before = plan.stop_distance_m, plan.stop_distance_m
    for _ in range(PLACE_TRIES):
        before, place = place, plan.stop_distance_m - per_square * square_at(nodes, place / spacing_m)
    return np.where(np.abs(place - before) <= PLACE_M, place, -np.inf)


def square_at(nodes: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Return the plan's square at places in spacings from the start [m2/s2]: the cubic that the step reads."""
    index = np.clip(place.astype(np.int64), 0, len(nodes) - 2)
    share = np.clip(place - index, 0.0, 1.0)
    square, slope = nodes["plan_square"], nodes["plan_slope"]
    rise = square[index + 1] - square[index]
    bend = share * (1.0 - share) * ((1.0 - share) * (slope[index] - rise) - share * (slope[index + 1] - rise))
    found: np.ndarray = square[index] + rise * share + bend
    return found


def monotone_slope(values: np.ndarray) -> np.ndarray:
    """Return slopes at even nodes, per spacing, (n,), of a cubic that never passes its nodes: smooth and monotone.

    The harmonic mean of both neighbouring stretches, zero at an extreme. Source: Fritsch and Butland (1984), SIAM J.
    Sci. Stat. Comput. 5:300-304, for even spacing.
    """
    stretch = np.diff(values)
    before, behind = np.concatenate([[0.0], stretch]), np.concatenate([stretch, [0.0]])
    same_way = before * behind > 0.0
    return np.where(same_way, 2.0 * before * behind / np.where(same_way, before + behind, 1.0), 0.0)


def plan_braking(speed_m_per_s: np.ndarray, spacing_m: float) -> np.ndarray:
    """Return the plan's deceleration at the nodes [m/s2], (n,), <= 0: a hand closes gradually, over `BRAKE_EASE_M`.

    The mean of both neighbouring stretches, eased by a triangle; between nodes it is drawn smoothly. A jump inside a
    step would cost the step its order, a corner the braking current's peak.
    """
    stretch = 0.5 * np.diff(speed_m_per_s**2) / spacing_m
    stretch[stretch > -LEAST_BRAKING] = 0.0
    nodes = 0.5 * (np.concatenate([stretch[:1], stretch]) + np.concatenate([stretch, stretch[-1:]]))
    reach = max(1, round(BRAKE_EASE_M / spacing_m))
    triangle = np.concatenate([np.arange(1, reach + 1), np.arange(reach - 1, 0, -1)]) / reach**2
    padded = np.pad(nodes, reach - 1, mode="edge")
    return np.convolve(padded, triangle, mode="valid")
