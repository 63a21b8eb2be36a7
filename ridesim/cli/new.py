"""`ridesim new`: a starter build file, and the schema for editors."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ridesim.cli.output import answering, say, whole_file
from ridesim.errors import BuildError

EXAMPLE = "Example: ridesim new my-bike.toml, then edit it, then: ridesim ride my-bike.toml my-road.gpx"


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("new", epilog=EXAMPLE)(new)


@answering
def new(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="Build file to write.")] = None,
    schema: Annotated[bool, typer.Option("--schema", help="Print the JSON schema for editors.")] = False,
    keys: Annotated[bool, typer.Option("--keys", help="Print the table of all keys.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Overwrite FILE.")] = False,
) -> None:
    """Write a commented starter build with every key, its unit, range and default."""
    from ridesim.bike import starter

    if schema or keys:
        print(starter.json_schema_text() if schema else starter.key_reference_markdown())
        return
    if file is None:
        raise BuildError(
            "ridesim new", "no file is named", "name the build file to write, or ask for --schema or --keys"
        )
    if file.exists() and not force:
        raise BuildError(str(file), "is there already", "choose another name, or add --force")
    with whole_file(file) as place:
        place.write_text(starter.starter_text(), encoding="utf-8")
    say(f"wrote {file}: change the numbers, then: ridesim ride {file} ROAD")
