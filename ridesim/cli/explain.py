"""`ridesim explain`: what a name means, in plain words."""

from __future__ import annotations

from typing import Annotated

import typer

from ridesim.cli import options
from ridesim.cli.output import command, envelope, print_json, show

EXAMPLE = "Example: ridesim explain back-EMF, or: ridesim explain motor.kv_rpm_per_v"


@command("explain", EXAMPLE)
def explain(
    name: Annotated[str, typer.Argument(metavar="NAME", help="A key, a quantity, a limit, or a word of the trade.")],
    as_json: options.Json = False,
) -> None:
    """Say in plain words what NAME is: a key, a quantity, a limit, a word; its unit, default, source and measuring."""
    from ridesim.report.explain import explain as meanings_of
    from ridesim.report.explain import plain, text

    found = meanings_of(name)
    if as_json:
        print_json(envelope("explain", {"name": name}, meanings=plain(found)))
        return
    show(text(found))
