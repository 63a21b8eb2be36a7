"""How far, again and again: an end that is found, is found quickly, and moves as the bike is changed a little."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from ridesim.bike.load import load_build, replace_keys
from ridesim.ride.lap import along_lap, laps_behind
from ridesim.ride.range import PATIENCE_WORDS, outlook_of, range_of
from ridesim.ride.result import until_empty
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_hills

BELT = load_build(Path(__file__).parents[2] / "configs" / "longtail-belt.toml")
LOOP = make_hills(300.0, 4.0, 150.0)


def ridden(power_w: float) -> Ride:
    return simulate(replace_keys(BELT, {"rider.power_w": power_w}), LOOP, trace=False)


def test_a_short_loop_has_a_range_with_any_legs_and_tells_it_quickly():
    ridden(80.0)  # compiled by now
    found = {}
    for power in (60.0, 100.0, 140.0, 180.0, 240.0, 300.0):
        ride, begun = ridden(power), time.process_time()
        found[power] = outlook_of(ride).range_km
        assert time.process_time() - begun < 2.0, power
    assert None not in found.values(), found
    lengths = list(found.values())
    assert lengths == sorted(lengths), found
    given = [until_empty(ridden(power)).figures.net_energy_wh for power in found]
    assert min(given) > 0.97 * max(given), "the pack is as empty with any legs"


def test_where_legs_do_nearly_all_there_is_no_range_and_no_waiting():
    strong, begun = ridden(600.0), time.process_time()
    told = range_of(strong)
    assert told.range_km is None and told.range_ended_by == PATIENCE_WORDS
    assert time.process_time() - begun < 2.0


def test_the_end_of_a_lap_is_not_the_start_of_the_next():
    """A ride ends a hair beyond the road at times: rounding of some thousand steps."""
    assert along_lap(1000.0, 1000.0) == along_lap(1000.0 + 1e-7, 1000.0) == 1000.0
    assert along_lap(2000.0 + 1e-7, 1000.0) == pytest.approx(1000.0)
    assert along_lap(1001.0, 1000.0) == pytest.approx(1.0) and along_lap(0.0, 1000.0) == 0.0
    assert laps_behind(np.array([0.0, 1.0, 1000.0, 1001.0, 2000.0, 2001.0]), 1000.0).tolist() == [0, 0, 0, 1, 1, 2]
