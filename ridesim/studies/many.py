"""Many rides at once: what each study asks for, ridden on all cores. The number of threads changes no answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import cast

from ridesim.bike.load import LoadedBuild
from ridesim.engine.halting import all_or_so_far
from ridesim.engine.loop import ENDLESS_LAPS
from ridesim.engine.params import start_state
from ridesim.engine.state import RoadArrays
from ridesim.errors import Interrupted
from ridesim.ride.simulate import RANGE_LIMIT_H, Ride, RideOptions, arrays_for, checked, ride_parameters, run
from ridesim.road.profile import Road
from ridesim.studies.so_far import rides_so_far
from ridesim.units import to_si

Done = Callable[[int], None]


@dataclass(frozen=True, eq=False)
class Wish:
    """One ride asked for."""

    loaded: LoadedBuild
    road: Road
    options: RideOptions = field(default_factory=RideOptions)
    trace: bool = False


def ride_many(
    wishes: Sequence[Wish], *, threads: int | None = None, done: Done | None = None, before: Sequence[Ride] = ()
) -> list[Ride]:
    """Ride every wish and return the rides in the same order; `done(1)` is called after each.

    `threads`: None takes all cores. Raises RideError for options out of range, and Interrupted, whose `left` is the
    SoFar of the rides done, those of the same study `before` included.
    """
    try:
        return all_or_so_far(_ridden, list(zip(wishes, _shared_arrays(wishes), strict=True)), threads, done)
    except Interrupted as end:
        rides = [*before, *(ride for _, ride in cast(list[tuple[int, Ride]], end.left))]
        asked = len(before) + len(wishes)
        raise Interrupted(f"{len(rides)} of {asked} rides", rides_so_far(rides, asked)) from None


def until_empty_options(**changes: object) -> RideOptions:
    """Return options that ride the road over and over until the pack, or a hill, ends it."""
    return RideOptions(laps=ENDLESS_LAPS, time_limit_h=RANGE_LIMIT_H, **changes)  # type: ignore[arg-type]


def _shared_arrays(wishes: Sequence[Wish]) -> list[RoadArrays]:
    """Return each wish's road as the step reads it, made once for all that share road, weather, rider and tyre."""
    made: dict[tuple[object, ...], RoadArrays] = {}
    found = []
    for wish in wishes:
        build, options = wish.loaded.build, checked(wish.options)
        key = (id(wish.road), options.cruise_speed_km_h, options.speed_source, build.rider, build.weather, build.tyre)
        if key not in made:
            made[key] = arrays_for(build, wish.road, options)
        found.append(made[key])
    return found


def _ridden(asked: tuple[Wish, RoadArrays]) -> Ride:
    wish, arrays = asked
    build, options = wish.loaded.build, wish.options
    params = ride_parameters(build, options)
    start = start_state(build, speed_m_per_s=to_si(options.start_speed_km_h, "km_h"))
    raw = run(params, arrays, start, options, trace=wish.trace)
    return Ride(wish.loaded, wish.road, options, params, arrays, start, raw)
