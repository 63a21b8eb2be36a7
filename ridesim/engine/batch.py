"""Many rides on all cores: the same compiled ride, which lets go of the interpreter's lock while it runs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import NamedTuple

import numpy as np

from ridesim.engine.halting import HALT, off_the_main_thread, on_all_cores
from ridesim.engine.loop import ride
from ridesim.engine.state import Parameters, RoadArrays, State, Stop, Total, as_record
from ridesim.engine.tally import CHANNELS, LEDGER_LINES, LIMITS, TOTALS
from ridesim.errors import Interrupted
from ridesim.units import from_si, to_si


class Job(NamedTuple):
    """One ride without a trace: numbers in SI, `latest` the time at which patience ends [s]."""

    params: Parameters
    road: RoadArrays
    start: State
    step_s: float = 0.1
    laps: int = 1
    latest: float = to_si(48.0, "h")


class Raw(NamedTuple):
    """What a ride left behind, SI: arrays by the names in engine.codes."""

    end: State
    stop: Stop
    trace: np.ndarray
    totals: np.ndarray
    ledger: np.ndarray
    limit_seconds: np.ndarray
    limit_first_m: np.ndarray
    brake_by_limit: np.ndarray

    def total(self, which: Total) -> float:
        """Return a running figure by name."""
        return float(self.totals[which])


def run_one(job: Job, rows: int = 0, every: int = 10) -> Raw:
    """Ride once; keep a trace of at most `rows` rows, one every `every` steps.

    Raises Interrupted, with what was ridden by then, when a signal ends the ride.
    """
    raw = off_the_main_thread(partial(_ridden, rows=rows, every=every), job, _broken_off)
    if raw.stop is Stop.INTERRUPTED:
        raise _broken_off(raw)
    return raw


def _broken_off(raw: Raw) -> Interrupted:
    return Interrupted(f"{from_si(raw.total(Total.DISTANCE), 'km'):.2f} km were ridden", raw)


def _ridden(job: Job, rows: int, every: int) -> Raw:
    trace = np.zeros((rows, CHANNELS))
    totals, ledger = np.zeros(TOTALS), np.zeros(LEDGER_LINES)
    seconds, first, brake = np.zeros(LIMITS), np.zeros(LIMITS), np.zeros(LIMITS)
    end, code, used = ride(
        as_record(job.params), job.road, job.start, float(job.step_s), job.laps, float(job.latest), every,
        trace, totals, ledger, seconds, first, brake, HALT,
    )  # fmt: skip
    return Raw(State(*end), Stop(code), trace[:used], totals, ledger, seconds, first, brake)


def run_many(jobs: Sequence[Job], threads: int | None = None, done: Callable[[int], None] | None = None) -> list[Raw]:
    """Ride every job and return the outcomes in order; they do not depend on the number of threads.

    `threads` defaults to the cores this process may use; `done(n)` is called in this thread as rides end.
    """
    if not jobs:
        return []
    first = run_one(jobs[0])
    if done:
        done(1)
    return [first, *on_all_cores(run_one, jobs[1:], threads, done)]
