"""`ridesim regen`: what is regen worth?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.cli import options
from ridesim.cli.answer import csv_writer, inputs_of, reply
from ridesim.cli.output import command, progress, say_if_compiling

if TYPE_CHECKING:
    from ridesim.studies.regen import Regen

EXAMPLE = "Example: ridesim regen configs/longtail-belt.toml routes/valley-commute.toml --out rides/regen"


@command("regen", EXAMPLE)
def worth(
    build: options.BuildFile,
    road: options.RoadFile,
    speed: options.Speed = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    quick: options.Quick = False,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Ride BUILD over ROAD with and without regen: energy returned, range gained, and where the braking energy went."""
    from ridesim.bike.load import load_build
    from ridesim.studies.regen import expected_rides, regen

    loaded = load_build(build, options.overrides(set_))
    ridden = reading.load(road)
    say_if_compiling()
    with progress("riding with and without", expected_rides()) as done:
        result = regen(loaded, ridden, cruise_speed_km_h=speed, how_sure=not quick, done=done)

    tables = {} if result.impossible else {"along-the-road.csv": csv_writer(_trace_rows(result))}
    reply(wanted, "regen", inputs_of([loaded], [(road, ridden.name)]), result, [loaded], tables=tables)


def _trace_rows(result: Regen) -> list[dict[str, Any]]:
    return [
        {
            "start_charge_fraction": case.start_charge_fraction,
            "distance_km": f"{km:.4f}",
            "altitude_m": f"{height:.2f}",
            "returned_wh": f"{back:.5f}",
            "friction_wh": f"{rubbed:.5f}",
        }
        for case, trace in zip(result.cases, result.traces, strict=True)
        for km, height, back, rubbed in zip(
            trace.distance_km, trace.altitude_m, trace.returned_wh, trace.friction_wh, strict=True
        )
    ]
