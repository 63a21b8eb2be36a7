"""`ridesim descend`: do the brakes cook on the way down?"""

from __future__ import annotations

from ridesim.cli import given, options
from ridesim.cli.answer import reply
from ridesim.cli.output import command, progress, say_if_compiling

EXAMPLE = (
    "Example: ridesim descend configs/longtail-belt.toml --grade 8 --minutes 7, or with a road: ridesim descend "
    "configs/longtail-belt.toml routes/terrace-round.gpx --set brakes.front.kind=disc --set brakes.rear.kind=rim"
)


@command("descend", EXAMPLE)
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
    loaded, ridden, inputs = given.load_pair(build, road, set_, reading, both=True)
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

    reply(wanted, "descend", inputs, result, [loaded], table="speeds.csv")
