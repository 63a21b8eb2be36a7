"""What every folder of tests shares."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


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
def ridesim_command(root: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the command line in a process of its own, in the project's root or `cwd`."""

    def run(*words: object, cwd: Path | None = None, **changes: str) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, "COLUMNS": "120", "NO_COLOR": "1", "TERM": "dumb", **changes}
        return subprocess.run(
            [sys.executable, "-m", "ridesim", *map(str, words)],
            cwd=cwd or root, capture_output=True, text=True, timeout=240, env=environment,
        )  # fmt: skip

    return run
