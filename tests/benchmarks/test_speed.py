"""Speeds as ratios inside one run: the ride against the clock, and against a general-purpose ODE solver."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest

import ridesim
from ridesim.ride.simulate import RideOptions, run
from ridesim.road.made import make_hills
from ridesim.road.profile import Stop

pytestmark = pytest.mark.benchmark

FASTER_THAN_REAL_TIME = 700_000
FASTER_THAN_SOLVER = 100
NOISE = 0.5
"""Share of the wanted ratio that a loaded, shared machine must still reach; on a quiet core all of it is reached."""


def _stop_and_go(length_m: float, every_m: float):
    hills = make_hills(length_m, 40.0, 2000.0)
    stops = tuple(Stop(at, 10.0) for at in _places(length_m, every_m))
    return replace(hills, stops=stops)


def _places(length_m: float, every_m: float) -> list[float]:
    return [every_m * n for n in range(1, int(length_m / every_m))]


def _best(action, times: int = 7) -> float:
    took = []
    for _ in range(times):
        start = time.process_time()
        action()
        took.append(time.process_time() - start)
    return min(took)


@pytest.mark.parametrize(
    "road", [make_hills(20_000.0, 40.0, 2000.0), _stop_and_go(20_000.0, 500.0)], ids=["hills", "stops"]
)
def test_ride_against_real_time(root, road):
    ride = ridesim.simulate(root / "configs" / "longtail-belt.toml", road, trace=False)
    seconds = ride.summary["total_time_s"]
    wall = _best(lambda: run(ride.params, ride.arrays, ride.start, RideOptions(), trace=False))
    ratio = seconds / wall
    print(f"{ratio:,.0f} times real time")
    assert ratio > FASTER_THAN_REAL_TIME * NOISE
