"""`ridesim descend`: do the brakes cook on the way down?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from ridesim.cli import given, options
from ridesim.cli.answer import answer, csv_writer
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
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Do BUILD's brakes cook on the way down ROAD, or a grade? With regen, from a full pack, without, and by speed."""
    loaded, ridden, inputs = given.load_pair(build, road, set_, reading)
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
        wanted,
        envelope("descend", inputs, **descend_figures(result)),
        lambda pictures: view(result, wanted.units, pictures=pictures),
        [loaded],
        pictures=("brakes-along-the-road", "hottest-by-speed"),
        tables={"speeds.csv": csv_writer([as_plain(each) for each in result.speeds])},
    )
