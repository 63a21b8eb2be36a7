"""Load a road from a GPX recording or from a road file."""

from __future__ import annotations

from pathlib import Path

from ridesim.errors import RoadError
from ridesim.road.clean import clean_track
from ridesim.road.gpx import parse_gpx
from ridesim.road.keys import SMOOTHING, SPACING, Key
from ridesim.road.profile import DEFAULT_SPACING_M, Road
from ridesim.road.survey import DEFAULT_SMOOTHING_M, road_from_track
from ridesim.road.written import parse_road_toml


def load_road(
    path: str | Path, *, smoothing_m: float | None = None, spacing_m: float | None = None, flat: bool = False
) -> Road:
    """Return the road of a .gpx recording or a .toml road file.

    `smoothing_m` is the width at half height of the Gaussian that smooths the altitude, `spacing_m` the distance
    between nodes; None takes the file's, else the default. `flat` takes out all slope. Raises RoadError.
    """
    at = Path(path)
    _refuse_outside("smoothing", smoothing_m, SMOOTHING)
    _refuse_outside("spacing", spacing_m, SPACING)
    kind = at.suffix.lower()
    if kind == ".gpx":
        return _load_gpx(at, smoothing_m, spacing_m, flat)
    if kind == ".toml":
        return parse_road_toml(at, _load_gpx, smoothing_m, spacing_m, flat)
    raise RoadError(str(at), f"is neither .gpx nor .toml ({at.suffix or 'no ending'})", "give a road of either kind")


def _load_gpx(path: Path, smoothing_m: float | None, spacing_m: float | None, flat: bool) -> Road:
    track = clean_track(parse_gpx(path), str(path), flat)
    smoothing = DEFAULT_SMOOTHING_M if smoothing_m is None else smoothing_m
    return road_from_track(track, str(path), smoothing, DEFAULT_SPACING_M if spacing_m is None else spacing_m)


def _refuse_outside(name: str, value: float | None, key: Key) -> None:
    if value is not None and not key.low <= value <= key.high:
        what = f"{name} is out of range ({value:g} m, allowed {key.low:g} to {key.high:g} m)"
        raise RoadError(name, what, "choose a value inside it")
