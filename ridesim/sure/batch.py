"""Thousands of rides over all cores: draws are packed as columns, ridden, read and forgotten; answers are kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.schema import Build
from ridesim.engine.batch import Job, Raw
from ridesim.engine.state import Channel, Ledger
from ridesim.errors import Interrupted
from ridesim.ride.answers import PASSED
from ridesim.ride.brakes import hottest_over_k
from ridesim.ride.judge import OF_A_DRIVE
from ridesim.ride.limits import LIMITS
from ridesim.ride.quantities import OF_SECOND, SECOND
from ridesim.ride.rows import RodeRows, ride_built
from ridesim.ride.running import run
from ridesim.sure.packing import Packer, in_row, pack
from ridesim.units import to_si

Array = NDArray[np.float64]
Done = Callable[[int], None]

ANSWERS = (
    "total_time_s", "mean_speed_km_h", "distance_km", "net_energy_wh", "net_wh_per_km", "charge_left_fraction",
    "pack_energy_returned_wh", "peak_winding_temp_c", "peak_body_temp_c", "peak_controller_temp_c", "peak_pack_temp_c",
    "peak_motor_current_a", "sustained_motor_current_a", "peak_pack_current_a", "peak_cell_current_a",
    "lowest_pack_voltage_v",
)  # fmt: skip
"""The figures of a ride that have a spread, by their names in `ride.quantities`."""

OF_DRIVES = tuple(f"{SECOND}{name}" for name in OF_SECOND)
"""Those that a second, different drive has for itself beside them."""

CHANCES = (*PASSED, "brake_heat")
"""The limits that a ride can see and whose passing stops it, by their names in `ride.limits`: each has a chance; brakes
only where the build states them."""
PART = 16_384
"""Draws of which all numbers are kept at once, before their answers are read."""
BAND_DRAWS = 2048
"""Draws of which a band is kept: more would not be seen, and would fill the memory."""


def answers_of(build: Build) -> tuple[str, ...]:
    """Return the names of the answers that bikes like this one have."""
    return ANSWERS if build.second is None else (*ANSWERS, *OF_DRIVES)


def chances_of(build: Build) -> tuple[str, ...]:
    """Return the limits that have a chance; of two different drives the second one's own behind, as `second_...`."""
    own = () if build.second is None else tuple(f"{SECOND}{name}" for name in PASSED if name in OF_A_DRIVE)
    return (*CHANCES, *own)


BANDS = {
    "winding_temp_c": Channel.WINDING_TEMP, "charge_fraction": Channel.CHARGE_FRACTION, "time_s": Channel.TIME,
    "motor_current_a": Channel.MOTOR_CURRENT, "pack_current_a": Channel.PACK_CURRENT,
}  # fmt: skip
"""What is kept at fixed places along the road, where a band is asked for."""
SECOND_WINDING = f"{SECOND}winding_temp_c"
"""And of two different drives the second one's winding."""


@dataclass(frozen=True, eq=False)
class Outcomes:
    """What the rides of some draws came to, in their order; `ridden` marks those that were.

    `answers` (draws, `names`), `passed` (draws, `limits`), `stops` the word of each ride's end; `band` by name (the
    first `BAND_DRAWS`, places), nan beyond the place where a ride ended. `brakes_over_k`: how far the hotter brake lies
    above what it may reach, nan where the build states none.
    """

    answers: Array
    passed: NDArray[np.bool_]
    stops: NDArray[np.str_]
    ridden: NDArray[np.bool_]
    places_m: Array
    band: dict[str, Array]
    brakes_over_k: Array
    names: tuple[str, ...] = ANSWERS
    limits: tuple[str, ...] = CHANCES

    def of(self, answer: str) -> Array:
        """Return one answer of every draw."""
        return self.answers[:, self.names.index(answer)]

    def past(self, limit: str) -> NDArray[np.bool_]:
        """Return which draws passed a limit."""
        return self.passed[:, self.limits.index(limit)]


