"""GPX files: the raw points of a track or a route, as recorded."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RoadError
from ridesim.road.limits import LONGEST_CLOCK_S
from ridesim.road.stream import Found, Lines, read_gpx
from ridesim.units import from_si

IMPOSSIBLE_SHARE = 0.01  # of positions: more than this, and the file is not what it seems

Array = NDArray[np.float64]


@dataclass(frozen=True)
class RawTrack:
    """Points as recorded, in file order; missing altitudes and times are nan. Each array has shape (n,)."""

    name: str
    latitude_deg: Array
    longitude_deg: Array
    altitude_m: Array
    time_s: Array
    segment: NDArray[np.int64]
    number: NDArray[np.int64]
    """Of the point in the file, from 0."""
    is_route: bool
    warnings: tuple[str, ...]

    def kept(self, keep: NDArray[Any], **changes: Any) -> RawTrack:
        """Return only the points that `keep` (mask or indices) selects, with other columns changed."""
        names = ("latitude_deg", "longitude_deg", "altitude_m", "time_s", "segment", "number")
        columns: dict[str, Any] = {name: getattr(self, name)[keep] for name in names}
        fixed: dict[str, Any] = {"name": self.name, "is_route": self.is_route, "warnings": self.warnings}
        return RawTrack(**(columns | fixed | changes))


def parse_gpx(path: Path) -> RawTrack:
    """Return the points of a GPX file: its tracks, or its routes where there is no track. Raises RoadError."""
    found = read_gpx(path)
    lines, is_route, warnings = _choose_lines(found)
    latitude, longitude, altitude, time = lines.stacked()
    if len(latitude) < 2:
        waypoints = f" ({found.waypoints} waypoints)" if found.waypoints else ""
        what = f"no road in the file: {len(latitude)} points on tracks and routes{waypoints}, at least 2 needed"
        raise RoadError(str(path), what, "export the ride as a track or a route")
    time, told = _believable_clock(time, lines.bad_times)
    counts = [count for count in lines.counts if count]
    track = RawTrack(
        name=next((found.names[place] for place in NAMED if found.names.get(place)), path.stem),
        latitude_deg=latitude,
        longitude_deg=longitude,
        altitude_m=altitude,
        time_s=time,
        segment=np.repeat(np.arange(len(counts)), counts),
        number=np.arange(len(latitude)),
        is_route=is_route,
        warnings=warnings + told,
    )
    return _without_impossible_places(path, track)


NAMED = ("metadata", "gpx", "trk", "rte")
"""Whose name is the road's: the first that has one."""


def _choose_lines(found: Found) -> tuple[Lines, bool, tuple[str, ...]]:
    """Return the lines to ride, whether they are routes, and warnings."""
    tracks, routes = found.track, found.route
    if any(tracks.counts):
        ignored = (f"{routes.owners} routes beside the track are not used",) if any(routes.counts) else ()
        joined = (f"{tracks.owners} tracks in the file are joined in order",) if tracks.owners > 1 else ()
        return tracks, False, joined + ignored
    joined = (f"{routes.owners} routes in the file are joined in order",) if routes.owners > 1 else ()
    return routes, True, joined


def _believable_clock(time_s: Array, bad: int) -> tuple[Array, tuple[str, ...]]:
    """Return the times, all nan where the clock runs for months, and what to tell."""
    told = (f"{bad} times cannot be read and count as missing",) if bad else ()
    span = float(np.nanmax(time_s) - np.nanmin(time_s)) if np.isfinite(time_s).any() else 0.0
    if span > LONGEST_CLOCK_S:
        found, most = (from_si(seconds, "days") for seconds in (span, LONGEST_CLOCK_S))
        days = f"the times span {found:.0f} days, at most {most:.0f}: they are not used"
        return np.full_like(time_s, np.nan), (*told, days)
    return time_s, told


def _without_impossible_places(path: Path, track: RawTrack) -> RawTrack:
    """Return the track without points off the globe. Raises RoadError where they are no accident."""
    for name, values, most in (("latitude", track.latitude_deg, 90.0), ("longitude", track.longitude_deg, 180.0)):
        bad = np.flatnonzero(~(np.abs(values) <= most))
        if bad.size > IMPOSSIBLE_SHARE * len(values):
            what = f"{name} is impossible ({values[bad[0]]:g}°, allowed {-most:g} to {most:g}°)"
            raise RoadError(
                f"{path}, point {bad[0] + 1}", what, f"delete the point or mend it ({bad.size} such points)"
            )
    on_globe = (np.abs(track.latitude_deg) <= 90.0) & (np.abs(track.longitude_deg) <= 180.0)
    if on_globe.all():
        return track
    off = np.flatnonzero(~on_globe)
    told = f"{off.size} points off the globe dropped, the first is point {off[0] + 1} of the file"
    return track.kept(on_globe, warnings=(*track.warnings, told))
