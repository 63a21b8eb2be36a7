"""Speeds as ratios inside one run: the ride against the clock, and against a general-purpose ODE solver.

The ride's speed is stated for a quiet core of the machine it was measured on; a chain of divisions, timed in the same
run, tells how much slower the core at hand is. The chain does not feel a neighbour on the same physical core, who takes
a third of the ride's speed for seconds on end: so a ride is timed again until it is fast enough, or patience ends.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numba
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ridesim import load_road
from ridesim.ride.simulate import Ride, RideOptions, run, simulate
from ridesim.road.made import make_climb, make_hills
from ridesim.road.profile import Road, Stop

from ..bikes import bike
from ..independent.plant import FIELDS, Plant, climb

pytestmark = pytest.mark.benchmark

ROUTES = Path(__file__).parents[2] / "routes"
FASTER_THAN_REAL_TIME = 700_000
FASTER_THAN_SOLVER = 100
QUIET_NS_PER_DIVISION = 5.2
"""Time of one dependent division and addition on a quiet core of the machine where the wanted speed was set [ns]."""
SPREAD = 0.8
"""Share of the wanted speed to be reached after that correction: the division tells a core's clock, not its caches."""
PATIENCE_S = 20.0


@numba.njit(error_model="numpy")
def _divisions(n: int) -> float:
    x = 1.0
    for _ in range(n):
        x = 1.0 / (x + 1.0)
    return x


def _best(action: Callable[[], object], times: int = 9) -> float:
    took = []
    for _ in range(times):
        start = time.process_time()
        action()
        took.append(time.process_time() - start)
    return min(took)


def _slowness() -> float:
    _divisions(10)
    return _best(lambda: _divisions(1_000_000)) * 1e3 / QUIET_NS_PER_DIVISION


def _stop_and_go() -> Road:
    stops = tuple(Stop(500.0 * n, 10.0) for n in range(1, 40))
    return replace(make_hills(20_000.0, 40.0, 2000.0), stops=stops)


@pytest.mark.parametrize(
    "road",
    [make_hills(20_000.0, 40.0, 2000.0), _stop_and_go(), load_road(ROUTES / "valley-commute.toml")],
    ids=["hills", "stop and go", "commute"],
)
def test_a_ride_against_real_time(root: Path, road: Road):
    ride = simulate(root / "configs" / "longtail-belt.toml", road, trace=False)
    wanted, best, until = FASTER_THAN_REAL_TIME / _slowness(), 0.0, time.monotonic() + PATIENCE_S
    while best < wanted * SPREAD and time.monotonic() < until:
        wall = _best(lambda: run(ride.params, ride.arrays, ride.start, RideOptions(), trace=False))
        best = max(best, ride.summary["total_time_s"] / wall)
    print(f"{best:,.0f} times real time; {wanted:,.0f} wanted of this core")
    assert best > wanted * SPREAD


class _StopAndGo(Plant):
    """The independent plant with one stop ahead."""

    stop_at = math.inf

    def plan(self, x: float) -> tuple[float, float]:
        cruise, braking = self.b.rider.cruise_speed_km_h / 3.6, self.b.rider.braking_m_per_s2
        speed = math.sqrt(2.0 * braking * max(self.stop_at - x, 0.0))
        return (speed, -braking) if speed < cruise else (cruise, 0.0)


def _ridden_by_lsoda(ride: Ride, stops: tuple[float, ...], length: float) -> float:
    """Return the energy taken from the pack [J]: leg by leg from rest to the next stop, dwells left out."""
    plant = _StopAndGo(ride.build, climb(length, 1.0))
    air = ride.build.weather.temperature_c
    y = np.array([0.0, 0.0, ride.build.pack.start_charge_fraction, 0.0, air, air, air, air, 0, 0, 0, 0, 0])
    for stop in (*stops, length):
        plant.stop_at = stop if stop < length else math.inf

        def halted(_t: float, state: np.ndarray, stop: float = stop) -> float:
            return min(state[1] - 0.02, 0.5) if state[0] > stop - 2.0 and stop < length else length - state[0]

        halted.terminal = True  # type: ignore[attr-defined]
        got = solve_ivp(plant.slope, (0.0, 600.0), y, method="LSODA", rtol=1e-6, atol=1e-8, events=halted)
        y = got.y[:, -1]
        y[1] = 0.0
    return float(y[FIELDS.index("out")])


def test_a_ride_against_a_general_solver():
    stops, length = (400.0, 800.0, 1200.0), 1600.0
    road = replace(make_climb(length, 1.0), stops=tuple(Stop(at, 0.0) for at in stops))
    ride = simulate(bike({}), road, trace=False)
    ours = _best(lambda: run(ride.params, ride.arrays, ride.start, RideOptions(), trace=False))
    energy: list[float] = []
    theirs = _best(lambda: energy.append(_ridden_by_lsoda(ride, stops, length)), times=1)
    print(f"{theirs / ours:,.0f} times faster than LSODA")
    assert energy[0] / 3600.0 == pytest.approx(ride.summary["pack_energy_out_wh"], rel=5e-3)
    assert theirs / ours > FASTER_THAN_SOLVER
