"""What of a ride would stop the bike, as the judge finds it: the same wherever rides are held against each other."""

from __future__ import annotations

import math

from ridesim.engine.codes import Limit
from ridesim.ride.drives import drive_figures
from ridesim.ride.judge import Finding, hold, judge
from ridesim.ride.limits import FINE, LIMITS, STOP
from ridesim.ride.simulate import Ride

HOT_WINDING = LIMITS["winding"].broken


ROOM_FOR = ("winding", "magnets", "cells_heat", "over_speed")
"""Limits that a way of riding comes near: a value is proposed with the room at which the judge finds them fine."""


def stops(ride: Ride, max_winding_c: float | None = None) -> tuple[str, ...]:
    """Return what of a ride would stop the bike, in words; `max_winding_c` may ask more than the winding's class."""
    findings = (*judge(ride).findings, _wanted(ride, max_winding_c))
    return tuple(dict.fromkeys(LIMITS[each.name].broken for each in findings if each.verdict == STOP))


def nears(ride: Ride, max_winding_c: float | None = None) -> tuple[str, ...]:
    """Return which limits a ride comes so near, or passes, that the judge does not find them fine, in words."""
    findings = (*judge(ride).findings, _wanted(ride, max_winding_c))
    words = (LIMITS[each.name].words for each in findings if each.name in ROOM_FOR and each.verdict != FINE)
    return tuple(dict.fromkeys(words))


def _wanted(ride: Ride, max_winding_c: float | None) -> Finding:
    hottest = max(each.peak_winding_temp_c for each in drive_figures(ride))
    return hold("winding", hottest, max_winding_c or math.inf)


def in_the_way(ride: Ride) -> tuple[str, str]:
    """Return the first reason for which the judge stops a ride, and what helps; empty where nothing does."""
    first = next((each for each in judge(ride).findings if each.verdict == STOP), None)
    return ("", "") if first is None else (first.reason, first.cure)


def foldback_s(ride: Ride) -> float:
    """Return for how long a temperature foldback of motor or controller held a drive's current [s]; the longer one."""
    bounds = (Limit.MOTOR_TEMPERATURE, Limit.CONTROLLER_TEMPERATURE)
    return max(sum(drive.on_limit_s(each) for each in bounds) for drive in drive_figures(ride))
