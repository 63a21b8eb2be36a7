"""What every folder of tests shares."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from .browser import FLAGS, chromium_path

ROOT = Path(__file__).parents[1]

# Python's own bytecode is kept, whatever the shell says: without it each of some hundred commands compiles all that it
# imports, and each worker rewrites the assertions of every test file (10 s).
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# Each worker has a core: matrix products that wake all of them cost twice the processor time, most of it in waiting.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# A slow moment of a busy machine is no fault of what is tested; what must be quick is timed where it is promised.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")


BOTH_KINDS = ("longtail-belt.toml", "longtail-two-drives.toml")
MANY_TESTS = 1000
"""So many tests ride both kinds of bikes, of one drive and of two: each is a compiled ride of its own."""


def pytest_collection_finish(session: pytest.Session) -> None:
    """Compile one kind of ride a worker before many tests begin; else both workers compile both, at the same time."""
    worker = getattr(session.config, "workerinput", None)
    number = int(worker["workerid"].removeprefix("gw")) if worker else len(BOTH_KINDS)
    if number < len(BOTH_KINDS) and len(session.items) > MANY_TESTS:
        from ridesim.ride.simulate import simulate
        from ridesim.road.made import make_climb

        simulate(ROOT / "configs" / BOTH_KINDS[number], make_climb(100.0, 1.0), trace=False)


PLAIN_TERMINAL = {"COLUMNS": "120", "NO_COLOR": "1", "TERM": "dumb"}


@pytest.fixture(scope="session")
def root() -> Path:
    """The project's root."""
    return ROOT


@pytest.fixture(scope="session")
def demo_builds(root: Path) -> list[Path]:
    """Every demo build."""
    return sorted((root / "configs").glob("*.toml"))


@pytest.fixture(scope="session")
def demo_roads(root: Path) -> list[Path]:
    """Every demo road, the commute with its stops."""
    return [root / "routes" / name for name in ("valley-commute.toml", "ridge-climb.gpx", "terrace-round.gpx")]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A browser, one a process: its driver cannot be started twice in one."""
    path = chromium_path()
    if path is None:
        pytest.skip("no Chromium on this machine (name one in RIDESIM_CHROMIUM)")
    play = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with play.sync_playwright() as drivers:
        browser = drivers.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def ridesim_command(root: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the command line in this process, in the project's root or `cwd`: all that a process does but its start."""
    from ridesim.cli.door import run

    def run_here(*words: object, cwd: Path | None = None, **changes: str) -> subprocess.CompletedProcess[str]:
        asked = list(map(str, words))
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
        with pytest.MonkeyPatch.context() as here:
            for name, value in {**PLAIN_TERMINAL, **changes}.items():
                here.setenv(name, value)
            here.setattr(sys, "argv", ["ridesim", *asked])
            here.chdir(cwd or root)
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                code = run(asked)
        said, told = (stream.buffer.getvalue().decode() for stream in (out, err))
        return subprocess.CompletedProcess(asked, code, said, told)

    return run_here


@pytest.fixture(scope="session")
def ridesim_process(root: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the command line in a process of its own, for what only a new process shows."""

    def run(*words: object, cwd: Path | None = None, **changes: str) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, **PLAIN_TERMINAL, **changes}
        return subprocess.run(
            [sys.executable, "-m", "ridesim", *map(str, words)],
            cwd=cwd or root, capture_output=True, text=True, timeout=240, env=environment,
        )  # fmt: skip

    return run
