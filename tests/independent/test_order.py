"""How the step converges: measured on a smooth ride, and stated.

Motion alone converges with the square of the step (the coast-down test). A whole ride is of first order, because
winding resistance, magnets, charge and cell resistance are those of the step's start: 1e-4 of the copper loss at 0.1 s.
"""

from __future__ import annotations

import functools
from itertools import pairwise

import numpy as np
import pytest

from ridesim.engine.state import Ledger, Total
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_hills

from ..bikes import bike
from .plant import Plant, hills

KEYS = {"rider.power_w": 0.0, "weather.wind_speed_km_h": 10.0}
STEPS = (0.1, 0.05, 0.025, 0.0125)


@functools.cache
def figures(step_s: float) -> np.ndarray:
    """Energy from the pack [J], copper loss [J] and winding temperature [degC] on hills that meet no limit."""
    ride = simulate(
        bike(KEYS), make_hills(2400.0, 14.0, 600.0, spacing_m=0.5), step_s=step_s, start_speed_km_h=25.0, trace=False
    )
    assert ride.raw.limit_seconds.sum() == 0.0
    return np.array([ride.raw.total(Total.TERMINAL_OUT), ride.raw.ledger[Ledger.COPPER], ride.raw.end.winding_temp])


@pytest.mark.parametrize(("index", "name"), [(1, "copper"), (2, "winding")])
def test_a_smooth_ride_is_of_first_order(index: int, name: str) -> None:
    change = [figures(b)[index] - figures(a)[index] for a, b in pairwise(STEPS)]
    assert change[0] / change[1] == pytest.approx(2.0, rel=0.1), name
    assert change[1] / change[2] == pytest.approx(2.0, rel=0.1), name


def test_the_limit_is_the_second_program() -> None:
    """Extrapolated to no step at all, the ride is within 1e-5 of the independent solution; the default within 2e-4."""
    solved = Plant(bike(KEYS).build, hills(2400.0, 14.0, 600.0)).ride(start_speed=25 / 3.6)
    theirs = np.array([solved.states[name][-1] for name in ("out", "copper", "winding")])
    limit = 2.0 * figures(STEPS[-1]) - figures(STEPS[-2])
    assert limit == pytest.approx(theirs, rel=1e-5)
    assert figures(0.1) == pytest.approx(theirs, rel=2e-4)
