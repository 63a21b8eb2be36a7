"""`ridesim check`: one page of verdicts before the first turn of the wheel."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from ridesim.cli import given, options
from ridesim.cli.answer import Wanted, answer
from ridesim.cli.output import answering, envelope, say_if_compiling

if TYPE_CHECKING:
    pass

EXAMPLE = "Example: ridesim check configs/longtail-two-stage.toml routes/ridge-climb.gpx --report check.html"


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("check", epilog=EXAMPLE, no_args_is_help=True)(check)


@answering
def check(
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
    """Judge every part of BUILD by a ride over ROAD, or up a climb: fine, look again, or stop, and why."""
    loaded, ridden, inputs = given.load_pair(build, road, set_, smooth=smooth, flat=flat, as_it_is=as_it_is)
    slope, length = given.climb_of(ridden, grade, minutes)
    from ridesim.workshop.check.sheet import check_build

    say_if_compiling()
    result = check_build(loaded, ridden, slope, length)
    from ridesim.report.check.plain import check_figures
    from ridesim.report.check.view import view

    given.name_climb(inputs, ridden, grade, minutes)
    payload = envelope("check", inputs, **check_figures(result))
    answer(
        Wanted(as_json, out, report, units.value),
        payload,
        lambda pictures: view(result, units.value, pictures=pictures),
        [loaded],
        pictures=("margins",),
    )
