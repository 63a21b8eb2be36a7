"""`ridesim ratios --gears`: how many gears, and which?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.cli.answer import Wanted, inputs_of, reply
from ridesim.cli.output import progress, say_if_compiling
from ridesim.errors import RideError

if TYPE_CHECKING:
    from ridesim.bike.load import LoadedBuild
    from ridesim.road.profile import Road


def refuse_others(named: dict[str, object]) -> None:
    """Raise RideError where candidates are named beside `--gears`."""
    given = [name for name, value in named.items() if value is not None]
    if given:
        raise RideError(f"--gears and {' and '.join(given)}", "name the candidates twice", "give one of them")


def how_many(loaded: LoadedBuild, road: str, ridden: Road, most: int, asked: dict[str, Any], wanted: Wanted) -> None:
    """Ride sets of gears and answer; `asked`: ceilings and speeds as `studies.gear_choice.gear_sets` takes them."""
    from ridesim.cli.reductions import belts_of
    from ridesim.studies.gear_choice import gear_sets

    say_if_compiling(loaded)
    with progress("riding each set of gears") as done:
        result = gear_sets(loaded, ridden, most, **asked, belts=belts_of, done=done)

    reply(wanted, "ratios", inputs_of([loaded], [(road, ridden.name)]), result, [loaded], table="candidates.csv")
