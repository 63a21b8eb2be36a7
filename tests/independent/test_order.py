"""How the step converges: measured on a smooth ride and on one full of switches, and stated.

On a smooth ride every figure converges with the square of the step. Where limits, stops and braking switch, so does the
ride along its whole way. Its sums alone would not show it: what one switch adds another takes off again, and the slope
of what is left is chance.
"""

from __future__ import annotations

import functools
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from ridesim.engine.state import Channel, Ledger, Total
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_hills
from ridesim.road.profile import Stop

from ..bikes import bike
from .plant import Plant, hills

KEYS = {"rider.power_w": 0.0, "weather.wind_speed_km_h": 10.0}
STEPS = (0.4, 0.2, 0.1, 0.05)
FINEST = 0.00625
STARTS = 24
"""Rides whose stops and start speeds differ a little: where their switches fall in a step is chance."""
ROWS_S = 1.0
ALONG = {"speed": Channel.SPEED, "charge": Channel.CHARGE_FRACTION, "winding": Channel.WINDING_TEMP,
         "controller": Channel.CONTROLLER_TEMP}  # fmt: skip


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
def switching(step_s: float) -> list[Ride]:
    """As much of steep hills, with two stops: one ride a start."""
    hilly, rides = make_hills(2400.0, 30.0, 600.0, spacing_m=0.5), []
    for n in range(STARTS):
        road = replace(hilly, stops=(Stop(500.0 + 3.7 * n, 5.0), Stop(1300.0 + 5.3 * n, 5.0)))
        ride = simulate(bike({}), road, step_s=step_s, start_speed_km_h=20.0 + 0.7 * n, record_every_s=ROWS_S)
        assert ride.raw.limit_seconds.sum() > 100.0
        rides.append(ride)
    return rides


def off_along(step_s: float, channel: Channel) -> float:
    """Root of the mean square that a channel of all those rides is off, row by row."""
    off = []
    for ours, truth in zip(switching(step_s), switching(FINEST), strict=True):
        rows = min(len(ours.raw.trace), len(truth.raw.trace)) - 1  # the last one stands at the end, whenever that is
        off.append(ours.raw.trace[:rows, channel] - truth.raw.trace[:rows, channel])
    return float(np.sqrt(np.mean(np.concatenate(off) ** 2)))


@pytest.mark.parametrize(("index", "name"), [(1, "copper"), (2, "winding")])
def test_a_smooth_ride_is_of_second_order(index: int, name: str) -> None:
    change = [abs(figures(b)[index] - figures(a)[index]) for a, b in pairwise(STEPS)]
    for wide, narrow in pairwise(change):
        assert np.log2(wide / narrow) == pytest.approx(2.0, abs=0.2), name


@pytest.mark.parametrize("name", ALONG)
def test_rides_full_of_switches_are_of_second_order_along_their_way(name: str) -> None:
    """What is measured against a finest step f falls as h^2 - f^2 where the error falls as h^2.

    It falls a little faster: what switches is met to within the shortest step, which falls with h^2 itself.
    """
    off = [off_along(step, ALONG[name]) for step in STEPS]
    steps = np.sqrt(np.square(STEPS) - FINEST**2)
    assert 1.9 < np.polyfit(np.log2(steps), np.log2(off), 1)[0] < 2.35, (name, off)


def test_sums_of_rides_full_of_switches_are_close() -> None:
    """A step of 0.1 s: energy, copper loss and winding within 1e-5 of the finest, one ride within 3e-5."""
    truth = np.array([ended(ride) for ride in switching(FINEST)])
    off = np.array([ended(ride) for ride in switching(0.1)]) / truth - 1.0
    assert np.sqrt(np.mean(off**2, axis=0)).max() < 1e-5
    assert np.abs(off).max() < 3e-5


def test_the_limit_is_the_second_program() -> None:
    """A fine step is within 1e-5 of the independent solution; a step of 0.1 s within 2e-5."""
    solved = Plant(bike(KEYS).build, hills(2400.0, 14.0, 600.0)).ride(start_speed=25 / 3.6)
    theirs = np.array([solved.states[name][-1] for name in ("out", "copper", "winding")])
    assert figures(FINEST) == pytest.approx(theirs, rel=1e-5)
    assert figures(0.1) == pytest.approx(theirs, rel=2e-5)
