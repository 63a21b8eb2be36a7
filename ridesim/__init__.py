"""Ride a home-made electric bike before it exists.

import ridesim
ride = ridesim.simulate("longtail.toml", "commute.gpx")
ride.figures.peak_winding_temp_c, ridesim.range_of(ride).range_km, ride.trace, ride.ledger, ride.draw("temperatures")
Every other question is a function too, named as its command and answered with .figures, .to_frame(), .draw(), .view();
a notebook shows the page. Over a road: climb, climb_map, ratios, gear_sets, compare, reach (how far), regen, spread,
descend, throttle, launch, season, which_bike (the search). At the bench: check, belt, wire, mount, law, rewind, size,
pack, group, bench. From recordings: load_log, replay, fit, fit_pedals, coastdown, cell.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing's own, without its import: a command is to hear signals early
if TYPE_CHECKING:
    from typing import Any

    from ridesim.bike.load import LoadedBuild, load_build, replace_keys  # noqa: F401
    from ridesim.bike.schema import Build  # noqa: F401
    from ridesim.errors import BuildError, LogError, RideError, RidesimError, RoadError  # noqa: F401
    from ridesim.learn.asked import cell, coastdown, fit, fit_pedals, replay  # noqa: F401
    from ridesim.learn.log import load_log  # noqa: F401
    from ridesim.ride.judge import judge  # noqa: F401
    from ridesim.ride.range import outlook_of, range_of  # noqa: F401
    from ridesim.ride.simulate import Ride, RideOptions, simulate  # noqa: F401
    from ridesim.road.load import load_road  # noqa: F401
    from ridesim.road.profile import Road  # noqa: F401
    from ridesim.search.asked import which_bike  # noqa: F401
    from ridesim.studies.climb import climb  # noqa: F401
    from ridesim.studies.climb_map import climb_map  # noqa: F401
    from ridesim.studies.compare import compare  # noqa: F401
    from ridesim.studies.descend import descend  # noqa: F401
    from ridesim.studies.gear_choice import gear_sets  # noqa: F401
    from ridesim.studies.launch import launch  # noqa: F401
    from ridesim.studies.ratios import ratios  # noqa: F401
    from ridesim.studies.reach import reach  # noqa: F401
    from ridesim.studies.regen import regen  # noqa: F401
    from ridesim.studies.throttle import throttle  # noqa: F401
    from ridesim.sure.spread import spread  # noqa: F401
    from ridesim.workshop.asked import belt, bench, group, law, mount, pack, rewind, size, wire  # noqa: F401
    from ridesim.workshop.check.sheet import check_build as check  # noqa: F401
    from ridesim.workshop.season.season import season  # noqa: F401
    from ridesim.workshop.winding.motor import Winding  # noqa: F401

__version__ = "0.1.0"

_NAMES = {  # module -> its public names; behind a colon its own name where that differs
    "ridesim.bike.load": "LoadedBuild load_build replace_keys",
    "ridesim.bike.schema": "Build",
    "ridesim.errors": "BuildError LogError RideError RidesimError RoadError",
    "ridesim.learn.asked": "cell coastdown fit fit_pedals replay",
    "ridesim.learn.log": "load_log",
    "ridesim.report.ride.figures": "PICTURES draw",
    "ridesim.ride.judge": "judge",
    "ridesim.ride.range": "outlook_of range_of",
    "ridesim.ride.simulate": "Ride RideOptions simulate",
    "ridesim.road.load": "load_road",
    "ridesim.road.profile": "Road",
    "ridesim.search.asked": "which_bike",
    "ridesim.studies.climb": "climb",
    "ridesim.studies.climb_map": "climb_map",
    "ridesim.studies.compare": "compare",
    "ridesim.studies.descend": "descend",
    "ridesim.studies.gear_choice": "gear_sets",
    "ridesim.studies.launch": "launch",
    "ridesim.studies.ratios": "ratios",
    "ridesim.studies.reach": "reach",
    "ridesim.studies.regen": "regen",
    "ridesim.studies.throttle": "throttle",
    "ridesim.sure.spread": "spread",
    "ridesim.workshop.asked": "belt bench group law mount pack rewind size wire",
    "ridesim.workshop.check.sheet:check_build": "check",
    "ridesim.workshop.season.season": "season",
    "ridesim.workshop.winding.motor": "Winding",
}
_HOME = {name: module for module, names in _NAMES.items() for name in names.split()}

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
