"""Each demo build on each demo road, ridden once a session at the default step and at a tenth of it."""

from __future__ import annotations

import functools
from pathlib import Path

from ridesim.bike.load import LoadedBuild, load_build
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.load import load_road
from ridesim.road.profile import Road

PROJECT = Path(__file__).resolve().parents[2]
BUILDS = tuple(sorted(path.stem for path in (PROJECT / "configs").glob("*.toml")))
ROADS = ("ridge-climb.gpx", "terrace-round.gpx", "valley-commute.toml")

NEVER_UP = ("longtail-loaded", "ridge-climb.gpx")
"""With 70 kg of load it gets stuck on the 15 % of the bend: a bike for the way down."""
PAIRS = [(b, r) for b in BUILDS for r in ROADS if (b, r) != NEVER_UP]


@functools.cache
def build(name: str) -> LoadedBuild:
    """A demo build."""
    return load_build(PROJECT / "configs" / f"{name}.toml")


@functools.cache
def road(name: str) -> Road:
    """A demo road."""
    return load_road(PROJECT / "routes" / name)


@functools.cache
def demo(build_name: str, road_name: str, step_s: float | None = None) -> Ride:
    """One demo build on one demo road."""
    return simulate(build(build_name), road(road_name), step_s=step_s)
