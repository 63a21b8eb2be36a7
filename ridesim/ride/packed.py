"""Packed rows: one build with columns in it becomes parameters, days, starts and plans, row by row, for the engine."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.batch import Job
from ridesim.engine.columns import is_column
from ridesim.engine.day import Terrain, days_of, is_one_day, lay_day, surfaces_of, terrain_of
from ridesim.engine.pair import SecondState
from ridesim.engine.params import road_arrays, start_state, with_drag
from ridesim.engine.plan import lay_plan
from ridesim.engine.state import Parameters, RoadArrays, State, as_records, numbers_of, state_of
from ridesim.ride.keyed import laid_in
from ridesim.ride.running import RideOptions, checked, pacing_of, plan_for, ride_parameters
from ridesim.road.air import LAPSE_RATE_K_PER_M
from ridesim.road.profile import Road
from ridesim.units import to_si

Array = NDArray[np.float64]
Course = Callable[[int], tuple[Array, Array, Array]]
"""Of a row: the road's altitude [m], and sine and cosine of its slope, at the nodes."""

PLANNED_BY = ("rider.cruise_speed_km_h", "rider.cornering_m_per_s2", "rider.braking_m_per_s2")
"""Keys that the speed plan is made of."""


@dataclass(frozen=True, eq=False)
class Ground:
    """What the rides of many rows over one road share."""

    loaded: LoadedBuild
    road: Road
    options: RideOptions
    arrays: RoadArrays
    terrain: Terrain
    surfaces: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Moved:
    """What a row may move beside the build: a factor on each motor's no-load drag and one a surface, (rows,), and the
    altitude.

    They are no keys of a build: `sure` draws them.
    """

    drag: Any = 1.0
    second_drag: Any = 1.0
    rolling: Mapping[str, Any] = field(default_factory=dict)
    course: Course | None = None


def ground_of(loaded: LoadedBuild, road: Road, options: RideOptions) -> Ground:
    """Return what all rows share, made for the build as it stands. Raises RideError for options out of range."""
    chosen = checked(options)
    arrays = road_arrays(loaded.build, road, plan_for(loaded.build, road, chosen))
    return Ground(loaded, road, chosen, arrays, terrain_of(road), surfaces_of(road))


@dataclass(frozen=True, eq=False)
class Asked:
    """Rows that are asked to be ridden: everything as columns."""

    ground: Ground
    build: Build
    params: Parameters
    starts: Array
    days: np.ndarray | None
    rolling: Array
    plans: Array | None
    moved: Moved

    def jobs(self, chunk: range) -> Callable[[range], Iterator[tuple[int, Job]]]:
        """Return what yields the rows of a block of this chunk, each as a job; its arrays are reused for the next."""
        records = as_records(self.params, chunk)
        other = self.params.second
        seconds = [None] * len(chunk) if other is None else as_records(other, chunk)
        options = self.ground.options
        patience = to_si(options.time_limit_h, "h")

        def block(of: range) -> Iterator[tuple[int, Job]]:
            """Yield the jobs of some rows; they share one ground, which each lays anew."""
            ground = self._own_ground()
            for row in of:
                self._lay(ground, row)
                at, start = row - chunk.start, self.start(row)
                latest = start.time + patience
                yield row, Job(
                    records[at], ground.arrays, start, pacing_of(options), options.laps, latest, seconds[at]
                )  # fmt: skip

        return block

    def start(self, row: int) -> State:
        """Return the state that a row starts from."""
        start = state_of(self.starts[row])
        if self.params.second is None:
            return start
        return start._replace(second=SecondState(start.winding_temp, start.body_temp, start.controller_temp, 0.0))

    def arrays(self, row: int) -> RoadArrays:
        """Return the road of one row."""
        ground = self._own_ground()
        self._lay(ground, row)
        return ground.arrays

    def _own_ground(self) -> _Laid:
        arrays = self.ground.arrays
        if self.days is None and self.plans is None:
            return _Laid(arrays)
        # A structured array is copied field by field, a plain one at once: five times sooner.
        nodes = arrays.nodes.view(np.float64).copy().view(arrays.nodes.dtype).view(np.recarray)
        return _Laid(arrays._replace(nodes=nodes))

    def _lay(self, on: _Laid, row: int) -> None:
        nodes, terrain = on.arrays.nodes, self.ground.terrain
        if self.days is not None:
            altitude = terrain.altitude
            if self.moved.course is not None:
                altitude, nodes["sin_theta"], nodes["cos_theta"] = self.moved.course(row)
                nodes["altitude"] = altitude
            lay_day(nodes, terrain, altitude, self.days[row], self.rolling[row], LAPSE_RATE_K_PER_M)
        if self.plans is not None and on.plan != (wish := tuple(self.plans[row].tolist())):
            rider = laid_in(self.ground.loaded.build, dict(zip(PLANNED_BY, wish, strict=True)))
            stops = lay_plan(nodes, plan_for(rider, self.ground.road, self.ground.options), self.ground.road)
            on.arrays, on.plan = on.arrays._replace(stops=stops), wish


@dataclass
class _Laid:
    """A block's own road, and the wish that its plan was made for."""

    arrays: RoadArrays
    plan: tuple[float, ...] = ()


def asked_of(ground: Ground, build: Build, rows: int, moved: Moved) -> Asked:
    """Return the rows of a build whose changed numbers are columns, ready to be ridden."""
    params = with_drags(ride_parameters(build, ground.options), moved.drag, moved.second_drag)
    factors = [moved.rolling.get(kind, 1.0) for kind in ground.surfaces]
    rolling = [np.broadcast_to(build.tyre.rolling_resistance * factor, rows) for factor in factors]
    one_day = is_one_day(build) and not moved.rolling and moved.course is None
    return Asked(
        ground=ground,
        build=build,
        params=params,
        starts=starts_of(build, rows, ground.options),
        days=None if one_day else days_of(build, ground.terrain, rows),
        rolling=np.ascontiguousarray(np.column_stack(rolling), dtype=np.float64),
        plans=plans_of(build, rows),
        moved=moved,
    )


def with_drags(params: Parameters, first: Any, second: Any) -> Parameters:
    """Return parameters whose motors drag by factors of what they did; `second`: of a second, different drive."""
    own = None if params.second is None else with_drag(params.second, second)
    return with_drag(params, first)._replace(second=own)


def starts_of(build: Build, rows: int, options: RideOptions) -> Array:
    """Return the state at the start of every row, (rows, STATE_NUMBERS)."""
    start = start_state(build, speed_m_per_s=to_si(options.start_speed_km_h, "km_h"))
    return np.column_stack([np.broadcast_to(np.asarray(value, dtype=np.float64), rows) for value in numbers_of(start)])


def plans_of(build: Build, rows: int) -> Array | None:
    """Return what each row's speed plan is made of, (rows, PLANNED_BY); None: all rows ride by one plan."""
    rider = build.rider
    wishes = (rider.cruise_speed_km_h, rider.cornering_m_per_s2, rider.braking_m_per_s2)
    if not any(is_column(wish) for wish in wishes):
        return None
    return np.column_stack([np.broadcast_to(np.asarray(wish, dtype=np.float64), rows) for wish in wishes])
