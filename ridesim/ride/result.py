"""What a ride was and what it left behind: the base of every answer."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.batch import Raw
from ridesim.engine.loop import ENDLESS_LAPS
from ridesim.engine.params import current_scale
from ridesim.engine.state import Parameters, RoadArrays, State, Stop, Total
from ridesim.ride.figures import Figures, figures_of
from ridesim.ride.ledger import ledger_wh, residual_fraction
from ridesim.ride.running import RANGE_LIMIT_H, RideOptions, arrays_for, checked, ride_parameters, run
from ridesim.ride.trace import trace_table, with_second
from ridesim.road.profile import Road
from ridesim.units import from_si

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd


@dataclass(frozen=True, eq=False, repr=False)
class Ridden:
    """One ride as it was ridden."""

    loaded: LoadedBuild
    road: Road
    options: RideOptions
    params: Parameters
    arrays: RoadArrays
    start: State
    raw: Raw
    notes: tuple[str, ...] = field(default=())

    @property
    def build(self) -> Build:
        """The bike."""
        return self.loaded.build

    @property
    def finished(self) -> bool:
        """Whether the ride reached the road's end."""
        return self.raw.stop is Stop.FINISHED

    @cached_property
    def trace(self) -> pd.DataFrame:
        """The recorded ride, one row an interval, units in the column names."""
        table = trace_table(self.raw.trace, current_scale(self.build))
        return table if self.raw.second is None else with_second(table, self.raw.second.trace, self.build)

    @cached_property
    def figures(self) -> Figures:
        """What the ride came to; looking rides nothing."""
        return figures_of(self)

    @property
    def charge_moved_ah(self) -> tuple[float, float]:
        """What left the pack, and what went into it [Ah]."""
        out, back = (self.raw.total(each) for each in (Total.CHARGE_OUT, Total.CHARGE_IN))
        return from_si(out, "ah"), from_si(back, "ah")

    @cached_property
    def ledger(self) -> dict[str, float]:
        """Every line of the energy ledger [Wh]."""
        return ledger_wh(self.raw.ledger, self._second_ledger)

    @property
    def ledger_residual_fraction(self) -> float:
        """What the ledger misses, over the energy taken from the pack."""
        return residual_fraction(self.raw.ledger, self._second_ledger)

    @property
    def _second_ledger(self) -> np.ndarray | None:
        return None if self.raw.second is None else self.raw.second.ledger


R = TypeVar("R", bound=Ridden)


def repeat(ride: R, **changes: Any) -> R:
    """Ride again from the same start with changed options, without a trace."""
    options = checked(replace(ride.options, **changes))
    params = ride_parameters(ride.build, options)
    arrays = ride.arrays
    if {"cruise_speed_km_h", "speed_source"} & set(changes):
        arrays = arrays_for(ride.build, ride.road, options)
    return replace(
        ride, options=options, params=params, arrays=arrays, raw=run(params, arrays, ride.start, options, trace=False)
    )


def until_empty(ride: R, **changes: Any) -> R:
    """Ride the same road again and again until the pack, or a hill, ends it."""
    return repeat(ride, laps=ENDLESS_LAPS, time_limit_h=RANGE_LIMIT_H, **changes)
