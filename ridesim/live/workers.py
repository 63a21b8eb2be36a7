"""The server's side of the workers: who is free, and how a question is stopped."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import json
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import AsyncGenerator
from typing import Any

from ridesim.live.folder import Folder
from ridesim.live.state import State

MOST_WORKERS = 4
"""Each takes some 200 MB; who asks more at once waits."""
PATIENCE_S = 3.0
"""How long a worker may take to stop before it is ended."""
BEAT_S = 0.5
"""An answer in work is a sign of life this often: so a page that has gone is noticed."""
LONGEST_LINE = 64 * 1024 * 1024


class Workers:
    """A few processes that answer one question each at a time."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._idle: list[Process] = []
        self._all: set[Process] = set()
        self._room = asyncio.Semaphore(MOST_WORKERS)
        self._numbers = itertools.count(1)
        self._tasks: set[asyncio.Task[None]] = set()

    async def ask(self, kind: str, state: State) -> AsyncGenerator[dict[str, Any], None]:
        """Yield what a worker says, `{}` while it says nothing; the last has `result` or `error`.

        Who stops reading stops the question.
        """
        await self._room.acquire()
        worker, number, ended = None, next(self._numbers), False
        try:
            worker = await self._hire()
            job = {
                "id": number, "kind": kind, "state": vars(state) | {"changes": dict(state.changes)},
                "dropped": {name: str(place) for name, place in self.folder.dropped.items()},
            }  # fmt: skip
            _write(worker, job)
            async with contextlib.aclosing(_said(worker)) as said:
                async for message in said:
                    ended = "done" not in message and bool(message)
                    yield message
                    if ended:
                        return
        finally:
            task = asyncio.ensure_future(self._let_go(worker, number, ended))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _hire(self) -> Process:
        while self._idle:
            worker = self._idle.pop()
            if worker.returncode is None:
                return worker
            self._all.discard(worker)
        words = (str(self.folder.start), str(self.folder.room), *self.folder.given)
        worker = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "ridesim.live.worker", *words, stdin=PIPE, stdout=PIPE, limit=LONGEST_LINE
        )
        self._all.add(worker)
        return worker

    async def _let_go(self, worker: Process | None, number: int, ended: bool) -> None:
        """Make a worker free for the next: told to stop first where its answer is no longer wanted."""
        try:
            if worker is not None and (ended or await self._stopped(worker, number)):
                self._idle.append(worker)
            elif worker is not None:
                with contextlib.suppress(ProcessLookupError):
                    worker.kill()
                self._all.discard(worker)
        finally:
            self._room.release()

    async def _stopped(self, worker: Process, number: int) -> bool:
        if worker.returncode is not None:
            return False
        _write(worker, {"stop": number})
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(PATIENCE_S), contextlib.aclosing(_said(worker)) as said:
                async for message in said:
                    if message and "done" not in message:
                        return True
        return False

    async def warm_up(self) -> None:
        """Start one worker before it is needed."""
        self._idle.append(await self._hire())

    async def close(self) -> None:
        """End all workers."""
        for task in tuple(self._tasks):
            task.cancel()
        for worker in self._all:
            with contextlib.suppress(ProcessLookupError):
                worker.kill()
        await asyncio.gather(*(worker.wait() for worker in self._all), return_exceptions=True)


def _write(worker: Process, message: dict[str, Any]) -> None:
    if worker.stdin is not None:
        worker.stdin.write(json.dumps(message).encode() + b"\n")


async def _said(worker: Process) -> AsyncGenerator[dict[str, Any], None]:
    """Yield a worker's messages, `{}` at every beat without one, and an error where it has died."""
    pipe = worker.stdout
    if pipe is None:
        return
    reading = asyncio.ensure_future(pipe.readline())
    try:
        while True:
            done, _ = await asyncio.wait({reading}, timeout=BEAT_S)
            if not done:
                yield {}
                continue
            line = reading.result()
            if not line:
                yield {"error": "the worker has ended; ask again"}
                return
            reading = asyncio.ensure_future(pipe.readline())
            yield json.loads(line)
    finally:
        reading.cancel()
