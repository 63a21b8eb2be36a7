"""Chunks: kept on disk, gone on from, and ridden by a real cluster of two workers of which one is killed."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.errors import GoalsError
from ridesim.search import executors
from ridesim.search.executors import CHUNK, Cluster, Kept, Threads, ride_all
from ridesim.search.goals import Asked
from ridesim.search.how import study_of
from ridesim.search.ridden import Problem, Table
from ridesim.search.space import Rows

Make = Callable[..., Asked]
RIDES = 10_000
MANY: dict[str, Any] = {
    "matters": ["net_energy_wh"],
    "vary": {"motor": ["motor-63mm", "motor-80mm"], "series": [10, 12, 13, 14], "parallel": [3, 4, 5, 6, 7],
             "motor_current_limit_a": [float(each) for each in range(30, 80, 2)],
             "pack_current_limit_a": [float(each) for each in range(10, 60, 5)]},
}  # fmt: skip


def problem_of(asked: Asked, rows: int) -> tuple[Problem, Rows]:
    study = study_of(asked)
    assert study.space.count >= rows
    return study.problem, study.space.rows(0, rows)


class Counting:
    """Threads that count chunks, and stop after some."""

    def __init__(self, most: int = 10**9) -> None:
        self.most, self.ridden = most, 0

    def run(self, problem: Problem, chunks: Sequence[Rows], draft: bool, done: Any) -> Iterator[tuple[int, Table]]:
        for each in Threads(1).run(problem, chunks, draft, done):
            if self.ridden == self.most:
                raise KeyboardInterrupt
            self.ridden += 1
            yield each


@pytest.mark.parametrize("parquet", [False, True])
def test_an_interrupted_search_goes_on_from_what_is_on_disk(
    make_goals: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, parquet: bool
):
    if parquet:
        pytest.importorskip("pyarrow")
    monkeypatch.setattr(executors, "_has_parquet", lambda: parquet)
    problem, rows = problem_of(make_goals(**MANY), 4 * CHUNK + 7)
    with pytest.raises(KeyboardInterrupt):
        ride_all(Counting(2), problem, rows, True, Kept(tmp_path / "kept"))
    files = sorted((tmp_path / "kept").iterdir())
    assert len(files) == 2 and {each.suffix for each in files} == {".parquet" if parquet else ".csv"}
    second = Counting()
    table = ride_all(second, problem, rows, True, Kept(tmp_path / "kept"))
    assert second.ridden == 3
    assert table.tobytes() == ride_all(Threads(2), problem, rows, True, Kept(None)).tobytes()


def test_a_chunk_that_was_cut_off_is_ridden_again(make_goals: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(executors, "_has_parquet", lambda: False)
    problem, rows = problem_of(make_goals(**MANY), 20)
    first = ride_all(Threads(1), problem, rows, True, Kept(tmp_path))
    (file,) = tmp_path.glob("draft-*.csv")
    file.write_text(file.read_text()[:500])
    again = Counting()
    assert ride_all(again, problem, rows, True, Kept(tmp_path)).tobytes() == first.tobytes()
    assert again.ridden == 1


def test_a_scheduler_that_does_not_answer_is_one_clear_line(monkeypatch: pytest.MonkeyPatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr(executors, "PATIENCE_S", 1.0)
    with pytest.raises(GoalsError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9"), Cluster("tcp://127.0.0.1:9"):
        pass


def test_without_the_package_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(executors, "find_spec", lambda _name: None)
    with pytest.raises(GoalsError, match=r"pip install 'ridesim\[cluster\]'"), Cluster("tcp://127.0.0.1:9"):
        pass


@pytest.fixture
def two_workers() -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Start a scheduler and two workers of one thread each, as people do; end exactly those."""
    pytest.importorskip("distributed")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    head = [sys.executable, "-m"]
    started = [subprocess.Popen([*head, "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port),
                                 "--no-dashboard"], **quiet)]  # fmt: skip
    try:
        for _ in range(2):
            started.append(subprocess.Popen([*head, "distributed.cli.dask_worker", address, "--nthreads", "1",
                                             "--no-nanny", "--no-dashboard"], **quiet))  # fmt: skip
        _wait_for_workers(address)
        yield address, started[1:]
    finally:
        for each in started:
            each.kill()
            each.wait()


def _wait_for_workers(address: str) -> None:
    import distributed

    with distributed.Client(address, timeout=60, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)


def test_a_cluster_that_loses_a_worker_rides_each_ride_once_and_alike(
    make_goals: Make, two_workers: tuple[str, list[subprocess.Popen[bytes]]]
):
    address, workers = two_workers
    problem, rows = problem_of(make_goals(**MANY), RIDES)
    chunks = [rows[at : at + CHUNK] for at in range(0, RIDES, CHUNK)]
    met: list[int] = []
    tables: dict[int, Table] = {}
    with Cluster(address) as cluster:
        for number, table in cluster.run(problem, chunks, True, None):
            met.append(number)
            tables[number] = table
            if len(met) == 5:
                os.kill(workers[0].pid, signal.SIGKILL)
                workers[0].wait()
                time.sleep(0.1)
    assert sorted(met) == list(range(len(chunks)))  # each chunk once
    theirs = np.concatenate([tables[number] for number in range(len(chunks))])
    ours = ride_all(Threads(), problem, rows, True, Kept(None))
    assert len(theirs) == RIDES
    assert theirs.tobytes() == ours.tobytes()
    assert np.isfinite(ours[:, 0]).mean() > 0.5
