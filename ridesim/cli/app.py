"""The `ridesim` command: one small module a command family."""

from __future__ import annotations

from typing import Annotated

import typer

from ridesim.cli import (
    belt,
    bench,
    check,
    climb,
    compare,
    evidence,
    explain,
    fit,
    launch,
    law,
    new,
    pack,
    range_,
    ratios,
    regen,
    rewind,
    ride,
    road,
    size,
    spread,
    throttle,
    wire,
)

app = typer.Typer(
    name="ridesim",
    help="Ride a home-made electric bike before it exists.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

for family in (
    ride,
    spread,
    road,
    new,
    range_,
    regen,
    ratios,
    compare,
    check,
    belt,
    climb,
    wire,
    rewind,
    pack,
    law,
    bench,
    throttle,
    launch,
    size,
    fit,
    evidence,
    explain,
):
    family.register(app)


def _show_version(wanted: bool) -> None:
    if wanted:
        from ridesim import __version__

        print(__version__)
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version.", callback=_show_version, is_eager=True)
    ] = False,
) -> None:
    pass


def main() -> None:
    """Run the command line."""
    app()
