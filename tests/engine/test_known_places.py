"""Where something is known to happen: braking for a stop begins where the plan says, and no step looks for it."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ridesim.engine.params import road_arrays
from ridesim.ride.running import RideOptions, plan_for
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_hills
from ridesim.road.profile import Road, Stop

from ..bikes import bike


def flat(*places: float) -> Road:
    return replace(make_hills(3000.0, 0.0, 600.0), stops=tuple(Stop(place, 5.0) for place in places))


def places(road: Road, keys: dict[str, float] | None = None) -> np.ndarray:
    build = bike(keys or {}).build
    return np.asarray(road_arrays(build, road, plan_for(build, road, RideOptions())).stops["braked_from"])


def test_on_a_level_plan_braking_begins_at_v_squared_over_2a():
    keys = {"rider.cruise_speed_km_h": 36.0, "rider.braking_m_per_s2": 2.0}
    assert places(flat(1000.0, 2000.0), keys) == pytest.approx([1000.0 - 25.0, 2000.0 - 25.0], abs=1e-6)


def test_a_limit_ahead_of_a_stop_is_heeded():
    """Behind a sign of 18 km/h braking begins at 25/(2 a) before the stop, whatever the cruise speed."""
    road = flat(1000.0)
    limit = np.where(np.abs(road.distance_m - 950.0) < 200.0, 5.0, road.speed_limit_m_per_s)
    keys = {"rider.cruise_speed_km_h": 36.0, "rider.braking_m_per_s2": 1.5}
    assert places(replace(road, speed_limit_m_per_s=limit), keys) == pytest.approx([1000.0 - 25.0 / 3.0], abs=1e-6)


def test_where_the_plan_changes_too_fast_nothing_is_told():
    """A plan that rises from 1 to 10 m/s within a few metres, just where braking would begin."""
    road = flat(1000.0)
    limit = np.where(road.distance_m < 985.0, 1.0, road.speed_limit_m_per_s)
    (found,) = places(replace(road, speed_limit_m_per_s=limit), {"rider.cruise_speed_km_h": 36.0})
    assert found == -np.inf


@pytest.mark.parametrize("accuracy", ["draft", "normal"])
def test_the_charging_peak_where_braking_begins_is_met(accuracy: str):
    """It stands at the very start of a step, whose middle lies behind it."""
    road, build = flat(*np.arange(500.0, 3000.0, 500.0)), bike({"rider.cruise_speed_km_h": 25.0})
    truth = simulate(build, road, step_s=0.002, trace=False).figures
    ours = simulate(build, road, accuracy=accuracy, trace=False).figures
    share = {"draft": 1e-2, "normal": 1e-3}[accuracy]
    assert truth.peak_charge_current_a > 1.0
    assert ours.peak_charge_current_a == pytest.approx(truth.peak_charge_current_a, rel=share)
    assert ours.peak_brake_current_a == pytest.approx(truth.peak_brake_current_a, rel=share)


COUNTING = """
from dataclasses import replace
from ridesim.engine import loop
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_hills
from ridesim.road.profile import Stop
step, tries = loop.step, []
loop.step = lambda *given: tries.append(1) or step(*given)
flat = make_hills(600.0, 0.0, 600.0)
for stops in ((), (Stop(300.0, 60.0),)):
    tries.clear()
    simulate("configs/longtail-belt.toml", replace(flat, stops=stops), trace=False)
    print(len(tries))
"""


def test_no_step_looks_for_where_braking_begins(root: Path):
    """A stop costs 151 tries of a step; 187 if the place was found by closing in. Counted in plain Python."""
    plain = {**os.environ, "NUMBA_DISABLE_JIT": "1", "PYTHONPATH": str(root)}
    done = subprocess.run([sys.executable, "-c", COUNTING], cwd=root, env=plain, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    without, with_one = map(int, done.stdout.split())
    assert 100 < with_one - without < 169
