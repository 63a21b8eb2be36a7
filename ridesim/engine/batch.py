"""Many rides on all cores: the same compiled ride, which lets go of the interpreter's lock while it runs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import NamedTuple

import numpy as np

from ridesim.engine.halting import HALT, off_the_main_thread, on_all_cores
from ridesim.engine.loop import ride
from ridesim.engine.pace import NORMAL, Pacing
from ridesim.engine.pair import Second, SecondState
from ridesim.engine.state import (
    STATE_NUMBERS,
    Parameters,
    RoadArrays,
    State,
    Stop,
    Total,
    as_record,
    numbers_of,
    record_and_room,
    state_of,
)
from ridesim.engine.tally import CHANNELS, LEDGER_LINES, LIMITS, TOTALS
from ridesim.errors import Interrupted
from ridesim.units import from_si, to_si


class Job(NamedTuple):
    """One ride without a trace: numbers in SI, `latest` the time at which patience ends [s]."""

    params: Parameters
    road: RoadArrays
    start: State
    pacing: Pacing = NORMAL
    laps: int = 1
    latest: float = to_si(48.0, "h")
    second: Parameters | None = None
    """Of the second drive, where `params` is a record, which holds none."""


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
    second: Second | None = None

    def total(self, which: Total) -> float:
        """Return a running figure by name."""
        return float(self.totals[which])


def run_one(job: Job, rows: int = 0, interval: float = 1.0) -> Raw:
    """Ride once; keep a trace of at most `rows` rows, one every `interval` seconds.

    Raises Interrupted, with what was ridden by then, when a signal ends the ride.
    """
    raw = off_the_main_thread(partial(_ridden, rows=rows, interval=interval), job, _broken_off)
    if raw.stop is Stop.INTERRUPTED:
        raise _broken_off(raw)
    return raw


def _broken_off(raw: Raw) -> Interrupted:
    return Interrupted(f"{from_si(raw.total(Total.DISTANCE), 'km'):.2f} km were ridden", raw)


def _ridden(job: Job, rows: int, interval: float) -> Raw:
    trace = np.zeros((rows, CHANNELS))
    totals, ledger = np.zeros(TOTALS), np.zeros(LEDGER_LINES)
    seconds, first, brake = np.zeros(LIMITS), np.zeros(LIMITS), np.zeros(LIMITS)
    second = second_of(job, rows)
    end, code, used = ride(
        *record_and_room(job.params), job.road, job.start, job.pacing, job.laps, float(job.latest), float(interval),
        trace, totals, ledger, seconds, first, brake, HALT, second,
    )  # fmt: skip
    second = None if second is None else second._replace(trace=second.trace[:used])
    return Raw(State(*end), Stop(code), trace[:used], totals, ledger, seconds, first, brake, second)


def second_of(job: Job, rows: int) -> Second | None:
    """Return the second drive of a job's bike, with room for a trace of `rows`; None: it has one drive."""
    params = job.second if job.second is not None else getattr(job.params, "second", None)
    if params is None:
        return None
    return Second(
        _second_bike(params), np.zeros(TOTALS), np.zeros(TOTALS), np.zeros((rows, CHANNELS)), np.zeros(LEDGER_LINES),
        np.zeros(LIMITS), np.zeros(LIMITS),
    )  # fmt: skip


def _second_bike(params: Parameters) -> np.ndarray:
    record = as_record(params)
    bike: np.ndarray = np.recarray(2, dtype=record.dtype)  # type: ignore[attr-defined]
    bike[0] = bike[1] = record
    return bike


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


class SecondResults(NamedTuple):
    """What many rides left behind of the second of two different drives, one row a ride: the arrays of `Second`."""

    end: np.ndarray  # (rows, numbers of SecondState)
    totals: np.ndarray
    first_totals: np.ndarray
    ledger: np.ndarray
    limit_seconds: np.ndarray
    limit_first_m: np.ndarray

    def of(self, row: int, bike: np.ndarray, no_trace: np.ndarray) -> Second:
        """Return the place of one ride, to be written to by a ride with this bike's records, or to be read."""
        return Second(bike, self.totals[row], self.first_totals[row], no_trace, self.ledger[row],
                      self.limit_seconds[row], self.limit_first_m[row])  # fmt: skip

    def put(self, row: int, end: SecondState, second: Second) -> None:
        """Keep what one ride left behind as a row."""
        self.end[row], self.totals[row], self.first_totals[row] = end, second.totals, second.first_totals
        self.ledger[row] = second.ledger
        self.limit_seconds[row], self.limit_first_m[row] = second.limit_seconds, second.limit_first


