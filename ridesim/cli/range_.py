"""`ridesim range`: how far?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from ridesim.cli import options
from ridesim.cli.answer import csv_writer, inputs_of, number_list, reply
from ridesim.cli.output import command, progress, say_if_compiling
from ridesim.errors import RideError

if TYPE_CHECKING:
    from ridesim.studies.reach import Reach

EXAMPLE = "Example: ridesim range configs/longtail-belt.toml routes/terrace-round.gpx --speeds 15,20,25,30 --cold -5"
_PANEL = "Range"


@command("range", EXAMPLE)
def how_far(
    build: options.BuildFile,
    road: options.RoadFile,
    speed: options.Speed = None,
    speeds: Annotated[
        str, options.choice("--speeds", "KM_H,...", "Other cruise speeds to try.", _PANEL)
    ] = "15,20,25,30",
    cold: Annotated[float, options.choice("--cold", "C", "Temperature of the cold day and pack.", _PANEL)] = 0.0,
    aged: Annotated[
        str, options.choice("--aged", "CAPACITY,RESISTANCE", "The aged pack, as parts of a new one's.", _PANEL)
    ] = "0.8,1.5",
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    quick: options.Quick = False,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Ride BUILD over ROAD again and again until it ends: how far as built, at other speeds, in the cold, and aged."""
    from ridesim.bike.load import load_build
    from ridesim.studies.reach import expected_rides, reach

    tried, old = number_list("--speeds", speeds, "speeds"), _aged(aged)
    loaded = load_build(build, options.overrides(set_))
    ridden = reading.load(road)
    say_if_compiling()
    with progress("riding until empty", expected_rides(len(tried))) as done:
        result = reach(
            loaded,
            ridden,
            speeds_km_h=tried,
            cold_c=cold,
            aged=old,
            cruise_speed_km_h=speed,
            how_sure=not quick,
            done=done,
        )

    inputs, curves = inputs_of([loaded], [(road, ridden.name)]), {"curves.csv": csv_writer(_curve_rows(result))}
    reply(wanted, "range", inputs, result, [loaded], table="cases.csv", tables=curves)


def _aged(text: str) -> tuple[float, float]:
    pair = number_list("--aged", text)
    if len(pair) != 2:
        raise RideError("--aged", f"{text!r} is not CAPACITY,RESISTANCE", "write for example --aged 0.8,1.5")
    return pair[0], pair[1]


def _curve_rows(result: Reach) -> list[dict[str, Any]]:
    return [
        {
            "condition": curve.condition,
            "distance_km": f"{km:.4f}",
            "charge_fraction": f"{charge:.5f}",
            "pack_voltage_v": f"{volts:.3f}",
            "pack_voltage_low_v": f"{low:.3f}",
        }
        for curve in result.curves
        for km, charge, volts, low in zip(
            curve.distance_km, curve.charge_fraction, curve.voltage_v, curve.voltage_low_v, strict=True
        )
    ]
