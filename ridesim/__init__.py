"""Ride a home-made electric bike before it exists.

import ridesim
ride = ridesim.simulate("longtail.toml", "commute.gpx")
ride.figures.peak_winding_temp_c, ridesim.range_of(ride).range_km, ride.trace, ride.ledger, ride.draw("temperatures")
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

__version__ = "0.1.0"

_HOME = {
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
    "judge": "ridesim.ride.judge",
    "load_build": "ridesim.bike.load",
    "load_road": "ridesim.road.load",
    "outlook_of": "ridesim.ride.range",
    "range_of": "ridesim.ride.range",
    "replace_keys": "ridesim.bike.load",
    "simulate": "ridesim.ride.simulate",
}

__all__ = [*_HOME, "__version__"]


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that `import ridesim` stays quick."""
    if name not in _HOME:
        raise AttributeError(f"module 'ridesim' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
