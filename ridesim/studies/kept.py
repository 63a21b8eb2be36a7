"""What of a ride would stop the bike: the same few questions wherever rides are held against each other."""

from __future__ import annotations

import math

from ridesim.engine.codes import Limit, Total
from ridesim.ride.simulate import Ride
from ridesim.ride.verdict import ROUNDING

NOT_THERE, HOT_WINDING, HOT_MAGNETS = "does not arrive", "winding too hot", "magnets too hot"
HOT_CELLS, OVERLOADED_CELLS, OVER_SPEED = "cells too hot", "cells overloaded", "over-speed downhill"


def stops(ride: Ride, max_winding_c: float | None = None) -> tuple[str, ...]:
    """Return what of a ride would stop the bike, in words; `max_winding_c` may ask more than the winding's class."""
    raw, build = ride.raw, ride.build
    motor, pack = build.motor, build.pack
    lasting = math.sqrt(raw.total(Total.SUSTAINED_PACK_SQUARE)) / pack.parallel
    found = {
        NOT_THERE: not ride.finished,
        HOT_WINDING: raw.total(Total.PEAK_WINDING) > min(max_winding_c or math.inf, motor.winding_limit_c),
        HOT_MAGNETS: raw.total(Total.PEAK_BODY) > motor.magnet_limit_c,
        HOT_CELLS: raw.total(Total.PEAK_PACK_TEMP) > pack.temperature_limit_c,
        OVERLOADED_CELLS: lasting > ROUNDING * pack.cell.max_discharge_a,
        OVER_SPEED: float(raw.limit_seconds[Limit.OVER_SPEED]) > 0.0,
    }
    return tuple(words for words, is_so in found.items() if is_so)


def foldback_s(ride: Ride) -> float:
    """Return for how long a temperature foldback of motor or controller held the current [s]."""
    return float(sum(ride.raw.limit_seconds[each] for each in (Limit.MOTOR_TEMPERATURE, Limit.CONTROLLER_TEMPERATURE)))
