"""`ridesim cell`: a cell part from a cell's own measurements."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ridesim.cli import given, options
from ridesim.cli.answer import Wanted, answer
from ridesim.cli.output import answering, command_line, envelope, say, say_if_compiling
from ridesim.cli.writing import save_text

EXAMPLE = (
    "Example: ridesim cell rested.csv --run 1c.csv --run 2c.csv --run pulses.csv@0.9 --capacity 5 "
    "--ratings 10,3,0.07 --save parts/my-cell.toml"
)
_CELL = "Cell"


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("cell", epilog=EXAMPLE, no_args_is_help=True)(cell)


@answering
def cell(
    rested: Annotated[
        str, typer.Argument(metavar="RESTED", help="Rested voltages (CSV): soc or charge_fraction, and voltage_v.")
    ],
    run: Annotated[list[str], given.choice(
        "--run", "FILE[@CHARGE]", "A run (CSV): time_s, current_a, voltage_v, temperature_c; may be repeated.", _CELL)],
    capacity: Annotated[float | None, given.choice("--capacity", "AH", "Else that of the longest run.", _CELL)] = None,
    ratings: Annotated[
        str, given.choice("--ratings", "A,A,KG", "Most discharge and charge current, and mass.", _CELL)
    ] = "",
    name: Annotated[str, given.choice("--name", "TEXT", "What you call the cell.", _CELL)] = "measured cell",
    save: Annotated[
        Path | None,
        typer.Option("--save", metavar="FILE.toml", help="Write the cell part here.", rich_help_panel=_CELL),
    ] = None,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
    units: options.UnitSystem = options.Units.metric,
) -> None:  # fmt: skip
    """Fit a cell's circuit to its RESTED voltages and runs, with errors, and write it as a cell part."""
    from ridesim.cli.ride import file_hash
    from ridesim.learn.cell_files import cell_part_text, fit_cell_files
    from ridesim.report.cell.plain import cell_figures
    from ridesim.report.cell.view import view

    say_if_compiling()
    rated = given.numbers("--ratings", ratings, ("A", "A", "KG")) if ratings else ()
    found = fit_cell_files(rested, run, capacity)
    keys = dict(zip(("max_discharge_a", "max_charge_a", "mass_kg"), rated, strict=False))
    text = cell_part_text(found, name, keys, command_line())
    if save is not None:
        save_text(save, text)
        say(f"wrote {save}")
    inputs = {"rested": {"path": rested, "sha256": file_hash(rested)},
              "runs": [{"path": path, "sha256": file_hash(path)} for path in found.paths]}  # fmt: skip
    answer(
        Wanted(as_json, out, report, units),
        envelope("cell", inputs, **cell_figures(found)),
        lambda pictures: view(found, units.value, pictures=pictures),
        (),
        pictures=("voltages",),
        tables={"cell-part.toml": lambda path: path.write_text(text, encoding="utf-8")},
    )
