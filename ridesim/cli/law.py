"""`ridesim law`: which class of the published rules?"""

from __future__ import annotations

from typing import Annotated

import typer

from ridesim.cli import given, options
from ridesim.cli.answer import answer
from ridesim.cli.output import answering, envelope, say_if_compiling
from ridesim.report.plain import as_plain

EXAMPLE = "Example: ridesim law configs/commuter-light.toml --rated-power-w 250 --where eu"
_PANEL = "Law"

Rated = Annotated[
    float | None, given.choice("--rated-power-w", "W", "Continuous rated power that somebody answers for.", _PANEL)
]
Pedals = Annotated[
    bool | None,
    typer.Option("--pedals/--no-pedals", help="Working pedals (else by the rider's power).", rich_help_panel=_PANEL),
]
Where = Annotated[list[str] | None, given.choice("--where", "PLACE", "eu, gb or us, several times (else all).", _PANEL)]


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("law", epilog=EXAMPLE, no_args_is_help=True)(law)


@answering
def law(
    build: options.BuildFile,
    rated_power_w: Rated = None,
    pedals: Pedals = None,
    where: Where = None,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Hold BUILD against power, speed and assist classes of published rules; local law and licensed advice decide."""
    from ridesim.workshop.law.classes import places_named

    places = places_named(where)
    loaded, _, inputs = given.load_pair(build, None, set_)
    from ridesim.report.law.view import view
    from ridesim.workshop.law.bike import classify_build

    say_if_compiling()
    result = classify_build(loaded, rated_power_w=rated_power_w, pedals=pedals, jurisdictions=places)
    answer(
        wanted,
        envelope("law", inputs, **as_plain(result)),
        lambda pictures: view(result, wanted.units, pictures=pictures),
        [loaded],
    )
