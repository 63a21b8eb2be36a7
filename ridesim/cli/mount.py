"""`ridesim mount`: does what holds the drive hold?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from ridesim.cli import given, options
from ridesim.cli.answer import Wanted, answer
from ridesim.cli.output import answering, envelope

if TYPE_CHECKING:
    pass

EXAMPLE = (
    "Example: ridesim mount configs/longtail-two-stage.toml routes/ridge-climb.gpx --set mount.joint.kind=clamp "
    "--set mount.wheel_pulley.bolts=6"
)


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("mount", epilog=EXAMPLE, no_args_is_help=True)(mount)


@answering
def mount(
    build: options.BuildFile,
    road: given.OptionalRoad = None,
    grade: given.Grade = None,
    minutes: given.Minutes = None,
    flat: options.Flat = False,
    smooth: options.Smooth = None,
    as_it_is: options.AsItIs = False,
    set_: options.Set = None,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
    units: options.UnitSystem = options.Units.metric,
) -> None:
    """Judge what holds BUILD's drive: shaft, pulley joint, bolts, arms and bracket, at the peak and for good."""
    loaded, ridden, inputs = given.load_pair(build, road, set_, smooth=smooth, flat=flat, as_it_is=as_it_is)
    loads = given.ridden_loads(loaded, ridden, grade, minutes)
    given.name_climb(inputs, ridden, grade, minutes)
    from ridesim.report.mount.plain import mount_figures
    from ridesim.report.mount.view import view
    from ridesim.workshop.mount.sheet import check_mount

    result = check_mount(loaded, loads)
    payload = envelope("mount", inputs, **mount_figures(result))
    wanted = Wanted(as_json, out, report, units.value)
    pictures = ("safeties",) if result.parts else ()
    answer(wanted, payload, lambda drawn: view(result, units.value, pictures=drawn), [loaded], pictures=pictures)
