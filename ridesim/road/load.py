"""Load a road from a GPX recording or from a road file."""

from __future__ import annotations

from pathlib import Path

from ridesim.errors import RoadError
from ridesim.road.clean import clean_track
from ridesim.road.gpx import parse_gpx
from ridesim.road.limits import DEFAULT_SMOOTHING_M, DEFAULT_SPACING_M
from ridesim.road.profile import Road
from ridesim.road.survey import road_from_track
from ridesim.road.wishes import Wishes


def load_road(
    path: str | Path,
    *,
    smoothing_m: float | None = None,
    spacing_m: float | None = None,
    flat: bool = False,
    as_it_is: bool = False,
) -> Road:
    """Return the road of a .gpx recording or a .toml road file.

    `smoothing_m` is the width at half height of the Gaussian that smooths the altitude, `spacing_m` the distance
    between nodes; None takes the file's, else the default. `flat` takes out all slope. `as_it_is` leaves the faults
    of a recording as they are: only repeated and disordered points go. Raises RoadError.
    """
    at, wishes = Path(path), Wishes(smoothing_m, spacing_m, flat, as_it_is)
    wishes.refuse_outside()
    kind = at.suffix.lower()
    if kind == ".gpx":
        return _load_gpx(at, wishes)
    if kind == ".toml":
        from ridesim.road.written import parse_road_toml  # pydantic is slow to import

        return parse_road_toml(at, _load_gpx, wishes)
    raise RoadError(str(at), f"is neither .gpx nor .toml ({at.suffix or 'no ending'})", "give a road of either kind")


def _load_gpx(path: Path, wishes: Wishes) -> Road:
    track = clean_track(parse_gpx(path), str(path), wishes.flat, wishes.as_it_is)
    smoothing = DEFAULT_SMOOTHING_M if wishes.smoothing_m is None else wishes.smoothing_m
    spacing = DEFAULT_SPACING_M if wishes.spacing_m is None else wishes.spacing_m
    return road_from_track(track, str(path), smoothing, spacing)
