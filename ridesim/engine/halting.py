"""Compiled rides that a signal can end but never unwind.

Python handles a signal in the main thread as soon as compiled code hands its result back there; the result is then half
made, and the process crashes. So a ride asked for in the main thread runs in another one while the main thread waits,
and every ride reads a flag after each step.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from queue import SimpleQueue
from typing import Any, TypeVar

import numpy as np

from ridesim.errors import Interrupted

A = TypeVar("A")
B = TypeVar("B")

HALT = np.zeros(1, dtype=np.uint8)
"""Read by every ride after each step: not zero ends it."""

BEGUN = threading.Event()
"""Set once this process has ridden, or served: only then there is something to tell when a signal ends it."""


class _Aside:
    """A thread that does one piece of work after the other.

    An executor does as much and takes four times as long to hand over: a sixth of a short ride.
    """

    def __init__(self) -> None:
        self.asked: SimpleQueue[tuple[Callable[[Any], Any], Any]] = SimpleQueue()
        self.answered: SimpleQueue[tuple[Any, BaseException | None]] = SimpleQueue()
        threading.Thread(target=self._work, name="ride", daemon=True).start()

    def _work(self) -> None:
        while True:
            work, item = self.asked.get()
            try:
                answer: tuple[Any, BaseException | None] = work(item), None
            except BaseException as error:
                answer = None, error
            self.answered.put(answer)
            del work, item, answer  # else they live on until the next ride

    def drained(self) -> list[tuple[Any, BaseException | None]]:
        """Return what is answered by the time that all that was asked is done."""
        self.asked.put((lambda _: _LAST, None))
        return list(iter(self.answered.get, (_LAST, None)))


_LAST = object()

_aside: list[_Aside] = []
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
    aside = _aside.pop() if _aside else _Aside()
    try:
        aside.asked.put((work, item))
        value, error = aside.answered.get()
    except BaseException as signalled:
        with halted():
            answers = aside.drained()
        if isinstance(signalled, KeyboardInterrupt) and answers and answers[0][1] is None:
            raise broken_off(answers[0][0]) from None
        raise
    _aside.append(aside)
    if error is not None:
        raise error
    return value


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
