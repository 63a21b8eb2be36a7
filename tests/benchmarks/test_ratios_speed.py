"""Forty ratios over a road of 20 km: less than a second on two quiet cores, compiled."""

from __future__ import annotations

import numpy as np
import pytest

from ridesim.road.made import make_hills
from ridesim.studies.ratios import ratios

from ..bikes import bike
from .test_speed import SPREAD, _best, _slowness

pytestmark = pytest.mark.benchmark

WANTED_S, CORES = 1.0, 2


def test_forty_ratios_over_twenty_kilometres():
    road = make_hills(20_000.0, 60.0, 4000.0)
    spread = [float(ratio) for ratio in np.linspace(2.5, 7.0, 40)]
    assert sum(case.figures.finished for case in ratios(bike(), road, spread).cases) > 30
    took = _best(lambda: ratios(bike(), road, spread), times=3) / _slowness()
    assert took / CORES < WANTED_S / SPREAD
