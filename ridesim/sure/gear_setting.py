"""The motor current that gears and chain stand, held against bikes like the one it was found for."""

from __future__ import annotations

import math
from dataclasses import replace

from ridesim.ride.gears_held import LOADS, GearSetting, with_current
from ridesim.ride.range import Outlook
from ridesim.ride.result import Ridden
from ridesim.sure.beside import FEWER
from ridesim.sure.spread import LOOK_CHANCE, spread
from ridesim.sure.uncertain import is_certain

LESS = 0.92
"""Step by which the current falls until it is sure (a choice)."""
TRIES = 6


def with_gear_chances(ride: Ridden, outlook: Outlook) -> Outlook:
    """Return an outlook whose motor current for gears and chain was ridden in bikes drawn from the tolerances.

    Lower limits are tried until one in twenty of them at most is overloaded. Rides some hundreds of drafts, and only
    where gears or chain do not stand the ride.
    """
    found = outlook.gear_setting
    if found is None or found.motor_current_limit_a is None or not found.arrives or is_certain(ride.loaded, ride.road):
        return outlook
    return replace(outlook, gear_setting=_sure(ride, found))


def _sure(ride: Ridden, found: GearSetting) -> GearSetting:
    limit = float(found.motor_current_limit_a or 0.0)
    first = chance = _too_much(ride, limit)
    for _ in range(TRIES):
        if chance <= LOOK_CHANCE:
            arrives = with_current(ride, limit).figures.finished
            return replace(found, chance_too_much=first, sure_limit_a=limit, sure_arrives=arrives)
        limit = float(math.floor(LESS * limit))
        if limit < 1.0:
            break
        chance = _too_much(ride, limit)
    return replace(found, chance_too_much=first)


def _too_much(ride: Ridden, limit_a: float) -> float:
    """Return the share of bikes like it whose gears or chain do not stand their ride with a limit."""
    options = replace(ride.options, accuracy="draft")
    loaded = with_current(ride, limit_a).loaded
    told = spread(loaded, ride.road, options, samples=FEWER, with_indices=False, band=False)
    return max((each.chance for each in told.chances if each.limit in LOADS), default=0.0)
