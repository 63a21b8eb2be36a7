"""GPX files: read the raw points of a track or a route, and refuse what cannot be one."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RoadError
from ridesim.units import from_si

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpxpy.gpx import GPX

MOST_BYTES = 64 * 1024 * 1024  # guess: a day at 1 s with extensions is about 15 MB
LOWEST_ALTITUDE_M = -500.0  # the shore of the Dead Sea is at -430 m
HIGHEST_ALTITUDE_M = 9000.0  # the highest summit is 8849 m

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
    is_route: bool
    warnings: tuple[str, ...]

    def kept(self, keep: NDArray[Any], **changes: Any) -> RawTrack:
        """Return only the points that `keep` (mask or indices) selects, with other columns changed."""
        names = ("latitude_deg", "longitude_deg", "altitude_m", "time_s", "segment")
        columns: dict[str, Any] = {name: getattr(self, name)[keep] for name in names}
        fixed: dict[str, Any] = {"name": self.name, "is_route": self.is_route, "warnings": self.warnings}
        return RawTrack(**(columns | fixed | changes))


def parse_gpx(path: Path) -> RawTrack:
    """Return the points of a GPX file: its tracks, or its routes where there is no track. Raises RoadError."""
    document = _parse_document(path, read_text(path))
    segments, is_route, warnings = _choose_lines(document)
    points = [point for segment in segments for point in segment]
    if len(points) < 2:
        waypoints = f" ({len(document.waypoints)} waypoints)" if document.waypoints else ""
        what = f"no road in the file: {len(points)} points on tracks and routes{waypoints}, at least 2 needed"
        raise RoadError(str(path), what, "export the ride as a track or a route")
    numbers = np.repeat(np.arange(len(segments)), [len(segment) for segment in segments])
    track = RawTrack(
        name=_name_of(document) or path.stem,
        latitude_deg=_column(points, "latitude"),
        longitude_deg=_column(points, "longitude"),
        altitude_m=_column(points, "elevation"),
        time_s=np.array([_seconds(point.time) for point in points]),
        segment=numbers,
        is_route=is_route,
        warnings=warnings,
    )
    _refuse_absurd(path, track, points)
    return track


def read_text(path: Path) -> str:
    """Return the text of an XML file without its declaration. Raises RoadError for what must not be parsed."""
    raw = _read_bytes(path)
    text = _decoded(path, raw)
    if re.search(r"<!\s*(DOCTYPE|ENTITY)", text, re.IGNORECASE):
        what = "holds a DOCTYPE or ENTITY declaration, which a GPX file never needs and which can hide an attack"
        raise RoadError(str(path), what, "export the track again, or delete that declaration")
    text = re.sub(r"\A\s*<\?xml[^>]*\?>", "", text)
    if not text.lstrip().startswith("<"):
        raise RoadError(str(path), "is not XML", "give a GPX file, exported as GPX 1.1")
    return text


def _read_bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            what = f"the file is too large ({from_si(size, 'mb'):.0f} MB, at most {from_si(MOST_BYTES, 'mb'):.0f} MB)"
            raise RoadError(str(path), what, "split the recording or drop its extensions")
        return path.read_bytes()
    except FileNotFoundError:
        raise RoadError(str(path), "no such file", "check the path") from None
    except OSError as error:
        raise RoadError(str(path), f"cannot be read ({error.strerror or error})", "check the path") from None


def _decoded(path: Path, raw: bytes) -> str:
    """Return the bytes as text, by byte order mark, else by declared encoding, else UTF-8."""
    declared = re.match(rb"\s*<\?xml[^>]*encoding=[\"']([A-Za-z0-9._-]+)[\"']", raw)
    encoding = declared.group(1).decode("ascii") if declared else "utf-8"
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    elif raw.startswith(b"\xef\xbb\xbf"):
        encoding = "utf-8-sig"
    try:
        text = raw.decode(encoding)
    except (UnicodeError, LookupError):
        what = f"cannot be read as text (encoding {encoding})"
        raise RoadError(str(path), what, "save the file as UTF-8") from None
    if "\x00" in text:
        raise RoadError(str(path), "is not XML (it holds zero bytes)", "give a GPX file, exported as GPX 1.1")
    return text


def _parse_document(path: Path, text: str) -> GPX:
    from gpxpy.gpx import GPXException, GPXXMLSyntaxException
    from gpxpy.parser import GPXParser

    if not re.search(r"<(\w+:)?gpx[\s>]", text):
        raise RoadError(str(path), "is XML but not GPX (no <gpx> element)", "export the track as GPX 1.1")
    try:
        return GPXParser(text).parse()
    except GPXXMLSyntaxException as error:
        what = f"is broken XML ({_in_one_line(error)})"
        raise RoadError(str(path), what, "export the track again; the file may be cut short") from None
    except (GPXException, ValueError, TypeError, KeyError, AttributeError, OverflowError) as error:
        what = f"breaks the rules of GPX ({_in_one_line(error)})"
        raise RoadError(str(path), what, "export the track again as GPX 1.1") from None
    except RecursionError:
        raise RoadError(str(path), "is nested too deeply for GPX", "export the track again") from None


def _in_one_line(error: Exception) -> str:
    return " ".join(str(error).split())[:160]


def _choose_lines(document: GPX) -> tuple[list[Any], bool, tuple[str, ...]]:
    """Return the point lists of all segments that are not empty, whether they are routes, and warnings."""
    tracks = [[s.points for s in track.segments if s.points] for track in document.tracks]
    tracks = [track for track in tracks if track]
    routes = [route.points for route in document.routes if route.points]
    if tracks:
        ignored = (f"{len(routes)} routes beside the track are not used",) if routes else ()
        joined = (f"{len(tracks)} tracks in the file are joined in order",) if len(tracks) > 1 else ()
        return [segment for track in tracks for segment in track], False, joined + ignored
    joined = (f"{len(routes)} routes in the file are joined in order",) if len(routes) > 1 else ()
    return routes, True, joined


def _name_of(document: GPX) -> str:
    named = [document.name, *(t.name for t in document.tracks), *(r.name for r in document.routes)]
    return next((" ".join(name.split()) for name in named if name and name.strip()), "")


def _column(points: Sequence[Any], field: str) -> Array:
    values = (getattr(point, field) for point in points)
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _seconds(time: datetime | None) -> float:
    """Return seconds since 1970; a time without zone counts as UTC, as GPX asks."""
    if time is None:
        return np.nan
    return (time if time.tzinfo else time.replace(tzinfo=UTC)).timestamp()


def _refuse_absurd(path: Path, track: RawTrack, points: Sequence[Any]) -> None:
    """Raise RoadError for the first coordinate or altitude that no place on land has."""
    told = np.array([point.elevation is not None for point in points])
    columns = (
        ("latitude", track.latitude_deg, -90.0, 90.0, "°", np.ones(told.shape, dtype=bool)),
        ("longitude", track.longitude_deg, -180.0, 180.0, "°", np.ones(told.shape, dtype=bool)),
        ("altitude", track.altitude_m, LOWEST_ALTITUDE_M, HIGHEST_ALTITUDE_M, " m", told),
    )
    for name, values, low, high, unit, present in columns:
        bad = np.flatnonzero(present & ~((values >= low) & (values <= high)))
        if bad.size:
            where = f"{path}, point {bad[0] + 1}"
            what = f"{name} is impossible ({values[bad[0]]:g}{unit}, allowed {low:g} to {high:g}{unit})"
            raise RoadError(where, what, f"delete the point or mend it ({bad.size} such points)")
