"""`ridesim check`: one page of verdicts before the first turn of the wheel."""

from __future__ import annotations

from ridesim.cli import given, options
from ridesim.cli.answer import reply
from ridesim.cli.output import command, say_if_compiling

EXAMPLE = "Example: ridesim check configs/longtail-two-stage.toml routes/ridge-climb.gpx --report check.html"


@command("check", EXAMPLE)
def check(
    build: options.BuildFile,
    road: given.OptionalRoad = None,
    grade: given.Grade = None,
    minutes: given.Minutes = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Judge every part of BUILD by a ride over ROAD, or up a climb: fine, look again, or stop, and why."""
    loaded, ridden, inputs = given.load_pair(build, road, set_, reading, both=True)
    slope, length = given.climb_of(ridden, grade, minutes)
    from ridesim.workshop.check.sheet import check_build

    say_if_compiling(loaded)
    result = check_build(loaded, ridden, slope, length)

    given.name_climb(inputs, ridden, grade, minutes)
    reply(wanted, "check", inputs, result, [loaded])
