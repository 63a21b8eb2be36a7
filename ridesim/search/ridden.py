"""Candidates ridden: rows of a search in, a table of figures out. What threads here and workers elsewhere both run.

A table has one row a candidate: for each road the wanted figures, then what takes a run of its own, then which limits
of the judge stop it. The same rows give the same bytes wherever they are ridden.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.bike.second import drives_of
from ridesim.bike.startable import startability
from ridesim.engine.codes import Stop
from ridesim.engine.loop import ENDLESS_LAPS
from ridesim.errors import BuildError
from ridesim.ride.answers import PASSED
from ridesim.ride.bounds import STOP_WORDS
from ridesim.ride.limits import LIMITS
from ridesim.ride.packed import Ground, ground_of
from ridesim.ride.quantities import SECOND
from ridesim.ride.rows import RodeRows, ride_built
from ridesim.ride.running import RANGE_LIMIT_H, RideOptions
from ridesim.road.profile import Road
from ridesim.search.space import Rows, Space
from ridesim.search.wanted import OF_RIDE, RANGE, TOP_SPEED
from ridesim.studies.top_speed import half_charge_speeds, top_speeds
from ridesim.units import from_si

Table = NDArray[np.float64]
Done = Callable[[int], None]

DRAFT_C, DRAFT_SHARE = 3.0, 0.03
"""A draft's figure beyond a limit by less than this may be within it on a full ride [K, share of the limit]."""
PEAK_CURRENT = "peak_motor_current_a"
JUDGED = tuple(PASSED)
"""The judge's limits whose passing stops a ride, in the order of the bits of a mark."""
CANNOT_START = float(2 ** len(JUDGED))
"""Mark of a bike that cannot start, above those of the judge's limits."""
MARKS = ("ended", "stopped", "stopped_for_sure")
"""Last columns: how the first ride that did not arrive ended, which limits stop it, and whether a full ride would."""
SAME_AIR = ("rider.", "tyre.", "weather.", "pack.start_")
"""Keys that a top speed's road is made of."""


