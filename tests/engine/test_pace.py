"""How many tries and looks a step takes: what is known beforehand is not searched for."""

from __future__ import annotations

import math
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from ridesim.engine.known import AT_A_CORNER_M, time_past_braking, time_to
from ridesim.engine.pace import COMING_TO_A_LIMIT, LEAVING_A_LIMIT, NORMAL, _missed
from ridesim.engine.tally import _brakes
from ridesim.jit import plain

COUNTING = """
import sys
from dataclasses import replace
from ridesim.engine import loop, step
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_hills
tries, looks = [], []
one, command = loop.step, step.command
loop.step = lambda *given: tries.append(1) or one(*given)
step.command = lambda *given: looks.append(1) or command(*given)
simulate("configs/longtail-hub.toml", make_hills(2000.0, 40.0, 2000.0), trace=False)
print(len(tries), len(looks))
"""


def test_a_driver_who_gets_what_he_wants_tells_the_mean_speed(root: Path):
    """339 looks for 328 tries of a step; 500 for 389 where the trend of the acceleration alone was asked."""
    plainly = {**os.environ, "NUMBA_DISABLE_JIT": "1", "PYTHONPATH": str(root)}
    done = subprocess.run([sys.executable, "-c", COUNTING], cwd=root, env=plainly, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    tries, looks = map(int, done.stdout.split())
    assert 100 < tries <= looks < 1.1 * tries


def missed(value: float, slope: float, highest: float, *, at_limit: bool = False) -> float:
    """By how much a current misses a line through 10 A that rises by `slope`, a second later."""
    return plain(_missed)(NORMAL, False, at_limit, value, 10.0, slope, 1.0, highest, 0.0)


def test_a_current_below_a_line_over_the_highest_so_far_has_passed_a_top():
    assert missed(10.0, 0.5, 10.2) == pytest.approx(0.05 / NORMAL.at_peaks)
    assert missed(10.0, 0.1, 10.2) == pytest.approx(0.01 / (LEAVING_A_LIMIT * NORMAL.tolerance))
    assert missed(10.0, 0.5, 20.0) == pytest.approx(0.05 / NORMAL.tolerance)


def test_the_top_of_a_current_at_its_own_limit_is_the_limit():
    assert missed(10.0, 0.5, 10.2, at_limit=True) == pytest.approx(0.05 / (COMING_TO_A_LIMIT * NORMAL.tolerance))
    # Looser than a current that turns by itself, closer than one that is far from its highest: peaks lie beside it.
    assert LEAVING_A_LIMIT <= COMING_TO_A_LIMIT <= 0.5


@pytest.mark.parametrize(("behind", "seconds"), [(AT_A_CORNER_M * 0.9, math.inf), (AT_A_CORNER_M * 1.1, 2.0)])
def test_a_step_past_the_place_where_braking_begins_ends_there(behind: float, seconds: float, monkeypatch):
    """A bike at 5 m/s that was slowing down while it was looked ahead, and does not."""
    monkeypatch.setattr("ridesim.engine.known.time_to", plain(time_to))
    road = SimpleNamespace(stops=_Stops(110.0))
    before = SimpleNamespace(stop_index=0, distance=100.0, speed=5.0)
    after = SimpleNamespace(distance=110.0 + behind, acceleration=0.0)
    assert plain(time_past_braking)(road, SimpleNamespace(on_foot=False), before, after) == pytest.approx(seconds)


class _Stops(list):
    size = 1

    def __init__(self, place: float) -> None:
        super().__init__([SimpleNamespace(braked_from=place)])


@pytest.mark.parametrize(("current", "rise", "brakes"), [
    (-0.1, 0.0, True), (-0.1, -5.0, True), (0.9, 1.0, True), (1.1, 1.0, False), (0.9, -1.0, False), (0.0, 0.0, False),
])  # fmt: skip
def test_a_motor_that_brakes_at_the_start_of_a_step_alone_sends_back_too(current: float, rise: float, brakes: bool):
    assert plain(_brakes)(current, rise) is brakes
