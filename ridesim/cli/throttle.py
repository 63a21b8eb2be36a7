"""`ridesim throttle`: how does the throttle law matter?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridesim.cli import given, options
from ridesim.cli.answer import answer, csv_writer, inputs_of
from ridesim.cli.output import answering, envelope, progress, say_if_compiling

if TYPE_CHECKING:
    from ridesim.studies.throttle import Throttle

EXAMPLE = "Example: ridesim throttle configs/longtail-two-stage.toml --grade 14 --length 2 --out rides/throttle"
_PANEL = "Climb"


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("throttle", epilog=EXAMPLE, no_args_is_help=True)(throttle)


@answering
def throttle(
    build: options.BuildFile,
    road: Annotated[
        str | None, typer.Argument(metavar="[ROAD]", help="Road: a GPX file or a road file (TOML).")
    ] = None,
    grade: Annotated[
        float | None,
        typer.Option("--grade", metavar="PERCENT", help="Grade of a made climb (12).", rich_help_panel=_PANEL),
    ] = None,
    length: Annotated[
        float | None, typer.Option("--length", metavar="KM", help="Its length (2).", rich_help_panel=_PANEL)
    ] = None,
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
    say_if_compiling()
    with progress("climbing six times", RIDES) as done:
        result = ask(
            loaded, ridden, grade_percent=grade, length_km=length, speed_km_h=speed, how_sure=not quick, done=done
        )
    from ridesim.report.throttle.plain import throttle_figures
    from ridesim.report.throttle.view import view

    payload = envelope(
        "throttle", inputs_of([loaded], [(road or "made", result.road.name)]), **throttle_figures(result)
    )
    answer(
        wanted,
        payload,
        lambda pictures: view(result, wanted.units, pictures=pictures),
        [loaded],
        pictures=("limits-on", "limits-off"),
        tables={"cases.csv": csv_writer([vars(case) for case in result.cases]), **_traces(result)},
    )


def _traces(result: Throttle) -> dict[str, Any]:
    return {
        f"trace-{case.law}-{'on' if case.limits else 'off'}.csv": (
            lambda path, ride=ride: ride.trace.to_csv(path, index=False, float_format="%.6g")
        )
        for case, ride in zip(result.cases, result.rides, strict=True)
    }
