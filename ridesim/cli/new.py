"""`ridesim new`: a starter file of a bike or a road, and the schemas for editors."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ridesim.cli.output import command, say
from ridesim.cli.writing import whole_file
from ridesim.errors import RideError

EXAMPLE = "Example: ridesim new my-bike.toml, then edit it, then: ridesim ride my-bike.toml my-road.gpx"


@command("new", EXAMPLE, bare=True)
def new(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="File to write.")] = None,
    road: Annotated[bool, typer.Option("--road", help="A road file instead of a build.")] = False,
    motor: Annotated[
        str | None,
        typer.Option("--motor", metavar="CAN,KV[,KG]", help="A motor part from its label, such as 6374,149."),
    ] = None,
    schema: Annotated[bool, typer.Option("--schema", help="Print the JSON schema for editors.")] = False,
    keys: Annotated[bool, typer.Option("--keys", help="Print the table of all keys.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Overwrite FILE.")] = False,
) -> None:
    """Write a commented starter build, or with --road a road file, with every key, its unit, range and default."""
    from ridesim.bike import starter as bike_starter
    from ridesim.road import starter as road_starter

    starter = road_starter if road else bike_starter
    if motor is not None:
        _motor(motor, file, force)
        return
    if schema or keys:
        print(starter.json_schema_text() if schema else starter.key_reference_markdown())
        return
    if file is None:
        raise RideError("ridesim new", "no file is named", "name the file to write, or ask for --schema or --keys")
    _write(file, starter.starter_text(), force)
    then = f"ridesim road {file}" if road else f"ridesim ride {file} ROAD"
    say(f"wrote {file}: change the numbers, then: {then}")


def _motor(label: str, file: Path | None, force: bool) -> None:
    """Write a motor part estimated from its label, or print it where no file is named."""
    from ridesim.workshop.size.label import parse_label, part_text

    text = part_text(parse_label(label))
    if file is None:
        print(text, end="")
        return
    _write(file, text, force)
    say(f'wrote {file}: put it into parts/ beside a build, and name it there: motor = "{file.stem}"')


def _write(file: Path, text: str, force: bool) -> None:
    if file.exists() and not force:
        raise RideError(str(file), "is there already", "choose another name, or add --force")
    with whole_file(file, page=False) as place:
        place.write_text(text, encoding="utf-8")
