"""The way seen from above: where the road's nodes lie, east and north of its start."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ridesim.road.profile import Road

Array = NDArray[np.float64]

EARTH_RADIUS_M = 6_371_008.8
"""Mean radius (IUGG): for a picture, a sphere is round enough."""


def seen_from_above(road: Road) -> tuple[Array, Array]:
    """Return how far each node lies east and north of the start [m], (n,) each.

    A recording's own places, on the plane that touches a sphere at the start; a road without places is drawn by its
    bearings and lengths.
    """
    if road.latitude_deg is None or road.longitude_deg is None:
        return _by_bearings(road)
    aside = np.radians(np.mod(road.longitude_deg - road.longitude_deg[0] + 180.0, 360.0) - 180.0)
    north = EARTH_RADIUS_M * np.radians(road.latitude_deg - road.latitude_deg[0])
    return EARTH_RADIUS_M * np.cos(np.radians(road.latitude_deg.mean())) * aside, north


def _by_bearings(road: Road) -> tuple[Array, Array]:
    heading = np.radians(road.bearing_deg)
    level = np.diff(road.distance_m) * np.cos(np.arctan(0.5 * (road.grade[1:] + road.grade[:-1])))
    legs = [0.5 * level * (turn(heading)[1:] + turn(heading)[:-1]) for turn in (np.sin, np.cos)]
    east, north = (np.concatenate(([0.0], np.cumsum(leg))) for leg in legs)
    return east, north


def is_a_line(road: Road) -> bool:
    """Return whether the road never turns, so that from above there is nothing to see."""
    return bool(np.ptp(road.bearing_deg) == 0.0)
