"""What it means to ride a road again and again: where a lap ends, and whether gravity alone would ride it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ridesim.road.profile import LEVEL_RETURN_M, Road

if TYPE_CHECKING:
    from ridesim.ride.result import Ridden

FALLS_AWAY = "the road falls all the way: ridden again and again it is a descent without end, which tells no range"

SAME_PLACE = 1e-6
"""Share of a lap by which a ride may end beyond it: that is its end, not the next one's start."""


def laps_behind(distance: Any, lap: float) -> Any:
    """Return how many whole laps lie behind a ridden distance, a number or an array; at a lap's end it is not yet one.

    Both in one unit.
    """
    return np.maximum(np.ceil(np.asarray(distance) / lap - SAME_PLACE) - 1.0, 0.0)


def along_lap(distance: float, lap: float) -> float:
    """Return where on a lap a ridden distance ends, both in one unit: from 0 to the lap's whole length."""
    return min(distance - float(laps_behind(distance, lap)) * lap, lap)


def rise_a_lap_m(road: Road) -> float:
    """Return how far a lap ends above its start [m]; 0 where it comes back to its height."""
    rise = float(road.altitude_m[-1] - road.altitude_m[0])
    return rise if abs(rise) > LEVEL_RETURN_M else 0.0


def falls_away(ride: Ridden) -> bool:
    """Return whether a lap falls by more than rolling takes, so that the bike would roll it on and on by itself."""
    return -rise_a_lap_m(ride.road) > float(ride.arrays.nodes["rolling"].mean()) * ride.road.length_m
