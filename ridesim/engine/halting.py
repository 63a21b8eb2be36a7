"""Compiled rides that a signal can end but never unwind.

Python handles a signal in the main thread as soon as compiled code hands its result back there; the result is then half
made, and the process crashes. So a ride asked for in the main thread runs in another one while the main thread waits,
and every ride reads a flag after each step.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from typing import TypeVar

import numpy as np

from ridesim.errors import Interrupted

A = TypeVar("A")
B = TypeVar("B")

HALT = np.zeros(1, dtype=np.uint8)
"""Read by every ride after each step: not zero ends it."""

BEGUN = threading.Event()
"""Set once this process has ridden, or served: only then there is something to tell when a signal ends it."""

_aside: list[ThreadPoolExecutor] = []
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_aside.clear)  # a child has no such thread


def halt_for_good() -> None:
    """End all rides of this process within a step, now and later: it is about to exit."""
    HALT[0] = 1


@contextmanager
def halted() -> Iterator[None]:
    """End the rides under way, in every thread; new ones may start when the block ends."""
    before = HALT[0]
    HALT[0] = 1
    try:
        yield
    finally:
        HALT[0] = before


def off_the_main_thread(work: Callable[[A], B], item: A, broken_off: Callable[[B], BaseException]) -> B:
    """Return work(item), done where no signal is handled.

    An interrupt ends the ride under way; what it left behind is raised as `broken_off(outcome)`.
    """
    BEGUN.set()
    if threading.current_thread() is not threading.main_thread():
        return work(item)
    if not _aside:
        _aside.append(ThreadPoolExecutor(max_workers=1, thread_name_prefix="ride"))
    under_way: Future[B] | None = None
    try:
        under_way = _aside[0].submit(work, item)
        return under_way.result()
    except KeyboardInterrupt:
        with halted():
            _aside.pop().shutdown(cancel_futures=True)
        if under_way is None or under_way.cancelled() or under_way.exception() is not None:
            raise
        raise broken_off(under_way.result()) from None


def on_all_cores(
    work: Callable[[A], B],
    items: Sequence[A],
    threads: int | None,
    done: Callable[[int], None] | None,
    rides_in: Callable[[A], int] = lambda _: 1,
) -> list[B]:
    """Return work(item) of every item in order; `done(rides in it)` is called in this thread after each.

    `threads`: None takes all cores.
    """
    BEGUN.set()
    with ThreadPoolExecutor(max_workers=threads or usable_cores()) as pool:
        jobs = {pool.submit(work, item): item for item in items}
        try:
            for job in as_completed(jobs):
                job.result()  # what went wrong in one ends all
                if done is not None:
                    done(rides_in(jobs[job]))
        except BaseException:
            with halted():
                pool.shutdown(cancel_futures=True)
            raise
    return [job.result() for job in jobs]


def all_or_so_far(
    work: Callable[[A], B], items: Sequence[A], threads: int | None, done: Callable[[int], None] | None
) -> list[B]:
    """Return work(item) of every item in order, as `on_all_cores` does.

    Raises Interrupted, whose `left` is a list of (item's place, outcome) of what was done.
    """
    found: dict[int, B] = {}

    def kept(place: int) -> None:
        """Do one item's work and keep what it gives."""
        found[place] = work(items[place])

    try:
        on_all_cores(kept, range(len(items)), threads, done)
    except KeyboardInterrupt:
        raise Interrupted(f"{len(found)} of {len(items)} rides", sorted(found.items())) from None
    return [found[place] for place in range(len(items))]


def usable_cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
