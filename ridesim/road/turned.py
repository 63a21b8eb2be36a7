"""The same road the other way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ridesim.road.profile import Road, Stop

HALF_TURN_DEG, FULL_TURN_DEG = 180.0, 360.0


def turned_round(road: Road) -> Road:
    """Return a road from its end to its start; stops, limits, surfaces and bends keep their places on the ground.

    What a recorder's clock told (its speeds and pauses) belongs to the other way and is left out; a road that is driven
    by the clock is the same both ways and returned as it is.
    """
    if road.cycle is not None:
        return road
    back = lambda values: None if values is None else values[::-1].copy()  # noqa: E731
    return replace(
        road,
        name=f"{road.name}, back",
        altitude_m=road.altitude_m[::-1].copy(),
        grade=-road.grade[::-1],
        bearing_deg=np.mod(road.bearing_deg[::-1] + HALF_TURN_DEG, FULL_TURN_DEG),
        curvature_per_m=road.curvature_per_m[::-1].copy(),
        rolling_factor=road.rolling_factor[::-1].copy(),
        surface=road.surface[::-1],
        speed_limit_m_per_s=road.speed_limit_m_per_s[::-1].copy(),
        stops=tuple(Stop(road.length_m - stop.distance_m, stop.dwell_s) for stop in reversed(road.stops)),
        recorded_speed_m_per_s=None,
        recorded_pauses=(),
        latitude_deg=back(road.latitude_deg),
        longitude_deg=back(road.longitude_deg),
        recorded_altitude_m=back(road.recorded_altitude_m),
        mendings=(),
    )
