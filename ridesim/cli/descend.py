"""`ridesim descend`: do the brakes cook on the way down?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from ridesim.cli import given, options
from ridesim.cli.answer import Wanted, answer, csv_writer
from ridesim.cli.output import answering, envelope, progress, say_if_compiling
from ridesim.report.plain import as_plain

if TYPE_CHECKING:
    pass

EXAMPLE = (
    "Example: ridesim descend configs/longtail-belt.toml --grade 8 --minutes 7, or with a road: ridesim descend "
    "configs/longtail-belt.toml routes/terrace-round.gpx --set brakes.front.kind=disc --set brakes.rear.kind=rim"
)


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("descend", epilog=EXAMPLE, no_args_is_help=True)(descend)


@answering
def descend(
    build: options.BuildFile,
    road: given.OptionalRoad = None,
    grade: given.Grade = None,
    minutes: given.Minutes = None,
    speed: options.Speed = None,
    flat: options.Flat = False,
    smooth: options.Smooth = None,
    as_it_is: options.AsItIs = False,
    set_: options.Set = None,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
    units: options.UnitSystem = options.Units.metric,
) -> None:
    """Do BUILD's brakes cook on the way down ROAD, or a grade? With regen, from a full pack, without, and by speed."""
    loaded, ridden, inputs = given.load_pair(build, road, set_, smooth=smooth, flat=flat, as_it_is=as_it_is)
    from ridesim.studies.descend import descend as ride_down
    from ridesim.studies.descend import descent, expected_rides

    if ridden is None:
        slope, length = given.climb_of(None, grade, minutes)
        inputs["descent"] = {"grade_percent": abs(slope), "minutes_min": length}
        ridden = descent(loaded.build, slope, length, speed)
    else:
        given.refuse_unused("descend with a ROAD", grade=grade, minutes=minutes)
    say_if_compiling()
    with progress("riding down", expected_rides()) as done:
        result = ride_down(loaded, ridden, cruise_speed_km_h=speed, done=done)
    from ridesim.report.descend.plain import descend_figures
    from ridesim.report.descend.view import view

    answer(
        Wanted(as_json, out, report),
        envelope("descend", inputs, **descend_figures(result)),
        lambda pictures: view(result, units.value, pictures=pictures),
        [loaded],
        pictures=("brakes-along-the-road", "hottest-by-speed"),
        tables={"speeds.csv": csv_writer([as_plain(each) for each in result.speeds])},
    )
