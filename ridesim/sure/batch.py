"""Thousands of rides over all cores: each draw is packed, ridden, read and forgotten; only its answers are kept."""

from __future__ import annotations

import gc
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.engine.halting import HALT, on_all_cores
from ridesim.engine.state import Channel
from ridesim.errors import Interrupted
from ridesim.ride.judge import STOP, ride_findings
from ridesim.ride.result import Ridden
from ridesim.ride.running import run
from ridesim.sure.draws import row_of
from ridesim.sure.packing import Packer, pack
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

CHANCES = (
    "arrival", "winding", "magnets", "controller", "cells_heat", "cell_lasting", "charge_hard", "overcharge",
    "cell_voltage_high", "supply_voltage", "over_speed",
)  # fmt: skip
"""The limits that a ride can see and whose passing stops it, by their names in `ride.limits`: each has a chance."""
BAND_DRAWS = 2048
"""Draws of which a band is kept: more would not be seen, and would fill the memory."""

BANDS = {
    "winding_temp_c": Channel.WINDING_TEMP, "charge_fraction": Channel.CHARGE_FRACTION, "time_s": Channel.TIME,
    "motor_current_a": Channel.MOTOR_CURRENT, "pack_current_a": Channel.PACK_CURRENT,
}  # fmt: skip
"""What is kept at fixed places along the road, where a band is asked for."""


@dataclass(frozen=True, eq=False)
class Outcomes:
    """What the rides of some draws came to, in their order; `ridden` marks those that were.

    `answers` (draws, ANSWERS), `passed` (draws, CHANCES), `stops` the word of each ride's end; `band` by name (the
    first `BAND_DRAWS`, places), nan beyond the place where a ride ended.
    """

    answers: Array
    passed: NDArray[np.bool_]
    stops: NDArray[np.str_]
    ridden: NDArray[np.bool_]
    places_m: Array
    band: dict[str, Array]

    def of(self, answer: str) -> Array:
        """Return one answer of every draw."""
        return self.answers[:, ANSWERS.index(answer)]


def empty(count: int, places_m: Array) -> Outcomes:
    """Return room for the outcomes of some draws."""
    return Outcomes(
        answers=np.full((count, len(ANSWERS)), np.nan),
        passed=np.zeros((count, len(CHANCES)), dtype=bool),
        stops=np.full(count, "", dtype="<U24"),
        ridden=np.zeros(count, dtype=bool),
        places_m=places_m,
        band={name: np.full((min(count, BAND_DRAWS), len(places_m)), np.nan) for name in BANDS if len(places_m)},
    )


def ride_draws(
    packer: Packer, values: Array, *, places_m: Array | None = None, threads: int | None = None,
    done: Done | None = None,
) -> Outcomes:  # fmt: skip
    """Ride every row of `values` and return what the rides came to; the number of threads changes no answer.

    Memory is that of the answers: a trace lives as long as its ride. Raises Interrupted, with the outcomes so far.
    """
    outcomes = empty(len(values), np.empty(0) if places_m is None else places_m)

    def work(index: int) -> None:
        if HALT[0]:
            raise Interrupted("")
        ride_one(packer, values[index], outcomes, index)

    # What lives now outlives the batch: left out of the collector's rounds, which else take half of the packing.
    gc.freeze()
    try:
        on_all_cores(work, range(len(values)), threads, done)
    except KeyboardInterrupt as end:
        raise Interrupted(f"{int(outcomes.ridden.sum())} of {len(values)} rides", outcomes) from end
    finally:
        gc.unfreeze()
    return outcomes


def ride_one(packer: Packer, row: Array, into: Outcomes, index: int) -> None:
    """Ride one draw and keep its answers in row `index`."""
    made = pack(packer, row_of(packer.doubts, row) if len(row) else {})
    wants_band = len(into.places_m) > 0 and index < BAND_DRAWS
    raw = run(made.params, made.arrays, made.start, packer.options, trace=wants_band)
    ridden = Ridden(made.loaded, made.road, packer.options, made.params, made.arrays, made.start, raw)
    figures = ridden.figures
    for at, name in enumerate(ANSWERS):
        value = getattr(figures, name)
        into.answers[index, at] = np.nan if value is None else value
    stopped = {each.name for each in ride_findings(figures, made.loaded.build, "metric") if each.verdict == STOP}
    into.passed[index] = [name in stopped for name in CHANCES]
    into.stops[index] = figures.stop
    if wants_band:
        _keep_band(raw.trace, into, index)
    into.ridden[index] = True


def _keep_band(trace: Array, into: Outcomes, index: int) -> None:
    if not len(trace):
        return
    at = trace[:, Channel.DISTANCE]
    for name, channel in BANDS.items():
        into.band[name][index] = np.interp(into.places_m, at, trace[:, channel], right=np.nan)


def places_along(length_m: float, count: int) -> Array:
    """Return places at which a band is kept [m], the first a little behind the start."""
    return np.linspace(0.0, length_m, count + 1)[1:] - to_si(1e-6, "km")
