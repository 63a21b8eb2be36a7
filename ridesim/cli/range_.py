"""`ridesim range`: how far?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridesim.cli import options
from ridesim.cli.answer import answer, csv_writer, inputs_of, number_list
from ridesim.cli.output import answering, envelope, progress, say_if_compiling
from ridesim.errors import RideError

if TYPE_CHECKING:
    from ridesim.studies.reach import Reach

EXAMPLE = "Example: ridesim range configs/longtail-belt.toml routes/terrace-round.gpx --speeds 15,20,25,30 --cold -5"
_PANEL = "Range"


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("range", epilog=EXAMPLE, no_args_is_help=True)(how_far)


@answering
def how_far(
    build: options.BuildFile,
    road: options.RoadFile,
    speed: options.Speed = None,
    speeds: Annotated[
        str, typer.Option("--speeds", metavar="KM_H,...", help="Other cruise speeds to try.", rich_help_panel=_PANEL)
    ] = "15,20,25,30",
    cold: Annotated[
        float, typer.Option("--cold", metavar="C", help="Temperature of the cold day and pack.", rich_help_panel=_PANEL)
    ] = 0.0,
    aged: Annotated[
        str,
        typer.Option(
            "--aged",
            metavar="CAPACITY,RESISTANCE",
            help="The aged pack, as parts of a new one's.",
            rich_help_panel=_PANEL,
        ),
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
    from ridesim.report.reach.plain import all_cases, range_figures
    from ridesim.report.reach.view import view

    payload = envelope("range", inputs_of([loaded], [(road, ridden.name)]), **range_figures(result))
    answer(
        wanted,
        payload,
        lambda pictures: view(result, wanted.units, pictures=pictures),
        [loaded],
        pictures=("charge-and-voltage", "range-against-speed"),
        tables={"cases.csv": csv_writer(all_cases(result)), "curves.csv": csv_writer(_curve_rows(result))},
    )


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
