"""What the workshop's commands share: reading lists of numbers, and one way to answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridesim.cli.output import command_line, envelope, print_json, say, to_json, write_all
from ridesim.errors import RideError

if TYPE_CHECKING:
    from ridesim.build.load import LoadedBuild
    from ridesim.report.view import View
    from ridesim.road.profile import Road

OptionalBuild = Annotated[
    str | None, typer.Argument(metavar="[BUILD]", help="Build file (TOML); or give the numbers by hand.")
]
OptionalRoad = Annotated[
    str | None, typer.Argument(metavar="[ROAD]", help="Road to ride; without one, a climb (--grade, --minutes).")
]
Grade = Annotated[
    float | None,
    typer.Option("--grade", metavar="PERCENT", help="Grade of the climb without ROAD.", rich_help_panel="Ride"),
]
Minutes = Annotated[
    float | None,
    typer.Option("--minutes", metavar="MIN", help="Length of the climb without ROAD.", rich_help_panel="Ride"),
]


def load_pair(
    build: str, road: str | None, set_: list[str] | None, smooth: float | None = None, flat: bool = False
) -> tuple[LoadedBuild, Road | None, dict[str, Any]]:
    """Load a build and perhaps a road; return them with the inputs that a JSON answer names."""
    from ridesim.build.load import load_build
    from ridesim.cli import options
    from ridesim.cli.ride import file_hash
    from ridesim.road.load import load_road

    loaded = load_build(build, options.overrides(set_))
    inputs: dict[str, Any] = {"build": {"path": build, "sha256": loaded.sha256, "name": loaded.build.name}}
    ridden = None if road is None else load_road(road, smoothing_m=smooth, flat=flat)
    if ridden is not None:
        inputs["road"] = {"path": road, "sha256": file_hash(str(road)), "name": ridden.name}
    return loaded, ridden, inputs


def ridden_loads(
    loaded: LoadedBuild, road: Road | None, grade: float | None, minutes: float | None
) -> tuple[Any, dict[str, Any]]:
    """Ride the road, or the stated climb, and return the loads with the climb's words for the inputs."""
    from ridesim.cli.output import say_if_compiling
    from ridesim.workshop.loads import CLIMB_GRADE_PERCENT, CLIMB_MIN, loads_of, ride_of

    refuse_climb_with_road(road, grade, minutes)
    slope, length = CLIMB_GRADE_PERCENT if grade is None else grade, CLIMB_MIN if minutes is None else minutes
    say_if_compiling()
    loads = loads_of(ride_of(loaded, road, slope, length))
    return loads, {} if road is not None else {"climb": {"grade_percent": slope, "minutes_min": length}}


def refuse_climb_with_road(road: Road | None, grade: float | None, minutes: float | None) -> None:
    """Raise RideError when a climb is described and a road named as well."""
    if road is not None and (grade is not None or minutes is not None):
        raise RideError("--grade and --minutes", "describe a climb, but ROAD is given too", "leave out one of them")


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


def as_plain(value: Any) -> Any:
    """Return a result as plain values for JSON; arrays (the course of a ride) stay out."""
    if is_dataclass(value) and not isinstance(value, type):
        pairs = ((each.name, getattr(value, each.name)) for each in fields(value))
        return {name: as_plain(item) for name, item in pairs if not hasattr(item, "dtype") or item.ndim == 0}
    if hasattr(value, "_asdict"):
        return {name: as_plain(item) for name, item in value._asdict().items() if not hasattr(item, "dtype")}
    if hasattr(value, "model_dump"):
        return value.model_dump()
    if isinstance(value, Mapping):
        return {key: as_plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [as_plain(item) for item in value]
    return value


def respond(
    kind: str,
    inputs: Mapping[str, Any],
    result: Any,
    view: Callable[[bool], View],
    *,
    out: Path | None,
    report: Path | None,
    as_json: bool,
    loaded: Sequence[LoadedBuild] = (),
) -> None:
    """Answer as asked: files, page, JSON or text. `view(with_figures)` makes the words, and the pictures if wanted."""
    payload = envelope(kind, inputs, **as_plain(result))
    shown = view(out is not None or report is not None) if out or report or not as_json else None
    if out is not None and shown is not None:
        written = write_all(out, _files(kind, payload, shown))
        say(f"wrote {len(written)} files to {out}")
    if report is not None and shown is not None:
        from ridesim.report.page import write_page

        write_page(report, shown, tuple(loaded), command_line())
        say(f"wrote {report}")
    if as_json:
        print_json(payload)
    elif shown is not None:
        from ridesim.report.view import view_text

        print(view_text(shown))


def _files(kind: str, payload: dict[str, Any], shown: View) -> dict[str, Callable[[Path], None]]:
    from ridesim.report.style import save
    from ridesim.report.view import view_text

    files: dict[str, Callable[[Path], None]] = {
        f"{kind}.json": lambda path: _write(path, to_json(payload)),
        f"{kind}.txt": lambda path: _write(path, view_text(shown)),
    }
    for number, (_, figure) in enumerate(shown.figures, start=1):
        files[f"{kind}-{number}.png"] = lambda path, figure=figure: save(figure, path)  # type: ignore[misc]
    return files


def _write(path: Path, text: str) -> None:
    path.write_text(text + "\n", encoding="utf-8")
