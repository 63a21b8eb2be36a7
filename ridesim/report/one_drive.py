"""A question of one motor's loads, shown where nobody names a drive: of two different ones the first that answers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from ridesim.errors import RidesimError
from ridesim.ride.drives import FIRST, SECOND
from ridesim.workshop.loads import RideLoads, loads_of_drive

if TYPE_CHECKING:
    from ridesim.bike.load import LoadedBuild
    from ridesim.report.view import View
    from ridesim.ride.result import Ridden


def of_one_drive(ride: Ridden, make: Callable[[LoadedBuild, RideLoads], View], word: str) -> View:
    """Return what `make` shows of a build and its loads; of two different drives of the first of which it can.

    `word`: the command that is asked of the other one. Raises what `make` raises where it can of none.
    """
    if ride.build.second is None:
        return make(*loads_of_drive(ride))
    fault: RidesimError | None = None
    for number, name in ((1, FIRST), (2, SECOND)):
        try:
            view = make(*loads_of_drive(ride, number))
        except RidesimError as error:
            fault = error
            continue
        note = f"Told of the {name}; of the other: `ridesim {word} BUILD ROAD --drive {3 - number}`."
        return replace(view, title=f"{view.title}: {name}", notes=(*view.notes, note))
    assert fault is not None  # the loop ends without a view only by a fault
    raise fault
