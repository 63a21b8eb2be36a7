"""The laps behind a ride, and when a bike that rides lap after lap has no range left."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ridesim.engine.state import Limit, Stop
from ridesim.jit import inner_kernel

DONE_SHARE = 0.1
"""Share of the charge that a lap took at most, below which a pack that holds the motor back counts as done (guess)."""


@inner_kernel
def held_by_pack(limit_seconds: np.ndarray) -> float:
    """Return for how long the pack's voltage has held the motor back [s]."""
    held: float = limit_seconds[Limit.LOW_VOLTAGE] + limit_seconds[Limit.MODULATION]
    return held


class Laps(NamedTuple):
    """The laps behind a ride; charges are shares of the pack's."""

    done: int
    charge: float  # at the start of this one
    most: float  # that one took
    held: float  # for how long the pack's voltage had held the motor back at the start of this one [s]


@inner_kernel
def another(laps: Laps, charge: float, held: float) -> Laps:
    """Return the laps behind a ride at a lap's end, with what is left of the charge by then."""
    return Laps(done=laps.done + 1, charge=charge, most=max(laps.most, laps.charge - charge), held=held)


@inner_kernel
def why_no_range(laps: Laps, charge: float, held: float) -> Stop:
    """Return why a bike that rides for ever has no range left at a lap's end, or RUNNING.

    A strong rider goes on, on what little the pack gets back and gives: this lap's charge against the most of one, and
    for how long the pack's voltage held the motor back on it [s].
    """
    done = laps.charge - charge < DONE_SHARE * laps.most and held - laps.held > 0.0
    return Stop.LOW_VOLTAGE if done else Stop.RUNNING
