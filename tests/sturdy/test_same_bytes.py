"""The same question gives the same bytes, on one core or all, run after run."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
RANGE = ("range", "configs/longtail-belt.toml", "routes/terrace-round.gpx", "--speeds", "20,25", "--json")


@pytest.mark.skipif(not hasattr(os, "sched_setaffinity"), reason="this system cannot hold a process to one core")
def test_one_core_or_all_three_runs():
    def asked(cores: set[int]) -> bytes:
        done = subprocess.run(
            [sys.executable, "-m", "ridesim", *RANGE], cwd=ROOT, capture_output=True, timeout=300,
            preexec_fn=lambda: os.sched_setaffinity(0, cores),
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout

    every = os.sched_getaffinity(0)
    assert len({asked({min(every)}), asked(every), asked(every)}) == 1
