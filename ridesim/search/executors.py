"""Where chunks of rides are run: threads of this process, or the workers of a scheduler; and the chunks kept on disk.

A chunk is some rows and the table that they come to. It is known by a digest of its rows, so that a search that goes on
finds what it rode before, whatever was asked in between. Each chunk is taken once, however often a worker rode it.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from ridesim.errors import GoalsError, RideError
from ridesim.search.ridden import Problem, Table, evaluate
from ridesim.search.space import Rows

Done = Callable[[int], None]

CHUNK = 256
"""Candidates in a chunk: a second or less of rides, so that little is lost when a search ends."""
PATIENCE_S = 10.0
"""A scheduler that has not answered by then is not there (guess)."""


class Executor(Protocol):
    """Rides chunks, in whatever order they get ready."""

    def run(
        self, problem: Problem, chunks: Sequence[Rows], draft: bool, done: Done | None
    ) -> Iterator[tuple[int, Table]]:
        """Yield each chunk's number and its table, each once."""
        ...


@dataclass(frozen=True)
class Threads:
    """All cores of this process, or so many threads."""

    count: int | None = None

    def run(
        self, problem: Problem, chunks: Sequence[Rows], draft: bool, done: Done | None
    ) -> Iterator[tuple[int, Table]]:
        """Yield each chunk's number and its table, in order."""
        for number, rows in enumerate(chunks):
            yield number, evaluate(problem, rows, draft, threads=self.count, done=done)


@dataclass
class Cluster(AbstractContextManager["Cluster"]):
    """The workers of a `dask.distributed` scheduler. Raises GoalsError where there is none."""

    address: str
    client: Any = None

    def __enter__(self) -> Cluster:
        if find_spec("distributed") is None:
            raise GoalsError("--cluster", "needs the package dask.distributed", "pip install 'ridesim[cluster]'")
        import distributed

        try:
            self.client = distributed.Client(self.address, timeout=PATIENCE_S, set_as_default=False)
        except (OSError, ValueError, TimeoutError):
            told = f"no scheduler answers at {self.address}"
            to_do = "start one: dask scheduler, then on each machine: dask worker ADDRESS"
            raise GoalsError("--cluster", told, to_do) from None
        try:
            self._refuse_strangers()
        except BaseException:
            self.client.close()
            raise
        return self

    def _refuse_strangers(self) -> None:
        """Raise GoalsError for a scheduler without workers, or workers with another ridesim."""
        found = self.client.run(ours)
        if not found:
            raise GoalsError("--cluster", f"{self.address} has no workers", f"start some: dask worker {self.address}")
        other = [name for name, version in found.items() if version != ours()]
        if other:
            told = f"the worker at {other[0]} runs another version of ridesim"
            raise GoalsError("--cluster", told, "install the same on every machine")

    def __exit__(self, *_: object) -> None:
        self.client.close()

    def run(
        self, problem: Problem, chunks: Sequence[Rows], draft: bool, done: Done | None
    ) -> Iterator[tuple[int, Table]]:
        """Yield each chunk's number and its table as workers finish; a lost worker's chunks are ridden again."""
        import distributed

        # A task that returns the problem can be run again where its worker is lost; a scattered object could not.
        shared = self.client.submit(_same, problem.sent(), pure=False)
        futures = {
            self.client.submit(_chunk, shared, rows, draft, pure=False, key=f"ridesim-{os.urandom(6).hex()}"): number
            for number, rows in enumerate(chunks)
        }
        try:
            for future in distributed.as_completed(list(futures), loop=self.client.loop):
                table = future.result()
                if done is not None:
                    done(len(table))
                yield futures[future], table
        finally:
            self.client.cancel(list(futures))


def ours() -> str:
    """Return what must be the same on every machine: the version and the kernels."""
    from ridesim import __version__
    from ridesim.jit import sources_hash

    return f"{__version__} {sources_hash()}"


def _same(problem: Problem) -> Problem:
    return problem


