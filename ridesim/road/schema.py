"""The road file: every key of every kind of road, with unit, range, default and meaning.

`[road]` says what makes the road; `[[stop]]`, `[[speed_limit]]` and `[[surface]]` furnish it.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import Field, Strict, create_model, model_validator

from ridesim.errors import RoadError
from ridesim.road.limits import (
    ALTITUDE_M,
    DEFAULT_SMOOTHING_M,
    DEFAULT_SPACING_M,
    LONGEST_ROAD_M,
    SMOOTHING_M,
    SPACING_M,
)
from ridesim.schema.problems import Document
from ridesim.schema.section import Section, fault, key
from ridesim.units import from_si

LONGEST_KM = from_si(LONGEST_ROAD_M, "km")
STEEPEST_PERCENT = 60.0

Kilometres = tuple[Annotated[float, Strict(), Field(ge=0.0, le=LONGEST_KM)], ...]
Altitudes = tuple[Annotated[float, Strict(), Field(ge=ALTITUDE_M.low, le=ALTITUDE_M.high)], ...]
Seconds = tuple[Annotated[float, Strict(), Field(ge=0.0, le=1e6)], ...]
Speeds = tuple[Annotated[float, Strict(), Field(ge=0.0, le=150.0)], ...]
SurfaceKind = Literal[
    "asphalt", "concrete", "paving", "cobbles", "fine_gravel", "gravel", "earth", "grass", "mud", "sand"
]


def _switch(meaning: str) -> Any:
    return Field(False, description=meaning, strict=True)


def _name(default: Any, meaning: str) -> Any:
    return Field(default, description=meaning, min_length=1)


def _length(meaning: str) -> Any:
    return key(..., meaning, 0.01, LONGEST_KM)


def _grade(default: Any, meaning: str) -> Any:
    return key(default, meaning, -STEEPEST_PERCENT, STEEPEST_PERCENT)


class AnyRoad(Section):
    """What every road has."""

    kind: str = key(..., "what makes the road")
    name: str | None = _name(None, "a name for the road (default: the recording's, or the kind)")
    flat: bool = _switch("true takes all slope out")
    spacing_m: float = key(DEFAULT_SPACING_M, "distance between the nodes of the road", *SPACING_M)


class MadeRoad(AnyRoad):
    """What every road without a recording has."""

    bearing_deg: float = key(0.0, "heading, clockwise from north", -360, 360)
    start_altitude_m: float = key(0.0, "altitude where the road begins", *ALTITUDE_M)


class FlatRoad(MadeRoad):
    """A level road."""

    kind: Literal["flat"] = key(..., "a level road")
    length_km: float = _length("length along the road surface")


class ClimbRoad(MadeRoad):
    """A road of one grade."""

    kind: Literal["climb"] = key(..., "a road of one grade")
    length_km: float = _length("length along the road surface")
    grade_percent: float = _grade(..., "rise per run; below zero it descends")


class RampRoad(MadeRoad):
    """A steep ramp between two easier stretches."""

    kind: Literal["ramp"] = key(..., "a steep ramp between two easier stretches")
    approach_km: float = key(..., "road before the ramp", 0, LONGEST_KM)
    ramp_km: float = _length("length of the ramp")
    run_out_km: float = key(0.0, "road after the ramp", 0, LONGEST_KM)
    grade_percent: float = _grade(..., "rise per run on the ramp")
    base_grade_percent: float = _grade(0.0, "rise per run before and after it")


class HillsRoad(MadeRoad):
    """Hills of one height and length, one after the other."""

    kind: Literal["hills"] = key(..., "hills of one height, one after the other")
    length_km: float = _length("length along the road surface")
    hill_height_m: float = key(..., "from valley to top", -1000, 1000)
    hill_length_km: float = key(..., "from valley to valley", 0.05, 100)


class PointsRoad(AnyRoad):
    """Straight slopes between points."""

    kind: Literal["points"] = key(..., "straight slopes between points")
    bearing_deg: float = key(0.0, "heading, clockwise from north", -360, 360)
    distance_km: Kilometres = Field(..., description="distances along the road surface, from 0", min_length=2)
    altitude_m: Altitudes = Field(..., description="altitudes, one a distance", min_length=2)
    smoothing_m: float = key(0.0, "width at half height of the Gaussian that rounds the corners", *SMOOTHING_M)

    @model_validator(mode="after")
    def _a_line(self) -> PointsRoad:
        _refuse_columns("distance_km", self.distance_km, "altitude_m", self.altitude_m)
        if self.distance_km[0] != 0.0:
            raise fault("distance_km", f"begins at {self.distance_km[0]:g} km; let the distances begin at 0")
        return self


class CycleRoad(MadeRoad):
    """A road driven by the clock."""

    kind: Literal["cycle"] = key(..., "speeds by the clock, as a driving cycle")
    time_s: Seconds = Field((), description="times of the cycle")
    speed_km_h: Speeds = Field((), description="speeds, one a time")
    file: str | None = _name(None, "instead of the lists: a CSV beside this file with columns time_s and speed_km_h")
    grade_percent: float = _grade(0.0, "rise per run")

    @model_validator(mode="after")
    def _one_way_to_say_it(self) -> CycleRoad:
        lists = bool(self.time_s or self.speed_km_h)
        if lists == (self.file is not None):
            raise fault("file", "and the lists exclude each other; give either time_s and speed_km_h, or file")
        if lists:
            _refuse_columns("time_s", self.time_s, "speed_km_h", self.speed_km_h)
        return self


class GpxRoad(AnyRoad):
    """A recording, or a route that was drawn."""

    kind: Literal["gpx"] = key(..., "a recorded track or a drawn route")
    file: str = _name(..., "a GPX file beside this file")
    smoothing_m: float = key(
        DEFAULT_SMOOTHING_M, "width at half height of the Gaussian that smooths the altitude", *SMOOTHING_M
    )
    as_it_is: bool = _switch("true leaves the faults of the recording as they are")


def _refuse_columns(along: str, at: tuple[float, ...], what: str, values: tuple[float, ...]) -> None:
    """Raise a fault unless two columns pair up and the first rises throughout."""
    if len(at) != len(values) or len(at) < 2:
        raise fault(what, f"has {len(values)} numbers and {along} {len(at)}; give one for one, at least 2")
    falls = [number for number, (before, after) in enumerate(pairwise(at), start=1) if after <= before]
    if falls:
        told = f"does not rise after entry {falls[0]} ({at[falls[0] - 1]:g}, then {at[falls[0]]:g})"
        raise fault(along, f"{told}; put the entries in order and drop repeats")


class Stop(Section):
    """A place to stand still."""

    at_km: float = key(..., "where", 0, LONGEST_KM)
    dwell_s: float = key(..., "for how long", 0, 86_400)


class SpeedLimit(Section):
    """A stretch with a speed limit."""

    from_km: float = key(..., "where it begins", 0, LONGEST_KM)
    to_km: float = key(..., "where it ends", 0, LONGEST_KM)
    speed_km_h: float = key(..., "the limit", 1, 150)


class Surface(Section):
    """A stretch with a surface of its own; asphalt elsewhere."""

    from_km: float = key(..., "where it begins", 0, LONGEST_KM)
    to_km: float = key(..., "where it ends", 0, LONGEST_KM)
    kind: SurfaceKind = key(..., "what the road is made of")


class Furniture(Section):
    """What a road file has beside the road itself."""

    stop: tuple[Stop, ...] = Field((), description="places to stand still")
    speed_limit: tuple[SpeedLimit, ...] = Field((), description="stretches with a speed limit; the lower one holds")
    surface: tuple[Surface, ...] = Field((), description="stretches that are not asphalt; the later one holds")


AnyKind = FlatRoad | ClimbRoad | RampRoad | HillsRoad | PointsRoad | CycleRoad | GpxRoad
KINDS: dict[str, type[AnyRoad]] = {
    "flat": FlatRoad, "climb": ClimbRoad, "ramp": RampRoad, "hills": HillsRoad, "points": PointsRoad,
    "cycle": CycleRoad, "gpx": GpxRoad,
}  # fmt: skip
"""The model of `[road]` for each kind."""


class RoadFile(Furniture):
    """A whole road file, whatever its kind: for the JSON schema."""

    road: Annotated[AnyKind, Field(discriminator="kind", description="what makes the road")]


def document_of(kind: str) -> Document:
    """Return the document of a kind of road: its model, and how its faults are told."""
    return Document(FILES[kind], RoadError)


FILES: dict[str, Any] = {
    kind: create_model(
        f"{model.__name__}File", __base__=Furniture, road=(model, Field(..., description="what makes the road"))
    )
    for kind, model in KINDS.items()
}
"""The model of a whole file for each kind; faults are then told without the detour over all kinds."""
