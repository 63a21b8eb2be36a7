"""`ridesim law`: which class of the published rules?"""

from __future__ import annotations

from typing import Annotated

from ridesim.cli import given, options
from ridesim.cli.answer import reply
from ridesim.cli.output import command, say_if_compiling

EXAMPLE = "Example: ridesim law configs/commuter-light.toml --rated-power-w 250 --where eu"
_PANEL = "Law"


@command("law", EXAMPLE)
def law(
    build: options.BuildFile,
    rated_power_w: Annotated[
        float | None,
        options.choice("--rated-power-w", "W", "Continuous rated power that somebody answers for.", _PANEL),
    ] = None,
    pedals: Annotated[
        bool | None, options.flag("--pedals/--no-pedals", "Working pedals (else by the rider's power).", _PANEL)
    ] = None,
    where: Annotated[
        list[str] | None, options.choice("--where", "PLACE", "eu, gb or us, several times (else all).", _PANEL)
    ] = None,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Hold BUILD against power, speed and assist classes of published rules; local law and licensed advice decide."""
    from ridesim.workshop.law.classes import places_named

    places = places_named(where)
    loaded, _, inputs = given.load_pair(build, None, set_, both=True)
    from ridesim.workshop.law.bike import classify_build

    say_if_compiling(loaded)
    result = classify_build(loaded, rated_power_w=rated_power_w, pedals=pedals, jurisdictions=places)
    reply(wanted, "law", inputs, result, [loaded])
