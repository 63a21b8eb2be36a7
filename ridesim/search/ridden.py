"""Candidates ridden: rows of a search in, a table of figures out. What threads here and workers elsewhere both run.

A table has one row a candidate: for each road the wanted figures, then what takes a run of its own, then which limits
of the judge stop it. The same rows give the same bytes wherever they are ridden.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.checks import startability
from ridesim.bike.load import LoadedBuild
from ridesim.engine.halting import HALT, on_all_cores, usable_cores
from ridesim.engine.params import start_state
from ridesim.engine.state import RoadArrays
from ridesim.errors import BuildError, Interrupted
from ridesim.ride.judge import STOP, Finding, ride_findings
from ridesim.ride.result import Ridden
from ridesim.ride.running import RANGE_LIMIT_H, RideOptions, arrays_for, ride_parameters, run
from ridesim.road.profile import Road
from ridesim.search.space import Rows, Space
from ridesim.search.wanted import OF_RIDE, RANGE, TOP_SPEED
from ridesim.studies.top_speed import top_speeds
from ridesim.sure.batch import CHANCES

Table = NDArray[np.float64]
Done = Callable[[int], None]

DRAFT_STEP_S = 0.5
"""Step of a draft ride: energies within 1e-3, temperatures within a degree of the full ride's (measured)."""
DRAFT_C, DRAFT_SHARE = 3.0, 0.03
"""A draft's figure beyond a limit by less than this may be within it on a full ride [K, share of the limit]."""
SLICE = 16
"""Candidates that one thread rides in a row."""
ENDLESS_LAPS = 1_000_000_000
CANNOT_START = float(2 ** len(CHANCES))
"""Mark of a bike that cannot start, above those of the judge's limits."""


@dataclass(frozen=True)
class Problem:
    """What a search rides: the space, the roads, and the figures wanted of each ride; small enough to be sent."""

    space: Space
    roads: tuple[Road, ...]
    figures: tuple[str, ...]
    runs: tuple[str, ...] = ()
    arrays: dict[Any, RoadArrays] = field(default_factory=dict, repr=False, compare=False)

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns of a table."""
        per_road = [f"{name}.{at}" for at in range(len(self.roads)) for name in self.figures]
        ranges = [f"{RANGE}.{at}" for at in range(len(self.roads)) if RANGE in self.runs]
        return (*per_road, *ranges, *(name for name in self.runs if name != RANGE), "stopped", "stopped_for_sure")

    def values(self, table: Table, name: str) -> Table:
        """Return a figure of every road, (n, roads), or of a run that needs none, (n, 1)."""
        names = [f"{name}.{at}" for at in range(len(self.roads))] if name != TOP_SPEED else [name]
        return table[:, [self.columns.index(each) for each in names]]

    def sent(self) -> Problem:
        """Return the problem without what each process makes for itself."""
        return replace(self, arrays={}, space=replace(self.space, families={}))


def options_of(draft: bool) -> RideOptions:
    """Return how a draft and how a full ride is ridden; a full ride as `ridesim ride` does."""
    return RideOptions(step_s=DRAFT_STEP_S) if draft else RideOptions()


def evaluate(
    problem: Problem, rows: Rows, draft: bool, *, threads: int | None = None, done: Done | None = None
) -> Table:
    """Ride every row and return the table of its figures; the number of threads changes no byte.

    Raises Interrupted when a signal ends it.
    """
    table = np.full((len(rows), len(problem.columns)), np.nan)
    slices = [slice(at, min(at + SLICE, len(rows))) for at in range(0, len(rows), SLICE)]

    def work(part: slice) -> None:
        for at in range(part.start, part.stop):
            if HALT[0]:
                raise Interrupted("")
            table[at] = ride_row(problem, rows[at], draft)

    def told(_one: int) -> None:
        if done is not None:
            done(min(SLICE, len(rows)))

    if threads == 1 or (threads is None and usable_cores() == 1):
        for part in slices:
            work(part)
            told(1)
    else:
        on_all_cores(work, slices, threads, told)
    return table


def ride_row(problem: Problem, row: Rows, draft: bool) -> Sequence[float]:
    """Return the figures of one candidate."""
    loaded = problem.space.lean_of(row)
    try:
        startability(loaded.build, {}, "")
    except BuildError:
        return [math.nan] * (len(problem.columns) - 2) + [CANNOT_START, CANNOT_START]
    options = options_of(draft)
    found: list[float] = []
    ranges: list[float] = []
    stopped = sure = 0
    for at in range(len(problem.roads)):
        ridden = _ride(problem, loaded, at, options)
        findings = [each for each in ride_findings(ridden.figures, loaded.build, "metric") if each.verdict == STOP]
        stopped |= _mask(findings)
        sure |= _mask([each for each in findings if not draft or _is_sure(each)])
        found += [_number(getattr(ridden.figures, name)) for name in problem.figures]
        if RANGE in problem.runs:
            endless = replace(options, laps=ENDLESS_LAPS, time_limit_h=RANGE_LIMIT_H)
            ranges.append(_ride(problem, loaded, at, endless).figures.distance_km)
    if TOP_SPEED in problem.runs:
        altitude = float(problem.roads[0].altitude_m[0])
        ranges.append(top_speeds([loaded], altitude, threads=1)[0][1].speed_km_h)
    return [*found, *ranges, float(stopped), float(sure)]


def _ride(problem: Problem, loaded: LoadedBuild, road: int, options: RideOptions) -> Ridden:
    build = loaded.build
    key = (road, build.rider, build.weather, build.tyre)
    arrays = problem.arrays.get(key)
    if arrays is None:
        arrays = problem.arrays[key] = arrays_for(build, problem.roads[road], options)
    params, start = ride_parameters(build, options), start_state(build)
    raw = run(params, arrays, start, options, trace=False)
    return Ridden(loaded, problem.roads[road], options, params, arrays, start, raw)


def _number(value: Any) -> float:
    return math.nan if value is None else float(value)


def _mask(findings: Sequence[Finding]) -> int:
    return sum({1 << CHANCES.index(each.name) for each in findings})


def _is_sure(each: Finding) -> bool:
    """Return whether a draft's finding would stand on a full ride too."""
    if each.figure is None or each.limit is None:
        return True
    beyond = abs(each.figure - each.limit)
    return beyond > (DRAFT_C if each.unit == "c" else DRAFT_SHARE * abs(each.limit))


def stopped_by(mark: float) -> tuple[str, ...]:
    """Return the names of the limits behind a mark, as the judge has them."""
    if mark >= CANNOT_START:
        return ("cannot_start",)
    return tuple(name for at, name in enumerate(CHANCES) if int(mark) >> at & 1)


def wanted_figures(names: Sequence[str]) -> tuple[str, ...]:
    """Return the ride's figures among some names, with those that a search looks at itself."""
    own = ("peak_shaft_torque_nm", "peak_brake_torque_nm", "top_speed_km_h", "distance_km")
    return tuple(dict.fromkeys([*(name for name in names if name in OF_RIDE), *own]))
