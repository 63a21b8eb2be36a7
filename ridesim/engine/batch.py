"""Many rides on all cores: the same compiled ride, which lets go of the interpreter's lock while it runs."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np

from ridesim.engine.loop import ride
from ridesim.engine.state import Parameters, RoadArrays, State, Stop, Total, as_record
from ridesim.engine.tally import CHANNELS, LEDGER_LINES, LIMITS, TOTALS


class Job(NamedTuple):
    """One ride without a trace: numbers in SI, `latest` the time at which patience ends [s]."""

    params: Parameters
    road: RoadArrays
    start: State
    step_s: float = 0.1
    laps: int = 1
    latest: float = 48.0 * 3600.0


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
    """Ride once; keep a trace of at most `rows` rows, one every `every` steps."""
    trace = np.zeros((rows, CHANNELS))
    totals, ledger = np.zeros(TOTALS), np.zeros(LEDGER_LINES)
    seconds, first, brake = np.zeros(LIMITS), np.zeros(LIMITS), np.zeros(LIMITS)
    end, code, used = ride(
        as_record(job.params), job.road, job.start, float(job.step_s), job.laps, float(job.latest), every,
        trace, totals, ledger, seconds, first, brake,
    )  # fmt: skip
    return Raw(State(*end), Stop(code), trace[:used], totals, ledger, seconds, first, brake)


def run_many(jobs: Sequence[Job], threads: int | None = None, done: Callable[[int], None] | None = None) -> list[Raw]:
    """Ride every job and return the outcomes in order; they do not depend on the number of threads.

    `threads` defaults to the cores this process may use; `done(n)` is called in this thread as rides end.
    """
    if not jobs:
        return []
    outcomes = [run_one(jobs[0])]
    if done:
        done(1)
    with ThreadPoolExecutor(max_workers=threads or usable_cores()) as pool:
        try:
            for outcome in pool.map(run_one, jobs[1:]):
                outcomes.append(outcome)
                if done:
                    done(1)
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
    return outcomes


def usable_cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
