"""One ride against LSODA, road by road: its time as scipy runs it, and what it would take were its plant compiled.

scipy calls the plant in Python. So its evaluations are counted too, each at what a try of our step takes: a compiled
plant has the same bounds to solve. The solver's own work is left out, so this is a bound from below for a compiled one.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ridesim.bike.schema import Build
from ridesim.engine.batch import Job, _ride_into, no_results
from ridesim.engine.tally import CHANNELS
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb, make_hills
from ridesim.road.profile import Road, Stop

from ..bikes import bike
from ..independent.plant import Plant, Way, climb, hills
from .test_speed import _best, _slowness, _StopAndGo

pytestmark = pytest.mark.benchmark

TRY_NS = 200.0
"""A try of our step on a quiet core, ledger and figures included (DEVELOPERS.md)."""
LENGTH_M = 1600.0
STOPS = (400.0, 800.0, 1200.0)
ROADS: dict[str, tuple[Road, Way, tuple[float, ...], float]] = {
    "climb": (make_climb(LENGTH_M, 1.0), climb(LENGTH_M, 1.0), (), 50.0),
    "hills": (make_hills(LENGTH_M, 8.0, 800.0, spacing_m=0.5), hills(LENGTH_M, 8.0, 800.0), (), 50.0),
    "stop and go": (
        replace(make_climb(LENGTH_M, 1.0), stops=tuple(Stop(at, 0.0) for at in STOPS)),
        climb(LENGTH_M, 1.0),
        STOPS,
        100.0,
    ),
}


def solved(build: Build, terrain: Way, stops: tuple[float, ...]) -> tuple[float, int]:
    """Return the energy from the pack [J] and the evaluations: leg by leg, from rest to the next stop."""
    plant = _StopAndGo(build, terrain) if stops else Plant(build, terrain)
    air = build.weather.temperature_c
    y = np.array([0.0, 0.0, build.pack.start_charge_fraction, 0.0, air, air, air, air, 0, 0, 0, 0, 0])
    evaluations = 0
    for stop in (*stops, LENGTH_M):
        last = stop == LENGTH_M
        if stops:
            plant.stop_at = np.inf if last else stop

        def halted(_t: float, state: np.ndarray, stop: float = stop, last: bool = last) -> float:
            return LENGTH_M - state[0] if last else min(state[1] - 0.02, 0.5) if state[0] > stop - 2.0 else 0.5

        halted.terminal = True  # type: ignore[attr-defined]
        got = solve_ivp(plant.slope, (0.0, 900.0), y, method="LSODA", rtol=1e-6, atol=1e-8, events=halted)
        y, evaluations = got.y[:, -1], evaluations + got.nfev
        y[1] = y[1] if last else 0.0
    return float(y[8]), evaluations


@pytest.mark.parametrize("name", ROADS)
def test_a_ride_against_a_general_solver_road_by_road(name: str):
    road, terrain, stops, wanted = ROADS[name]
    ride = simulate(bike({}), road, trace=False)
    job, into, no_trace = Job(ride.params, ride.arrays, ride.start), no_results(1), np.zeros((0, CHANNELS))
    ours = _best(lambda: [_ride_into(into, 0, job, no_trace) for _ in range(20)], times=9) / 20
    found: list[tuple[float, int]] = []
    theirs = _best(lambda: found.append(solved(ride.build, terrain, stops)), times=1)
    joules, evaluations = found[0]
    compiled = evaluations * TRY_NS * 1e-9 * _slowness()
    print(f"{name}: {theirs / ours:,.0f} x scipy's; {compiled / ours:.1f} x one compiled; {evaluations} evaluations")
    assert joules / 3600.0 == pytest.approx(ride.summary["pack_energy_out_wh"], rel=5e-3)
    assert theirs / ours > wanted
