"""What of a ride would stop the bike, as the judge finds it: the same wherever rides are held against each other."""

from __future__ import annotations

import math

from ridesim.engine.codes import Limit
from ridesim.ride.judge import hold, judge
from ridesim.ride.limits import LIMITS, STOP
from ridesim.ride.simulate import Ride

HOT_WINDING = LIMITS["winding"].broken


def stops(ride: Ride, max_winding_c: float | None = None) -> tuple[str, ...]:
    """Return what of a ride would stop the bike, in words; `max_winding_c` may ask more than the winding's class."""
    wanted = hold("winding", ride.figures.peak_winding_temp_c, max_winding_c or math.inf)
    findings = (*judge(ride).findings, wanted)
    return tuple(dict.fromkeys(LIMITS[each.name].broken for each in findings if each.verdict == STOP))


def foldback_s(ride: Ride) -> float:
    """Return for how long a temperature foldback of motor or controller held the current [s]."""
    return sum(ride.figures.on_limit_s(each) for each in (Limit.MOTOR_TEMPERATURE, Limit.CONTROLLER_TEMPERATURE))
