"""Ride a home-made electric bike before it exists.

import ridesim
ride = ridesim.simulate("longtail.toml", "commute.gpx")
ride.figures.peak_winding_temp_c, ridesim.range_of(ride).range_km, ride.trace, ride.ledger, ride.draw("temperatures")
ridesim.climb, climb_map, ratios, compare, reach (how far), regen, spread, check, throttle, launch, season: the other
questions, each answered with .figures, .to_frame(), .draw() and .view(); a notebook shows the page.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing's own, without its import: a command is to hear signals early
if TYPE_CHECKING:
    from typing import Any

    from ridesim.bike.load import LoadedBuild, load_build, replace_keys  # noqa: F401
    from ridesim.bike.schema import Build  # noqa: F401
    from ridesim.errors import BuildError, LogError, RideError, RidesimError, RoadError  # noqa: F401
    from ridesim.ride.judge import judge  # noqa: F401
    from ridesim.ride.range import outlook_of, range_of  # noqa: F401
    from ridesim.ride.simulate import Ride, RideOptions, simulate  # noqa: F401
    from ridesim.road.load import load_road  # noqa: F401
    from ridesim.road.profile import Road  # noqa: F401
    from ridesim.studies.climb import climb  # noqa: F401
    from ridesim.studies.climb_map import climb_map  # noqa: F401
    from ridesim.studies.compare import compare  # noqa: F401
    from ridesim.studies.launch import launch  # noqa: F401
    from ridesim.studies.ratios import ratios  # noqa: F401
    from ridesim.studies.reach import reach  # noqa: F401
    from ridesim.studies.regen import regen  # noqa: F401
    from ridesim.studies.throttle import throttle  # noqa: F401
    from ridesim.sure.spread import spread  # noqa: F401
    from ridesim.workshop.check.sheet import check_build as check  # noqa: F401
    from ridesim.workshop.season.season import season  # noqa: F401

__version__ = "0.1.0"

_HOME = {  # public name -> its module, and its name there where that differs
    "Build": "ridesim.bike.schema",
    "BuildError": "ridesim.errors",
    "LoadedBuild": "ridesim.bike.load",
    "LogError": "ridesim.errors",
    "PICTURES": "ridesim.report.ride.figures",
    "Ride": "ridesim.ride.simulate",
    "RideError": "ridesim.errors",
    "RideOptions": "ridesim.ride.simulate",
    "RidesimError": "ridesim.errors",
    "Road": "ridesim.road.profile",
    "RoadError": "ridesim.errors",
    "draw": "ridesim.report.ride.figures",
    "check": "ridesim.workshop.check.sheet:check_build",
    "climb": "ridesim.studies.climb",
    "climb_map": "ridesim.studies.climb_map",
    "compare": "ridesim.studies.compare",
    "judge": "ridesim.ride.judge",
    "launch": "ridesim.studies.launch",
    "load_build": "ridesim.bike.load",
    "load_road": "ridesim.road.load",
    "outlook_of": "ridesim.ride.range",
    "range_of": "ridesim.ride.range",
    "ratios": "ridesim.studies.ratios",
    "reach": "ridesim.studies.reach",
    "regen": "ridesim.studies.regen",
    "replace_keys": "ridesim.bike.load",
    "season": "ridesim.workshop.season.season",
    "simulate": "ridesim.ride.simulate",
    "spread": "ridesim.sure.spread",
    "throttle": "ridesim.studies.throttle",
}

__all__ = [*_HOME, "__version__"]


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that `import ridesim` stays quick."""
    if name not in _HOME:
        raise AttributeError(f"module 'ridesim' has no attribute {name!r}")
    from importlib import import_module

    module, _, there = _HOME[name].partition(":")
    return getattr(import_module(module), there or name)


def __dir__() -> list[str]:
    return sorted(__all__)
