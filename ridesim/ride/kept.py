"""What of a ride would stop the bike, as the judge finds it: the same wherever rides are held against each other."""

from __future__ import annotations

import math

from ridesim.engine.codes import Limit
from ridesim.ride.judge import hold, judge
from ridesim.ride.limits import FINE, LIMITS, STOP
from ridesim.ride.simulate import Ride

HOT_WINDING = LIMITS["winding"].broken


ROOM_FOR = ("winding", "magnets", "cells_heat", "over_speed")
"""Limits that a way of riding comes near: a value is proposed with the room at which the judge finds them fine."""


def stops(ride: Ride, max_winding_c: float | None = None) -> tuple[str, ...]:
    """Return what of a ride would stop the bike, in words; `max_winding_c` may ask more than the winding's class."""
    wanted = hold("winding", ride.figures.peak_winding_temp_c, max_winding_c or math.inf)
    findings = (*judge(ride).findings, wanted)
    return tuple(dict.fromkeys(LIMITS[each.name].broken for each in findings if each.verdict == STOP))


def nears(ride: Ride, max_winding_c: float | None = None) -> tuple[str, ...]:
    """Return which limits a ride comes so near, or passes, that the judge does not find them fine, in words."""
    wanted = hold("winding", ride.figures.peak_winding_temp_c, max_winding_c or math.inf)
    findings = (*judge(ride).findings, wanted)
    words = (LIMITS[each.name].words for each in findings if each.name in ROOM_FOR and each.verdict != FINE)
    return tuple(dict.fromkeys(words))


def in_the_way(ride: Ride) -> tuple[str, str]:
    """Return the first reason for which the judge stops a ride, and what helps; empty where nothing does."""
    first = next((each for each in judge(ride).findings if each.verdict == STOP), None)
    return ("", "") if first is None else (first.reason, first.cure)


def foldback_s(ride: Ride) -> float:
    """Return for how long a temperature foldback of motor or controller held the current [s]."""
    return sum(ride.figures.on_limit_s(each) for each in (Limit.MOTOR_TEMPERATURE, Limit.CONTROLLER_TEMPERATURE))
