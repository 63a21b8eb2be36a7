"""The same question gives the same bytes, on one core or all, run after run."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from ridesim.bike.load import load_build, replace_keys
from ridesim.ride.rows import ride_rows
from ridesim.road.made import make_climb
from ridesim.studies.many import Wish, ride_many

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


def test_one_thread_or_eight():
    """More threads than cores, rides that end in another order than they began."""
    loaded, road = load_build(ROOT / "configs" / "longtail-belt.toml"), make_climb(600.0, 6.0)
    masses = np.linspace(60.0, 110.0, 24).tolist()
    wishes = [Wish(replace_keys(loaded, {"rider.mass_kg": mass}), road) for mass in masses]
    by_threads = [[ride.raw.totals.tobytes() for ride in ride_many(wishes, threads=threads)] for threads in (1, 8, 8)]
    assert by_threads[0] == by_threads[1] == by_threads[2]
    rode = [ride_rows(loaded, road, {"rider.mass_kg": masses}, threads=threads) for threads in (1, 8)]
    rows = [each.answer("net_energy_wh").tobytes() for each in rode]
    assert rows[0] == rows[1]
