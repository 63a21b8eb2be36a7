"""`ridesim ride`: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridesim.cli import options
from ridesim.cli.answer import csv_writer
from ridesim.cli.output import (
    command,
    envelope,
    print_json,
    say,
    say_if_compiling,
    show,
    to_json,
)
from ridesim.cli.writing import keeping, whole_file, write_all
from ridesim.errors import Interrupted

if TYPE_CHECKING:
    from ridesim.ride.range import Outlook
    from ridesim.ride.simulate import Ride
    from ridesim.sure.spread import Spread

MOST_ROWS_KEPT = 2000
"""Rows of an interrupted ride that are written: quick enough to answer at once."""
EXAMPLE = "Example: ridesim ride configs/longtail-belt.toml routes/ridge-climb.gpx --out rides/ridge"


@command("ride", EXAMPLE)
def ride(
    build: options.BuildFile,
    road: options.RoadFile,
    speed: options.Speed = None,
    as_recorded: Annotated[bool, options.flag("--as-recorded", "Ride at the recording's own speed.", "Ride")] = False,
    law: Annotated[options.Law | None, options.flag("--law", "Throttle law instead of the build's.", "Ride")] = None,
    no_limits: Annotated[bool, options.flag("--no-limits", "Switch the controller's limits off.", "Ride")] = False,
    laps: Annotated[int, options.flag("--laps", "Ride the road this often.", "Ride")] = 1,
    accuracy: Annotated[
        str, typer.Option(help="draft (1 %), normal (0.1 %) or fine (0.01 %).", rich_help_panel="Ride")
    ] = "normal",
    step: Annotated[
        float | None,
        options.choice("--step", "S", "Longest time step, in place of an accuracy: for tests of convergence.", "Ride"),
    ] = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    plots: Annotated[bool, options.flag("--plots/--no-plots", "With --out: draw the pictures.", "Answer")] = True,
    quick: options.Quick = False,
    defaults: Annotated[bool, options.flag("--defaults", "List the defaults and estimates.", "Answer")] = False,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Ride BUILD over ROAD: time, range, currents, heat, and whether it arrives."""
    from ridesim.bike.load import load_build
    from ridesim.ride.simulate import simulate

    loaded = load_build(build, options.overrides(set_))
    ridden = reading.load(road)
    say_if_compiling(loaded)
    ridden_whole: Ride | None = None
    try:
        ridden_whole = simulate(
            loaded,
            ridden,
            cruise_speed_km_h=speed,
            speed_source="recorded" if as_recorded else "plan",
            throttle_law=law.value if law else None,
            limits=not no_limits,
            laps=laps,
            step_s=step,
            accuracy=accuracy,
        )
        _answer(ridden_whole, road, wanted, plots, defaults, quick)
    except Interrupted as end:
        raise _kept(end, ridden_whole, wanted.out) from None


def _kept(end: Interrupted, whole: Ride | None, out: Path | None) -> Interrupted:
    """Return the interrupt with what was kept of the ride: its trace, where files were asked for."""
    done, so_far = ("the ride, while its range was ridden", whole) if whole else (end.done, end.left)
    from ridesim.engine.params import current_scale
    from ridesim.ride.simulate import Ride
    from ridesim.ride.trace import trace_columns

    keeping.set()
    if out is None or not isinstance(so_far, Ride) or not len(so_far.raw.trace):
        return Interrupted(done)
    thinned = so_far.raw.trace[:: 1 + len(so_far.raw.trace) // MOST_ROWS_KEPT]
    columns = trace_columns(thinned, current_scale(so_far.build))
    rows = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    (kept,) = write_all(out, {"trace-so-far.csv": csv_writer(rows)})
    return Interrupted(f"{done}, kept in {kept}")


def _answer(answer: Ride, road: str, wanted: options.Wanted, plots: bool, defaults: bool, quick: bool) -> None:
    from ridesim.report.ride.plain import sure_figures
    from ridesim.ride.range import outlook_of

    outlook, units = outlook_of(answer), wanted.units.value
    told = None if quick else _how_sure(answer, outlook)
    if told is not None:
        from ridesim.sure.gear_setting import with_gear_chances

        outlook = with_gear_chances(answer, outlook)
    payload = ride_payload(answer, outlook, road) | sure_figures(answer, told)
    if wanted.out is not None:
        written = write_all(wanted.out, ride_files(answer, payload, plots=plots, units=units))
        say(f"wrote {len(written)} files to {wanted.out}")
    if wanted.report is not None:
        from ridesim.report.page import write_ride_page

        with whole_file(wanted.report) as place:
            write_ride_page(answer, outlook, place, payload, units, told)
        say(f"wrote {wanted.report}")
    if wanted.as_json:
        print_json(payload)
        return
    from ridesim.report.text import defaults_text, ride_text

    show(ride_text(answer, outlook, units, told))
    if defaults:
        show("\n" + defaults_text(answer))


def _how_sure(answer: Ride, outlook: Outlook) -> Spread | None:
    """Ride bikes like this one; their number is kept short enough not to be waited for."""
    from ridesim.sure.beside import beside_with_range

    return beside_with_range(answer, outlook.range_km)


def ride_payload(answer: Ride, outlook: Outlook, road: str) -> dict[str, Any]:
    """Return the JSON answer of a ride: the head, and the summary's keys beside it."""
    from ridesim.report.ride.plain import ride_figures

    inputs = {
        "build": {"path": answer.loaded.path, "sha256": answer.loaded.sha256, "name": answer.build.name},
        "road": {"path": road, "sha256": file_hash(road), "name": answer.road.name},
        "options": dict(vars(answer.options)),
    }
    return envelope("ride", inputs, **ride_figures(answer, outlook))


def file_hash(path: str) -> str | None:
    """Return the SHA-256 of a file, or None where it cannot be read."""
    import hashlib

    try:
        with Path(path).open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None


def ride_files(answer: Ride, payload: dict[str, Any], *, plots: bool, units: str) -> dict[str, Any]:
    """Return what `--out` writes: file name -> writer(path)."""
    files: dict[str, Any] = {
        "trace.csv": lambda path: answer.trace.to_csv(path, index=False, float_format="%.6g"),
        "summary.json": lambda path: path.write_text(to_json(payload) + "\n", encoding="utf-8"),
    }
    if _has_parquet():
        files["trace.parquet"] = lambda path: answer.trace.to_parquet(path, index=False)
    if plots:
        from ridesim.report.ride.figures import PICTURES, draw
        from ridesim.report.style import save

        for name in PICTURES:
            files[f"{name}.png"] = lambda path, name=name: save(draw(answer, name, units=units), path)
    return files


def _has_parquet() -> bool:
    from importlib.util import find_spec

    return find_spec("pyarrow") is not None
