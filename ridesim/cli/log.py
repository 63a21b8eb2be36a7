"""`ridesim log`: what is in a recording, column by column, and the mapping that says so."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ridesim.cli import options
from ridesim.cli.answer import Wanted, Writer, answer
from ridesim.cli.given import refuse_unused
from ridesim.cli.output import answering, envelope, show

if TYPE_CHECKING:
    from ridesim.learn.mapping import Mapping

EXAMPLE = "Example: ridesim log my-ride.csv --out logs/my-ride"
MAP_NAME = "mapping.toml"

LogFile = Annotated[str, typer.Argument(metavar="LOG", help="Recording of a ride: any table of readings (CSV).")]
Map = Annotated[
    str | None,
    typer.Option(
        "--map",
        metavar="MAP.toml",
        help="Which column holds what; else it is guessed. `ridesim log` writes one.",
        rich_help_panel="Recording",
    ),
]


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("log", epilog=EXAMPLE, no_args_is_help=True)(log)


@answering
def log(
    file: LogFile,
    map_: Map = None,
    mapping_only: Annotated[
        bool,
        typer.Option(
            "--mapping-only",
            help="Print the guessed mapping alone, to correct by hand and give back with --map.",
            rich_help_panel="Recording",
        ),
    ] = False,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
    units: options.UnitSystem = options.Units.metric,
) -> None:
    """Show what is in LOG, column by column, with every fault and its share, and write a mapping to correct."""
    from ridesim.cli.output import progress
    from ridesim.learn.log import log_of
    from ridesim.learn.mapping import guess_mapping, mapping_text, read_mapping
    from ridesim.learn.sheet import read_sheet

    if mapping_only:
        refuse_unused("--mapping-only", json=as_json or None, out=out, report=report)
    with progress("reading the log", 3) as step:
        sheet = read_sheet(file)
        step(1)
        mapping = guess_mapping(sheet) if map_ is None else read_mapping(map_, sheet)
        step(1)
        if mapping_only:
            show(mapping_text(mapping, Path(file).name, MAP_NAME))
            return
        found = log_of(sheet, mapping)
        step(1)
    from ridesim.report.log.plain import log_figures
    from ridesim.report.log.view import view

    answer(
        Wanted(as_json, out, report, units),
        envelope("log", {"log": {"path": file, "sha256": found.sha256}, "map": map_}, **log_figures(found)),
        lambda pictures: view(found, units.value, pictures=pictures),
        (),
        pictures=("log",),
        tables={MAP_NAME: _mapping_writer(mapping, file)},
    )


def _mapping_writer(mapping: Mapping, file: str) -> Writer:
    from ridesim.learn.mapping import mapping_text

    return lambda path: path.write_text(mapping_text(mapping, Path(file).name, MAP_NAME), encoding="utf-8")
