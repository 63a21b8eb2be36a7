"""`ridesim log`: what is in a recording, column by column, and the mapping that says so."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ridesim.cli import options
from ridesim.cli.answer import Writer, reply
from ridesim.cli.given import refuse_unused
from ridesim.cli.output import command, show

if TYPE_CHECKING:
    from ridesim.learn.mapping import Mapping

EXAMPLE = "Example: ridesim log my-ride.csv --out logs/my-ride"
MAP_NAME = "mapping.toml"

LogFile = Annotated[str, typer.Argument(metavar="LOG", help="Recording of a ride: any table of readings (CSV).")]
Map = Annotated[
    str | None,
    options.choice(
        "--map", "MAP.toml", "Which column holds what; else it is guessed. `ridesim log` writes one.", "Recording"
    ),
]


@command("log", EXAMPLE)
def log(
    file: LogFile,
    map_: Map = None,
    mapping_only: Annotated[
        bool,
        options.flag(
            "--mapping-only",
            "Print the guessed mapping alone, to correct by hand and give back with --map.",
            "Recording",
        ),
    ] = False,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Show what is in LOG, column by column, with every fault and its share, and write a mapping to correct."""
    from ridesim.cli.output import progress
    from ridesim.learn.log import log_of
    from ridesim.learn.mapping import guess_mapping, mapping_text, read_mapping
    from ridesim.learn.sheet import read_sheet

    if mapping_only:
        refuse_unused("--mapping-only", json=wanted.as_json or None, out=wanted.out, report=wanted.report)
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

    inputs = {"log": {"path": file, "sha256": found.sha256}, "map": map_}
    reply(wanted, "log", inputs, found, (), tables={MAP_NAME: _mapping_writer(mapping, file)})


def _mapping_writer(mapping: Mapping, file: str) -> Writer:
    from ridesim.learn.mapping import mapping_text

    return lambda path: path.write_text(mapping_text(mapping, Path(file).name, MAP_NAME), encoding="utf-8")
