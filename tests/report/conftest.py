"""Rides that every test of words and pictures looks at."""

from __future__ import annotations

from pathlib import Path

import pytest

from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_cycle, make_ramp


@pytest.fixture(scope="session")
def hot_ride(root: Path) -> Ride:
    """A ride that cooks its motor on a climb."""
    return simulate(root / "configs" / "longtail-two-stage.toml", root / "routes" / "ridge-climb.gpx")


@pytest.fixture(scope="session")
def stuck_ride(root: Path) -> Ride:
    """A ride that gets stuck on a wall."""
    road = make_ramp(300.0, 600.0, 28.0, name="wall")
    return simulate(root / "configs" / "longtail-hub.toml", road)


@pytest.fixture(scope="session")
def clock_ride(root: Path) -> Ride:
    """A ride driven by the clock."""
    road = make_cycle([0.0, 10.0, 40.0, 50.0, 60.0], [0.0, 6.0, 6.0, 0.0, 0.0], name="stop and go")
    return simulate(root / "configs" / "longtail-hub.toml", road)
