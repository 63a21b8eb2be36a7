"""`ridesim cell`: a cell part from a cell's own measurements."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ridesim.cli import given, options
from ridesim.cli.answer import reply, text_writer
from ridesim.cli.output import command, command_line, say, say_if_compiling
from ridesim.cli.writing import save_text

EXAMPLE = (
    "Example: ridesim cell rested.csv --run 1c.csv --run 2c.csv --run pulses.csv@0.9 --capacity 5 "
    "--ratings 10,3,0.07 --save parts/my-cell.toml"
)
_CELL = "Cell"


@command("cell", EXAMPLE)
def cell(
    rested: Annotated[
        str, typer.Argument(metavar="RESTED", help="Rested voltages (CSV): soc or charge_fraction, and voltage_v.")
    ],
    run: Annotated[list[str], options.choice(
        "--run", "FILE[@CHARGE]", "A run (CSV): time_s, current_a, voltage_v, temperature_c; may be repeated.", _CELL)],
    capacity: Annotated[
        float | None,
        options.choice("--capacity", "AH", "Else that of the longest run, if one goes from full to empty.", _CELL),
    ] = None,
    ratings: Annotated[
        str, options.choice("--ratings", "A,A,KG", "Most discharge and charge current, and mass.", _CELL)
    ] = "",
    name: Annotated[str, options.choice("--name", "TEXT", "What you call the cell.", _CELL)] = "measured cell",
    save: Annotated[Path | None, options.choice("--save", "FILE.toml", "Write the cell part here.", _CELL)] = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:  # fmt: skip
    """Fit a cell's circuit to its RESTED voltages and runs, with errors, and write it as a cell part."""
    from ridesim.cli.ride import file_hash
    from ridesim.learn.cell_files import cell_part_text, fit_cell_files

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
    part = {"cell-part.toml": text_writer(text)}
    reply(wanted, "cell", inputs, found, (), tables=part)
