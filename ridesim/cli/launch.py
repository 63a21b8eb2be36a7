"""`ridesim launch`: how quick?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridesim.cli import options
from ridesim.cli.answer import answer, csv_writer, inputs_of, number_list
from ridesim.cli.output import answering, envelope, say_if_compiling

if TYPE_CHECKING:
    from ridesim.studies.launch import Launch

EXAMPLE = "Example: ridesim launch configs/longtail-belt.toml --to 25 --to 45 --grades 0,5,10,15"
_PANEL = "Launch"


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("launch", epilog=EXAMPLE, no_args_is_help=True)(launch)


@answering
def launch(
    build: options.BuildFile,
    to: Annotated[
        list[float] | None,
        typer.Option("--to", metavar="KM_H", help="Time from rest to this speed (25 and 45).", rich_help_panel=_PANEL),
    ] = None,
    grades: Annotated[
        str,
        typer.Option("--grades", metavar="PERCENT,...", help="Grades of the road-load curves.", rich_help_panel=_PANEL),
    ] = "0,3,6,10,15,20",
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Start BUILD from rest: times to speed, top speed, steepest start, and its pull against the road's resistance."""
    from ridesim.bike.load import load_build
    from ridesim.studies.launch import TO_KM_H
    from ridesim.studies.launch import launch as ask

    steep = number_list("--grades", grades, "grades")
    loaded = load_build(build, options.overrides(set_))
    say_if_compiling()
    result = ask(loaded, to_km_h=to or TO_KM_H, grades_percent=steep)
    from ridesim.report.launch.plain import launch_figures
    from ridesim.report.launch.view import view

    answer(
        wanted,
        envelope("launch", inputs_of([loaded], []), **launch_figures(result)),
        lambda pictures: view(result, wanted.units, pictures=pictures),
        [loaded],
        pictures=("pull-against-speed", "speed-against-time"),
        tables={
            "pull.csv": csv_writer(_pull_rows(result)),
            "trace.csv": lambda path: result.run_up.trace.to_csv(path, index=False, float_format="%.6g"),
        },
    )


def _pull_rows(result: Launch) -> list[dict[str, Any]]:
    return [
        {
            "speed_km_h": f"{speed:.4f}",
            "motor_force_n": f"{result.motor_force_n[index]:.3f}",
            "pedal_force_n": f"{result.pedal_force_n[index]:.3f}",
            "held_by": result.held_by[index],
            **{
                f"resistance_at_{grade:g}_percent_n": f"{result.load_n[row, index]:.3f}"
                for row, grade in enumerate(result.grades_percent)
            },
        }
        for index, speed in enumerate(result.speed_km_h)
    ]
