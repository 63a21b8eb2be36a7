"""`ridesim throttle`: how does the throttle law matter?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from ridesim.cli import given, options
from ridesim.cli.answer import Writer, frame_writer, inputs_of, reply
from ridesim.cli.output import command, progress, say_if_compiling

if TYPE_CHECKING:
    from ridesim.studies.throttle import Throttle

EXAMPLE = "Example: ridesim throttle configs/longtail-two-stage.toml --grade 14 --length 2 --out rides/throttle"
_PANEL = "Climb"


@command("throttle", EXAMPLE)
def throttle(
    build: options.BuildFile,
    road: given.RoadOrGrade = None,
    grade: Annotated[float | None, options.choice("--grade", "PERCENT", "Grade of a made climb (12).", _PANEL)] = None,
    length: Annotated[float | None, options.choice("--length", "KM", "Its length (2).", _PANEL)] = None,
    speed: options.Speed = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    quick: options.Quick = False,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Ride one climb under the laws torque, voltage and governor, limits on and off: how each cooks a motor."""
    from ridesim.bike.load import load_build
    from ridesim.studies.throttle import RIDES
    from ridesim.studies.throttle import throttle as ask

    loaded = load_build(build, options.overrides(set_))
    if road is None:
        given.refuse_unused("a made climb", **reading.asked)
    ridden = None if road is None else reading.load(road)
    say_if_compiling(loaded)
    with progress("climbing six times", RIDES) as done:
        result = ask(
            loaded, ridden, grade_percent=grade, length_km=length, speed_km_h=speed, how_sure=not quick, done=done
        )

    inputs = inputs_of([loaded], [(road or "made", result.road.name)])
    reply(wanted, "throttle", inputs, result, [loaded], table="cases.csv", tables=_traces(result))


def _traces(result: Throttle) -> dict[str, Writer]:
    named = zip(result.cases, result.rides, strict=True)
    return {f"trace-{case.law}-{'on' if case.limits else 'off'}.csv": frame_writer(ride) for case, ride in named}
