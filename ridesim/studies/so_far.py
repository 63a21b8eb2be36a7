"""What a study has when it is cut short: a row of figures for each ride that came to its end."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from ridesim.ride.judge import judge
from ridesim.ride.simulate import Ride

FIGURES = (
    "distance_km", "total_time_s", "net_energy_wh", "charge_left_fraction", "peak_motor_current_a",
    "peak_pack_current_a", "peak_winding_temp_c",
)  # fmt: skip
MOST_ROWS = 2000
"""So many are made in a moment; an interrupt does not wait."""


@dataclass(frozen=True, eq=False)
class SoFar:
    """Rows of what was done of `asked`; made when they are looked at."""

    asked: int
    rows: Callable[[], list[dict[str, Any]]]


def rides_so_far(rides: Sequence[Ride], asked: int) -> SoFar:
    """Return the rides that ended, named by the keys and options in which they differ."""
    return SoFar(asked, lambda: _rows(rides[:MOST_ROWS]) if rides else [])


def _rows(rides: Sequence[Ride]) -> list[dict[str, Any]]:
    from ridesim.studies.compare import keys_that_differ

    keys = keys_that_differ([ride.build for ride in rides])
    options = {
        name: tuple(getattr(ride.options, name) for ride in rides)
        for name in vars(rides[0].options)
        if len({getattr(ride.options, name) for ride in rides}) > 1
    }
    return [
        {
            "build": ride.build.name,
            "road": ride.road.name,
            **{name: values[at] for name, values in (keys | options).items()},
            "end": ride.figures.stop_reason,
            **{name: getattr(ride.figures, name) for name in FIGURES},
            "verdict": judge(ride).word,
        }
        for at, ride in enumerate(rides)
    ]
