"""`ridesim ratios`: which ratio?"""

from __future__ import annotations

from typing import Annotated, Any

import typer

from ridesim.cli import options
from ridesim.cli.answer import answer, csv_writer, inputs_of
from ridesim.cli.output import answering, envelope, progress, say_if_compiling
from ridesim.units import to_si

EXAMPLE = "Example: ridesim ratios configs/longtail-belt.toml routes/terrace-round.gpx --teeth 14-18:130-170/10"
_RATIOS, _CEILINGS = "Candidates", "Ceilings"


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("ratios", epilog=EXAMPLE, no_args_is_help=True)(which)


@answering
def which(
    build: options.BuildFile,
    road: options.RoadFile,
    ratios: Annotated[
        str | None,
        typer.Option(
            "--ratios", metavar="FROM:TO:COUNT", help="Evenly spread, or a list: 8,9.5,11.", rich_help_panel=_RATIOS
        ),
    ] = None,
    teeth: Annotated[
        str | None,
        typer.Option(
            "--teeth",
            metavar="DRIVER:DRIVEN",
            help="Every pair of pulleys: 14-18:130-170/10 or 16,18:140,160.",
            rich_help_panel=_RATIOS,
        ),
    ] = None,
    pairs: Annotated[
        str | None,
        typer.Option(
            "--pairs", metavar="A/B,...", help="These pairs of pulleys: 16/155,18/160.", rich_help_panel=_RATIOS
        ),
    ] = None,
    gears: Annotated[
        int | None,
        typer.Option(
            "--gears",
            metavar="MOST",
            help="How many gears, and which: sets of up to so many.",
            rich_help_panel=_RATIOS,
        ),
    ] = None,
    stage: Annotated[
        int | None,
        typer.Option(
            "--stage", help="Vary this stage, from 1 at the motor.  [default: the last]", rich_help_panel=_RATIOS
        ),
    ] = None,
    centre: Annotated[
        float | None,
        typer.Option("--centre", metavar="MM", help="Distance of the pulleys' shafts.", rich_help_panel=_RATIOS),
    ] = None,
    largest: Annotated[
        float | None,
        typer.Option("--largest", metavar="MM", help="Outside diameter that still fits.", rich_help_panel=_RATIOS),
    ] = None,
    mesh: Annotated[
        float, typer.Option("--mesh", metavar="TEETH", help="Least teeth in mesh.", rich_help_panel=_RATIOS)
    ] = 6.0,
    max_winding: Annotated[
        float | None,
        typer.Option("--max-winding-c", metavar="C", help="Hottest winding accepted.", rich_help_panel=_CEILINGS),
    ] = None,
    min_top_speed: Annotated[
        float | None,
        typer.Option("--min-top-speed", metavar="KM_H", help="Top speed wanted.", rich_help_panel=_CEILINGS),
    ] = None,
    max_time: Annotated[
        float | None,
        typer.Option("--max-time", metavar="MIN", help="Longest ride accepted.", rich_help_panel=_CEILINGS),
    ] = None,
    accelerate_to: Annotated[
        float, typer.Option("--accelerate-to", metavar="KM_H", help="Time from rest to this.", rich_help_panel="Ride")
    ] = 25.0,
    speed: options.Speed = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    quick: options.Quick = False,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Ride BUILD over ROAD with each ratio, pulley pair or set of gears, and say which to take and why."""
    from ridesim.bike.load import load_build
    from ridesim.cli.how_many_gears import how_many, refuse_others
    from ridesim.cli.reductions import Room, belts_of, candidates
    from ridesim.studies.ratios import ratios as ride_ratios

    loaded = load_build(build, options.overrides(set_))
    ridden = reading.load(road)
    asked: dict[str, Any] = {
        "max_winding_c": max_winding,
        "min_top_speed_km_h": min_top_speed,
        "max_time_s": None if max_time is None else to_si(max_time, "min"),
        "accelerate_to_km_h": accelerate_to,
        "cruise_speed_km_h": speed,
    }
    if gears is not None:
        refuse_others({"--ratios": ratios, "--teeth": teeth, "--pairs": pairs, "--stage": stage})
        how_many(loaded, road, ridden, gears, asked, wanted)
        return
    tried, notes = candidates(loaded.build, stage, ratios, teeth, pairs, Room(centre, largest, mesh))
    say_if_compiling()
    with progress("riding each ratio", 2 * (len(tried) if tried is not None else 23)) as done:
        result = ride_ratios(
            loaded,
            ridden,
            tried,
            stage=stage,
            **asked,
            notes=notes,
            belts=belts_of,
            how_sure=not quick,
            done=done,
        )
    from ridesim.report.ratios.plain import ratio_figures
    from ridesim.report.ratios.view import view

    payload = envelope("ratios", inputs_of([loaded], [(road, ridden.name)]), **ratio_figures(result))
    answer(
        wanted,
        payload,
        lambda pictures: view(result, wanted.units, pictures=pictures),
        [loaded],
        pictures=("on-the-road", "at-full-throttle"),
        tables={"candidates.csv": csv_writer(payload["candidates"])} if result.cases else {},
    )