def empty(count: int, places_m: Array, build: Build) -> Outcomes:
    """Return room for the outcomes of some draws of a build."""
    names, limits = answers_of(build), chances_of(build)
    bands = (*BANDS, *((SECOND_WINDING,) if build.second is not None else ()))
    return Outcomes(
        names=names,
        limits=limits,
        answers=np.full((count, len(names)), np.nan),
        passed=np.zeros((count, len(limits)), dtype=bool),
        stops=np.full(count, "", dtype="<U24"),
        ridden=np.zeros(count, dtype=bool),
        places_m=places_m,
        band={name: np.full((min(count, BAND_DRAWS), len(places_m)), np.nan) for name in bands if len(places_m)},
        brakes_over_k=np.full(count, np.nan),
    )


def ride_draws(
    packer: Packer, values: Array, *, places_m: Array | None = None, threads: int | None = None,
    done: Done | None = None,
) -> Outcomes:  # fmt: skip
    """Ride every row of `values` and return what the rides came to; the number of threads changes no answer.

    No columns: one ride of the build as it stands. Memory is that of the answers; a trace lives as long as its ride.
    Raises Interrupted, with the outcomes so far.
    """
    outcomes = empty(len(values), np.empty(0) if places_m is None else places_m, packer.build)
    banded = min(len(values), BAND_DRAWS) if outcomes.band else 0
    parts = [range(banded)] * bool(banded)
    parts += [range(at, min(at + PART, len(values))) for at in range(banded, len(values), PART)]
    for part in parts:
        try:
            band = outcomes if part.stop <= banded else None
            _keep(outcomes, part, _ridden(packer, values, part, outcomes, band, threads, done))
        except Interrupted as end:
            assert isinstance(end.left, RodeRows)
            _keep(outcomes, part, end.left)
            raise Interrupted(f"{int(outcomes.ridden.sum())} of {len(values)} rides", outcomes) from end
    return outcomes


def _ridden(
    packer: Packer, values: Array, part: range, outcomes: Outcomes, band: Outcomes | None, threads: int | None,
    done: Done | None,
) -> RodeRows:  # fmt: skip
    columns = dict(zip(packer.doubts.keys, values[part.start : part.stop].T, strict=True)) if values.shape[1] else {}
    build, moved = pack(packer, columns)

    stated = packer.ground.loaded.build

    def traced(row: int, job: Job) -> Raw:
        """Ride a draw with its trace, and read band and brakes from it."""
        raw = run(job.params, job.road, job.start, packer.ground.options, trace=True, second=job.second)
        rows = None if raw.second is None else raw.second.trace
        if band is not None:
            _keep_band(raw.trace, rows, band, row)
        if stated.brakes.stated:
            own = stated.model_copy(update={"brakes": in_row(build.brakes, row)})
            over = hottest_over_k(raw.trace, own, float(raw.ledger[Ledger.FRICTION_BRAKES]), rows)
            outcomes.brakes_over_k[part.start + row] = over
            hot = over > LIMITS["brake_heat"].tolerance
            outcomes.passed[part.start + row, CHANCES.index("brake_heat")] = hot
        return raw

    by = None if band is None and not stated.brakes.stated else traced
    return ride_built(packer.ground, build, len(part), moved=moved, by=by, threads=threads, done=done)


def _keep(outcomes: Outcomes, part: range, rode: RodeRows) -> None:
    rows = slice(part.start, part.stop)
    outcomes.answers[rows] = np.column_stack([rode.answer(name) for name in outcomes.names])
    for name in PASSED:
        for prefix, passed in zip(("", SECOND), rode.passed_by_drive(name), strict=False):
            outcomes.passed[rows, outcomes.limits.index(f"{prefix}{name}")] = passed
    outcomes.stops[rows], outcomes.ridden[rows] = rode.stops, rode.ridden


def _keep_band(trace: Array, second: Array | None, into: Outcomes, index: int) -> None:
    if not len(trace):
        return
    at = trace[:, Channel.DISTANCE]
    for name, channel in BANDS.items():
        into.band[name][index] = np.interp(into.places_m, at, trace[:, channel], right=np.nan)
    if second is not None:
        heat = second[:, Channel.WINDING_TEMP]
        into.band[SECOND_WINDING][index] = np.interp(into.places_m, at, heat, right=np.nan)


def places_along(length_m: float, count: int) -> Array:
    """Return places at which a band is kept [m], the first a little behind the start."""
    return np.linspace(0.0, length_m, count + 1)[1:] - to_si(1e-6, "km")
