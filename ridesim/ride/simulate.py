"""simulate(build, road) -> Ride: the public answer."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild, build_from_dict, load_build
from ridesim.bike.schema import Build
from ridesim.bike.second import refuse_second
from ridesim.engine.batch import Raw
from ridesim.engine.params import start_state
from ridesim.engine.state import State
from ridesim.errors import Interrupted
from ridesim.ride.result import Ridden, repeat, until_empty
from ridesim.ride.running import RANGE_LIMIT_H, RideOptions, arrays_for, checked, ride_parameters, run
from ridesim.ride.summary import summarise
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.units import to_si

__all__ = [
    "RANGE_LIMIT_H", "Ride", "RideOptions", "arrays_for", "as_loaded", "checked", "repeat", "ride_parameters", "run",
    "simulate", "until_empty",
]  # fmt: skip


@dataclass(frozen=True, eq=False, repr=False)
class Ride(Ridden, Answer):
    """One ride and everything it answers."""

    @cached_property
    def summary(self) -> dict[str, Any]:
        """The answer as plain values, keys with units; looking rides nothing."""
        return summarise(self)


def simulate(
    build: str | Path | Build | LoadedBuild,
    road: str | Path | Road,
    *,
    start: State | None = None,
    trace: bool = True,
    **options: Any,
) -> Ride:
    """Ride a build over a road and return the answer.

    `build` and `road` are file names or loaded objects; `start` chains rides; keyword options are the fields of
    `RideOptions`. Raises BuildError, RoadError or RideError for input that cannot be ridden, and Interrupted, a
    KeyboardInterrupt whose `left` is the ride so far.
    """
    loaded = as_loaded(build)
    ridden = road if isinstance(road, Road) else load_road(road)
    chosen = checked(RideOptions(**options))
    params = ride_parameters(loaded.build, chosen)
    arrays = arrays_for(loaded.build, ridden, chosen)
    first = start or start_state(loaded.build, speed_m_per_s=to_si(chosen.start_speed_km_h, "km_h"))
    try:
        raw = run(params, arrays, first, chosen, trace=trace)
    except Interrupted as end:
        if isinstance(end.left, Raw):
            end.left = Ride(loaded, ridden, chosen, params, arrays, first, end.left)
        raise
    return Ride(loaded, ridden, chosen, params, arrays, first, raw)


def as_loaded(build: str | Path | Build | LoadedBuild, asker: str = "") -> LoadedBuild:
    """Return a loaded build from a file name, a model, or itself.

    `asker`: who knows bikes of one drive only; raises BuildError for a bike of two different ones then.
    """
    loaded = _as_loaded(build)
    if asker:
        refuse_second(loaded.build, asker)
    return loaded


def _as_loaded(build: str | Path | Build | LoadedBuild) -> LoadedBuild:
    if isinstance(build, LoadedBuild):
        return build
    if isinstance(build, Build):
        return build_from_dict(build.model_dump(exclude_unset=True, exclude_none=True), where=build.name)
    return load_build(build)
