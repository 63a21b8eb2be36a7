"""Raw tracks with known truth, made for tests."""

from __future__ import annotations

import numpy as np

from ridesim.road.gpx import RawTrack

METRES_PER_DEGREE_NORTH = 111_132.9541  # WGS84 at 45 degrees of latitude, first two terms of the meridian series
METRES_PER_DEGREE_EAST = 78_846.8


def raw_track(
    east_m: np.ndarray,
    north_m: np.ndarray,
    altitude_m: np.ndarray | None = None,
    time_s: np.ndarray | None = None,
    segment: np.ndarray | None = None,
) -> RawTrack:
    """Return a raw track near 45 degrees north in metres from a start."""
    count = len(east_m)
    return RawTrack(
        name="made",
        latitude_deg=45.0 + np.asarray(north_m, dtype=float) / METRES_PER_DEGREE_NORTH,
        longitude_deg=7.0 + np.asarray(east_m, dtype=float) / METRES_PER_DEGREE_EAST,
        altitude_m=np.zeros(count) if altitude_m is None else np.asarray(altitude_m, dtype=float),
        time_s=np.full(count, np.nan) if time_s is None else np.asarray(time_s, dtype=float),
        segment=np.zeros(count, dtype=np.int64) if segment is None else segment,
        number=np.arange(count),
        is_route=False,
        warnings=(),
    )
