"""ride_rows(build, road, columns): thousands of rides over one road from columns of changed keys.

No build is made a ride: changed keys go as columns through the formulas that pack one build, estimates are taken anew,
and what a ride leaves behind are numbers, read as columns (`RodeRows.answer`, `.passed`) or, when asked for, as a ride.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.batch import Job, Raw, Results, no_results, ride_blocks
from ridesim.engine.params import road_arrays, start_state
from ridesim.errors import Interrupted
from ridesim.ride.answers import answer_of, passed_by_drive, passed_of, stop_words
from ridesim.ride.keyed import checked_columns, laid_in, row_of
from ridesim.ride.packed import Ground, Moved, asked_of, ground_of
from ridesim.ride.result import Ridden
from ridesim.ride.running import RideOptions, plan_for, ride_parameters
from ridesim.road.profile import Road
from ridesim.units import to_si

Array = NDArray[np.float64]
Done = Callable[[int], None]

CHUNK = 1024
"""Rides that are packed at once: 20 kB each."""


@dataclass(frozen=True, eq=False)
class RodeRows:
    """What the rides of many rows came to, in their order. Reading rides nothing."""

    ground: Ground
    build: Build
    columns: Mapping[str, Array]
    results: Results
    ridden: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.ridden)

    def answer(self, name: str) -> Array:
        """Return a figure of every ride, (rows,), by its name in `ride.figures`; nan where a ride has none.

        Raises RideError for a name that is not in `ride.answers.ANSWERS`.
        """
        return answer_of(name, self.results, self.build)

    def passed(self, limit: str) -> NDArray[np.bool_]:
        """Return whether each ride passed a limit for which the judge says stop, (rows,), by its name in `ride.limits`,
        with either of two drives.

        Raises RideError for a name that is not in `ride.answers.PASSED`.
        """
        return passed_of(limit, self.results, self.build, self.ground.road, self.ground.options)

    def passed_by_drive(self, limit: str) -> tuple[NDArray[np.bool_], ...]:
        """Return whether each ride passed a limit, as `passed`: one entry a drive, where each has it for itself."""
        return passed_by_drive(limit, self.results, self.build, self.ground.road, self.ground.options)

    @cached_property
    def stops(self) -> NDArray[np.str_]:
        """The word of each ride's end ("finished", "stalled", "pack_empty", ...); "" where it was not ridden."""
        return stop_words(self.results)

    def ride(self, row: int) -> Ridden:
        """Return one row as a ride, made now: its figures, its judge, its parameters. It has no trace."""
        ground, options = self.ground, self.ground.options
        build = laid_in(ground.loaded.build, row_of(self.columns, row))
        loaded = replace(ground.loaded, build=build)
        arrays = road_arrays(build, ground.road, plan_for(build, ground.road, options))
        start = start_state(build, speed_m_per_s=to_si(options.start_speed_km_h, "km_h"))
        params, raw = ride_parameters(build, options), self.results.raw(row)
        return Ridden(loaded, ground.road, options, params, arrays, start, raw)


def ride_rows(
    loaded: LoadedBuild, road: Road, columns: Mapping[str, ArrayLike], *, options: RideOptions | None = None,
    threads: int | None = None, done: Done | None = None,
) -> RodeRows:  # fmt: skip
    """Ride a build over a road once for each row of `columns`: dotted keys of the build, one value a row each.

    ```
    rides = ride_rows(load_build("bike.toml"), load_road("hill.gpx"), {"drive.stage.0.ratio": np.linspace(3, 8, 500)})
    rides.answer("net_energy_wh"), rides.answer("peak_winding_temp_c"), rides.passed("winding"), rides.stops
    rides.ride(17).figures
    ```

    Every value is checked against its key's range and the rules between keys; a value may be of any key that is a
    number, what the build leaves open is estimated anew in each row, and the rider's speed plan with his keys. Two
    rides differ from `simulate` on the same build within the accuracy asked for: the day is packed to 1e-11, and a
    rounding may move a step. The number of threads moves nothing.
    `done(n)` is called as rides end. Memory: 1.2 kB a ride, and a trace none. Raises BuildError for a key or value that
    a build cannot have (which row, and what is allowed), RideError for options out of range, and Interrupted, whose
    `left` are the RodeRows so far.
    """
    ground = ground_of(loaded, road, options or RideOptions())
    checked_in = checked_columns(loaded, columns)
    rows = len(next(iter(checked_in.values()))) if checked_in else 1
    build = laid_in(loaded.build, checked_in)
    return ride_built(ground, build, rows, columns=checked_in, threads=threads, done=done)


def ride_built(
    ground: Ground, build: Build, rows: int, *, moved: Moved | None = None, columns: Mapping[str, Array] | None = None,
    by: Callable[[int, Job], Raw] | None = None, threads: int | None = None, done: Done | None = None,
) -> RodeRows:  # fmt: skip
    """Ride a build whose changed numbers are columns, (rows,), unchecked. Raises Interrupted, as `ride_rows` does.

    `by(row, job)` rides in place of the plain ride, for those who want a trace.
    """
    results = no_results(rows, two_drives=build.second is not None)
    rode = RodeRows(ground, build, columns or {}, results, np.zeros(rows, dtype=bool))
    asked = asked_of(ground, build, rows, moved or Moved())
    try:
        for first in range(0, rows, CHUNK):
            of = range(first, min(first + CHUNK, rows))
            ride_blocks(asked.jobs(of), of, results, by=by, threads=threads, done=done)
    except KeyboardInterrupt as end:
        rode.ridden[:] = results.stop != 0
        raise Interrupted(f"{int(rode.ridden.sum())} of {rows} rides", rode) from end
    rode.ridden[:] = True
    return rode
