"""What a workshop command is given: shared options, lists of numbers, a build or figures by hand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridesim.cli.options import PLAIN_READING, Reading, choice
from ridesim.errors import RideError

if TYPE_CHECKING:
    from ridesim.bike.load import LoadedBuild
    from ridesim.ride.simulate import Ride
    from ridesim.road.profile import Road
    from ridesim.workshop.loads import RideLoads


OptionalBuild = Annotated[
    str | None, typer.Argument(metavar="BUILD", help="Build file (TOML); or give the numbers by hand.")
]
OptionalRoad = Annotated[
    str | None, typer.Argument(metavar="ROAD", help="Road to ride; without one, a climb (--grade, --minutes).")
]
RoadOrGrade = Annotated[str | None, typer.Argument(metavar="[ROAD]", help="Road: a GPX file or a road file (TOML).")]
Grade = Annotated[float | None, choice("--grade", "PERCENT", "Grade of the climb that stands in for ROAD.", "Ride")]
Minutes = Annotated[float | None, choice("--minutes", "MIN", "Length of that climb.", "Ride")]


def load_pair(
    build: str, road: str | None, set_: list[str] | None, reading: Reading = PLAIN_READING, *, both: bool = False
) -> tuple[LoadedBuild, Road | None, dict[str, Any]]:  # fmt: skip
    """Load a build and perhaps a road; return them with the inputs that a JSON answer names.

    `both`: the command knows bikes of two different drives; raises BuildError for them otherwise.
    """
    from ridesim.bike.load import load_build
    from ridesim.bike.second import refuse_second
    from ridesim.cli import options
    from ridesim.cli.answer import inputs_of

    loaded = load_build(build, options.overrides(set_))
    if not both:
        refuse_second(loaded.build, "this command")
    ridden = None if road is None else reading.load(road)
    return loaded, ridden, inputs_of([loaded], [] if ridden is None or road is None else [(road, ridden.name)])


def climb_of(road: Road | None, grade: float | None, minutes: float | None) -> tuple[float, float]:
    """Return grade and length of the climb that stands in for a road. Raises RideError when both are given."""
    from ridesim.workshop.loads import CLIMB_GRADE_PERCENT, CLIMB_MIN

    if road is not None and (grade is not None or minutes is not None):
        raise RideError("--grade and --minutes", "describe a climb, but ROAD is given too", "leave out one of them")
    return CLIMB_GRADE_PERCENT if grade is None else grade, CLIMB_MIN if minutes is None else minutes


def name_climb(inputs: dict[str, Any], road: Road | None, grade: float | None, minutes: float | None) -> None:
    """Put the climb that stands in for a road among the inputs that a JSON answer names."""
    if road is None:
        slope, length = climb_of(None, grade, minutes)
        inputs["climb"] = {"grade_percent": slope, "minutes_min": length}


def refuse_unused(where: str, **given: Any) -> None:
    """Raise RideError when options are given that the chosen way of asking does not read."""
    named = [f"--{name.replace('_', '-')}" for name, value in given.items() if value is not None]
    if named:
        raise RideError(where, f"does not read {', '.join(named)}", "leave it out")


OfDrive = Annotated[int | None, choice("--drive", "1|2", "Of two different drives, the one that is asked of.", "Ride")]


def ridden_drive(
    loaded: LoadedBuild, road: Road | None, grade: float | None, minutes: float | None, drive: int | None
) -> tuple[LoadedBuild, RideLoads]:
    """Ride the road, or the stated climb, and return the build and its loads, of two drives as the named one has them.

    Raises BuildError where two different drives are there and none is named, or a drive that is not there.
    """
    from ridesim.bike.second import geared_drive, refuse_second
    from ridesim.workshop.loads import NAME_A_DRIVE, loads_of_drive

    if drive is None:
        refuse_second(loaded.build, "this command", NAME_A_DRIVE)
    geared_drive(loaded.build, drive or 1)
    return loads_of_drive(ridden_road(loaded, road, grade, minutes), drive)


def ridden_road(loaded: LoadedBuild, road: Road | None, grade: float | None, minutes: float | None) -> Ride:
    """Ride the road, or the stated climb."""
    from ridesim.cli.output import say_if_compiling
    from ridesim.workshop.loads import ride_of

    slope, length = climb_of(road, grade, minutes)
    say_if_compiling(loaded)
    return ride_of(loaded, road, slope, length)


def numbers(option: str, text: str, names: Sequence[str], least: int | None = None) -> list[float]:
    """Return the numbers of a comma-separated option; `least` of them are needed. Raises RideError."""
    pieces = [piece.strip() for piece in text.split(",")]
    wanted = ",".join(names)
    if not (len(names) if least is None else least) <= len(pieces) <= len(names):
        raise RideError(option, f"{text!r} has {len(pieces)} numbers", f"write {option} {wanted}")
    try:
        return [float(piece) for piece in pieces]
    except ValueError:
        raise RideError(option, f"{text!r} is not a list of numbers", f"write {option} {wanted}") from None


def whole(option: str, value: float) -> int:
    """Return a number that must be whole. Raises RideError."""
    if value != int(value):
        raise RideError(option, f"{value:g} is not a whole number", "count again")
    return int(value)


def needed(option: str, value: Any) -> Any:
    """Return a value that this question cannot do without. Raises RideError."""
    if value is None:
        raise RideError(option, "is missing", "give it, or name a BUILD that has it")
    return value
