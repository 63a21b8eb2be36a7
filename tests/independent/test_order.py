"""How the step converges: measured on a smooth ride and on one full of switches, and stated.

On a smooth ride every figure converges with the square of the step. Where limits, stops and braking switch, it does so
on the whole: which side of a switch a step falls on is chance, so that one ride shows no slope, and many rides do.
"""

from __future__ import annotations

import functools
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from ridesim.engine.state import Ledger, Total
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_hills
from ridesim.road.profile import Stop

from ..bikes import bike
from .plant import Plant, hills

KEYS = {"rider.power_w": 0.0, "weather.wind_speed_km_h": 10.0}
STEPS = (0.4, 0.2, 0.1, 0.05)
FINEST = 0.0125
STARTS = 48
"""Rides whose stops and start speeds differ a little: where their switches fall in a step is chance."""


def ended(ride: Ride) -> np.ndarray:
    """Energy from the pack [J], copper loss [J] and winding temperature [degC] at the end."""
    return np.array([ride.raw.total(Total.TERMINAL_OUT), ride.raw.ledger[Ledger.COPPER], ride.raw.end.winding_temp])


@functools.cache
def figures(step_s: float) -> np.ndarray:
    """What 2.4 km of hills come to, on which nothing switches."""
    road = make_hills(2400.0, 14.0, 600.0, spacing_m=0.5)
    ride = simulate(bike(KEYS), road, step_s=step_s, start_speed_km_h=25.0, trace=False)
    assert ride.raw.limit_seconds.sum() <= 100.0
    return ended(ride)


@functools.cache
def switching(step_s: float) -> np.ndarray:
    """What as much of steep hills, with two stops, comes to: one row a start."""
    hilly, rows = make_hills(2400.0, 30.0, 600.0, spacing_m=0.5), []
    for n in range(STARTS):
        road = replace(hilly, stops=(Stop(500.0 + 3.7 * n, 5.0), Stop(1300.0 + 5.3 * n, 5.0)))
        ride = simulate(bike({}), road, step_s=step_s, start_speed_km_h=20.0 + 0.7 * n, trace=False)
        assert ride.raw.limit_seconds.sum() > 100.0
        rows.append(ended(ride))
    return np.array(rows)


@pytest.mark.parametrize(("index", "name"), [(1, "copper"), (2, "winding")])
def test_a_smooth_ride_is_of_second_order(index: int, name: str) -> None:
    change = [abs(figures(b)[index] - figures(a)[index]) for a, b in pairwise(STEPS)]
    for wide, narrow in pairwise(change):
        assert np.log2(wide / narrow) == pytest.approx(2.0, abs=0.2), name


@pytest.mark.parametrize(("index", "name"), [(0, "energy"), (1, "copper"), (2, "winding")])
def test_rides_full_of_switches_are_of_second_order_together(index: int, name: str) -> None:
    """The slope of their mean square from 0.4 s to 0.05 s: 1.9 to 2.1 measured, where one ride's is 1.2 to 2.5."""
    off = [np.sqrt(np.mean((switching(step)[:, index] / switching(FINEST)[:, index] - 1.0) ** 2)) for step in STEPS]
    assert np.polyfit(np.log2(STEPS), np.log2(off), 1)[0] == pytest.approx(2.0, abs=0.2), name
    assert off[STEPS.index(0.1)] < 3e-5, name


def test_the_limit_is_the_second_program() -> None:
    """A fine step is within 1e-5 of the independent solution; a step of 0.1 s within 2e-5."""
    solved = Plant(bike(KEYS).build, hills(2400.0, 14.0, 600.0)).ride(start_speed=25 / 3.6)
    theirs = np.array([solved.states[name][-1] for name in ("out", "copper", "winding")])
    assert figures(FINEST) == pytest.approx(theirs, rel=1e-5)
    assert figures(0.1) == pytest.approx(theirs, rel=2e-5)