class Results(NamedTuple):
    """What many rides left behind, one row a ride, SI: the arrays of `Raw`, and the last states, side by side."""

    end: np.ndarray  # (rows, STATE_NUMBERS)
    stop: np.ndarray  # (rows,), RUNNING where not ridden
    totals: np.ndarray
    ledger: np.ndarray
    limit_seconds: np.ndarray
    limit_first_m: np.ndarray
    brake_by_limit: np.ndarray
    second: SecondResults | None = None

    def raw(self, row: int) -> Raw:
        """Return one row as the outcome of one ride."""
        end, second, no_trace = state_of(self.end[row]), None, np.zeros((0, CHANNELS))
        if self.second is not None:
            end = end._replace(second=SecondState._make(self.second.end[row].tolist()))
            second = self.second.of(row, np.zeros(0), no_trace)
        return Raw(end, Stop(int(self.stop[row])), no_trace, self.totals[row], self.ledger[row],
                   self.limit_seconds[row], self.limit_first_m[row], self.brake_by_limit[row], second)  # fmt: skip

    def put(self, row: int, raw: Raw) -> None:
        """Keep the outcome of one ride as a row."""
        self.end[row], self.stop[row], self.totals[row], self.ledger[row] = (
            numbers_of(raw.end),
            raw.stop,
            raw.totals,
            raw.ledger,
        )
        self.limit_seconds[row], self.limit_first_m[row] = raw.limit_seconds, raw.limit_first_m
        self.brake_by_limit[row] = raw.brake_by_limit
        if self.second is not None and raw.second is not None:
            self.second.put(row, raw.end.second, raw.second)


def no_results(rows: int, *, two_drives: bool = False) -> Results:
    """Return room for the results of so many rides; of `two_drives`: of bikes with a second, different one."""
    return Results(
        np.zeros((rows, STATE_NUMBERS)), np.full(rows, int(Stop.RUNNING), dtype=np.int64),
        np.zeros((rows, TOTALS)), np.zeros((rows, LEDGER_LINES)), np.zeros((rows, LIMITS)), np.zeros((rows, LIMITS)),
        np.zeros((rows, LIMITS)), _no_second_results(rows) if two_drives else None,
    )  # fmt: skip


def _no_second_results(rows: int) -> SecondResults:
    return SecondResults(
        np.zeros((rows, len(SecondState._fields))), np.zeros((rows, TOTALS)), np.zeros((rows, TOTALS)),
        np.zeros((rows, LEDGER_LINES)), np.zeros((rows, LIMITS)), np.zeros((rows, LIMITS)),
    )  # fmt: skip


BLOCK = 16
"""Rides that a thread takes at once."""


def ride_blocks(
    block: Callable[[range], Iterable[tuple[int, Job]]],
    rows: range,
    into: Results,
    *,
    by: Callable[[int, Job], Raw] | None = None,
    threads: int | None = None,
    done: Callable[[int], None] | None = None,
) -> None:
    """Ride rows on all cores, each block of them by one thread; a ride leaves numbers behind and no objects.

    `block(its rows)` yields each row with its job, whose arrays may be reused for the next one. `by(row, job)` rides
    a job that wants more than numbers, a trace. Raises Interrupted or
    KeyboardInterrupt when a signal ends the rides.
    """
    no_trace = np.zeros((0, CHANNELS))

    def work(of: range) -> None:
        """Ride the jobs of some rows into their places. Raises Interrupted."""
        for row, job in block(of):
            if HALT[0]:
                raise Interrupted("")
            if by is None:
                _ride_into(into, row, job, no_trace)
            else:
                into.put(row, by(row, job))

    blocks = [rows[at : at + BLOCK] for at in range(0, len(rows), BLOCK)]
    on_all_cores(work, blocks, threads, done, len)


def _ride_into(into: Results, row: int, job: Job, no_trace: np.ndarray) -> None:
    second = None
    if into.second is not None and job.second is not None:
        second = into.second.of(row, _second_bike(job.second), no_trace)
    end, code, _ = ride(
        *record_and_room(job.params), job.road, job.start, job.pacing, job.laps, float(job.latest), 1.0, no_trace,
        into.totals[row], into.ledger[row], into.limit_seconds[row], into.limit_first_m[row],
        into.brake_by_limit[row], HALT, second,
    )  # fmt: skip
    if Stop(code) is Stop.INTERRUPTED:
        raise Interrupted("")
    last = State(*end)
    into.end[row], into.stop[row] = numbers_of(last), int(code)
    if into.second is not None:
        into.second.end[row] = last.second