def _chunk(problem: Problem, rows: Rows, draft: bool) -> Table:
    """Ride a chunk inside a worker; its threads are the scheduler's business."""
    return evaluate(problem, rows, draft, threads=1)


@dataclass
class Kept:
    """Finished chunks on disk, in a folder of one problem: Parquet where pyarrow is, else CSV. None: none are kept."""

    folder: Path | None
    known: int = field(default=0)

    def place(self, rows: Rows, draft: bool) -> Path | None:
        """Return the file of a chunk, without its ending."""
        if self.folder is None:
            return None
        digest = hashlib.sha256(np.ascontiguousarray(rows).tobytes()).hexdigest()[:16]
        return self.folder / f"{'draft' if draft else 'full'}-{digest}"

    def read(self, rows: Rows, draft: bool, columns: Sequence[str]) -> Table | None:
        """Return a chunk's table if it was kept whole."""
        place = self.place(rows, draft)
        if place is None:
            return None
        for path, reader in ((place.with_suffix(".parquet"), _read_parquet), (place.with_suffix(".csv"), _read_csv)):
            if path.is_file():
                with contextlib.suppress(OSError, ValueError, KeyError):
                    table = reader(path, columns)
                    if table.shape == (len(rows), len(columns)):
                        self.known += len(rows)
                        return table
        return None

    def write(self, rows: Rows, draft: bool, columns: Sequence[str], table: Table) -> None:
        """Keep a chunk; it appears whole or not at all. Raises RideError."""
        place = self.place(rows, draft)
        if place is None:
            return
        name, data = (".parquet", _parquet(columns, table)) if _has_parquet() else (".csv", _csv(columns, table))
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            handle, new = tempfile.mkstemp(dir=place.parent, prefix=".new-")
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            Path(new).replace(place.with_suffix(name))
        except OSError as error:
            raise RideError(
                str(place.parent), f"cannot be written ({error.strerror})", "choose another --out"
            ) from None


def ride_all(
    executor: Executor, problem: Problem, rows: Rows, draft: bool, kept: Kept, done: Done | None = None
) -> Table:
    """Return the table of all rows, chunk by chunk: what was kept is read, the rest is ridden and kept.

    A KeyboardInterrupt leaves every finished chunk on disk.
    """
    columns = problem.columns
    table = np.full((len(rows), len(columns)), np.nan)
    parts = [slice(at, min(at + CHUNK, len(rows))) for at in range(0, len(rows), CHUNK)]
    missing = []
    for part in parts:
        known = kept.read(rows[part], draft, columns)
        if known is None:
            missing.append(part)
            continue
        table[part] = known
        if done is not None:
            done(len(known))
    for number, found in executor.run(problem, [rows[part] for part in missing], draft, done):
        table[missing[number]] = found
        kept.write(rows[missing[number]], draft, columns, found)
    return table


def _has_parquet() -> bool:
    return find_spec("pyarrow") is not None


def _parquet(columns: Sequence[str], table: Table) -> bytes:
    import pyarrow
    import pyarrow.parquet

    sink = io.BytesIO()
    arrays = {name: np.ascontiguousarray(table[:, at]) for at, name in enumerate(columns)}
    pyarrow.parquet.write_table(pyarrow.table(arrays), sink)
    return sink.getvalue()


def _read_parquet(path: Path, columns: Sequence[str]) -> Table:
    if not _has_parquet():
        raise ValueError("no reader")
    import pyarrow.parquet

    found = pyarrow.parquet.read_table(path)
    return np.column_stack([found.column(name).to_numpy() for name in columns])


def _csv(columns: Sequence[str], table: Table) -> bytes:
    """Return a CSV; `repr` of a double reads back as the same double."""
    lines = [",".join(columns), *(",".join(repr(value) for value in row) for row in table.tolist())]
    return ("\n".join(lines) + "\n").encode()


def _read_csv(path: Path, columns: Sequence[str]) -> Table:
    head, *lines = path.read_text(encoding="utf-8").splitlines()
    if head.split(",") != list(columns):
        raise ValueError("other columns")
    return np.array([[float(value) for value in line.split(",")] for line in lines])