@dataclass(frozen=True)
class Problem:
    """What a search rides: the space, the roads, and the figures wanted of each ride; small enough to be sent."""

    space: Space
    roads: tuple[Road, ...]
    figures: tuple[str, ...]
    runs: tuple[str, ...] = ()
    grounds: dict[Any, Ground] = field(default_factory=dict, repr=False, compare=False)

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns of a table."""
        per_road = [f"{name}.{at}" for at in range(len(self.roads)) for name in self.figures]
        ranges = [f"{RANGE}.{at}" for at in range(len(self.roads)) if RANGE in self.runs]
        return (*per_road, *ranges, *(name for name in self.runs if name != RANGE), *MARKS)

    def values(self, table: Table, name: str) -> Table:
        """Return a figure of every road, (n, roads), or of a run that needs none, (n, 1)."""
        names = [f"{name}.{at}" for at in range(len(self.roads))] if name != TOP_SPEED else [name]
        return table[:, [self.columns.index(each) for each in names]]

    def sent(self) -> Problem:
        """Return the problem without what each process makes for itself."""
        return replace(self, grounds={}, space=replace(self.space, families={}))


def options_of(draft: bool) -> RideOptions:
    """Return how a draft and how a full ride is ridden; a full ride as `ridesim ride` does."""
    return RideOptions(accuracy="draft") if draft else RideOptions()


def evaluate(
    problem: Problem, rows: Rows, draft: bool, *, threads: int | None = None, done: Done | None = None
) -> Table:
    """Ride every row and return the table of its figures; the number of threads changes no byte.

    Raises Interrupted when a signal ends it.
    """
    table = np.full((len(rows), len(problem.columns)), np.nan)
    groups: dict[tuple[int, ...], list[int]] = {}
    for at, row in enumerate(rows):
        if _starts(problem.space.lean_of(row).build):
            groups.setdefault(problem.space.group_of(row), []).append(at)
        else:
            table[at, -len(MARKS) :] = (Stop.RUNNING, CANNOT_START, CANNOT_START)
    for places in groups.values():
        table[places] = _ride_group(problem, rows[places], draft, threads)
        if done is not None:
            done(len(places))
    if done is not None:
        done(len(rows) - sum(map(len, groups.values())))
    return table


def _starts(build: Build) -> bool:
    try:
        startability(build, {}, "")
    except BuildError:
        return False
    return True


def _ride_group(problem: Problem, rows: Rows, draft: bool, threads: int | None) -> Table:
    """Ride rows of the same parts as columns over every road."""
    first, build = problem.space.columns_of(rows)
    options, count = options_of(draft), len(rows)
    found: list[Table] = []
    runs: list[Table] = []
    stopped, sure = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=bool)
    ended = np.full(count, float(Stop.FINISHED))
    for road in range(len(problem.roads)):
        rode = ride_built(_ground(problem, first, road, options), build, count, threads=threads)
        passed = [rode.passed(name) for name in JUDGED]
        stopped |= _marks(passed)
        ended = np.where(ended == Stop.FINISHED, [Stop[word.upper()] for word in rode.stops.tolist()], ended)
        sure |= _surely(rode, build) if draft else np.any(passed, axis=0)
        found += [rode.answer(name) for name in problem.figures]
        if RANGE in problem.runs:
            endless = replace(options, laps=ENDLESS_LAPS, time_limit_h=RANGE_LIMIT_H)
            ground = _ground(problem, first, road, endless)
            runs.append(ride_built(ground, build, count, threads=threads).answer("distance_km"))
    if TOP_SPEED in problem.runs:
        runs.append(_top_speeds(problem, rows, first, build, draft, threads))
    return np.column_stack([*found, *runs, ended, stopped, sure])


def _ground(problem: Problem, loaded: LoadedBuild, road: int, options: RideOptions) -> Ground:
    """Return what rides over a road share; its arrays serve all bikes of one rider, tyre and weather."""
    build = loaded.build
    key = (road, options, build.rider, build.weather, build.tyre)
    if key not in problem.grounds:
        problem.grounds[key] = ground_of(loaded, problem.roads[road], options)
    return replace(problem.grounds[key], loaded=loaded)


def _top_speeds(
    problem: Problem, rows: Rows, first: LoadedBuild, build: Build, draft: bool, threads: int | None
) -> Table:
    altitude = float(problem.roads[0].altitude_m[0])
    if not any(axis.key.startswith(SAME_AIR) and not axis.is_part for axis in problem.space.axes):
        return half_charge_speeds(first.build, build, len(rows), altitude, draft=draft, threads=threads)
    bikes = [problem.space.lean_of(row) for row in rows]
    return np.array([half.speed_km_h for _, half in top_speeds(bikes, altitude, threads=threads)])


def _marks(passed: Sequence[NDArray[np.bool_]]) -> NDArray[np.int64]:
    """Return one number a row, a bit for each limit passed."""
    return np.asarray(sum(flags.astype(np.int64) << at for at, flags in enumerate(passed)))


SURELY = (
    ("peak_winding_temp_c", lambda build: build.motor.winding_limit_c),
    ("peak_body_temp_c", lambda build: build.motor.magnet_limit_c),
    ("peak_controller_temp_c", lambda build: build.controller.controller_no_current_above_c),
    ("peak_pack_temp_c", lambda build: build.pack.temperature_limit_c),
)


OF_A_DRIVE = SURELY[:3]
"""What a second, different drive has for itself."""


def _surely(rode: RodeRows, build: Build) -> NDArray[np.bool_]:
    """Return which drafts a full ride would stop too: far from arriving, or far above what heat or a cell may be."""
    road, far = rode.ground.road, 1.0 - DRAFT_SHARE
    asked = road.length_m if road.cycle is None else road.cycle.distance_m
    found = rode.answer("distance_km") < far * from_si(asked, "km")
    for prefix, drive in zip(("", SECOND), drives_of(build), strict=False):
        for name, limit in SURELY if not prefix else OF_A_DRIVE:
            found |= rode.answer(f"{prefix}{name}") > limit(drive) + DRAFT_C
    rating = build.pack.cell.max_discharge_a * (1.0 + DRAFT_SHARE)
    return np.asarray(found | (rode.answer("sustained_cell_current_a") > rating))


def stop_words(mark: float, ended: float) -> str:
    """Return what stops a bike, in the judge's words, and why a ride ended that did not arrive."""
    if mark >= CANNOT_START:
        return "it cannot start"
    names = [name for at, name in enumerate(JUDGED) if int(mark) >> at & 1]
    words = [LIMITS[name].broken or name for name in names]
    if "arrival" in names and ended != Stop.FINISHED:
        words[names.index("arrival")] += f" ({STOP_WORDS[Stop(int(ended))]})"
    return " and ".join(words)


def wanted_figures(names: Sequence[str]) -> tuple[str, ...]:
    """Return the ride's figures among some names, and those that the search itself looks at."""
    return tuple(dict.fromkeys([*(name for name in names if name in OF_RIDE), "distance_km", PEAK_CURRENT]))
