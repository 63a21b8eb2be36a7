"""How long a stop cools the motor: the same two lumps, at rest, in the air of the place where it stands."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ridesim.engine.state import Parameters, State, Total
from ridesim.jit import plain
from ridesim.physics.heat import body_to_air, two_lumps
from ridesim.ride.lap import along_lap
from ridesim.units import to_si

if TYPE_CHECKING:
    from ridesim.ride.result import Ridden

REST_TO_C = 60.0
"""To what temperature a rest is asked to cool the motor [degC]: warm to the hand, no longer a burn (guess)."""
STEP_S = 1.0
PATIENCE_S = to_si(6.0, "h")


def rest_until_cool(params: Parameters, state: State, to_c: float, air_c: float) -> float:
    """Return the standing time [s] after which winding and body are below `to_c` [degC]; inf if the air is too warm."""
    winding, body, seconds = state.winding_temp, state.body_temp, 0.0
    if to_c <= air_c:
        return math.inf
    lumps, to_air = plain(two_lumps), plain(body_to_air)  # an hour of seconds: sooner done in Python than compiled
    g_ba = to_air(params.cooling_still, params.cooling_moving, params.cooling_exponent, params.enclosure, 0.0)
    while max(winding, body) > to_c:
        if seconds >= PATIENCE_S:
            return math.inf
        winding, body = lumps(
            winding, body, 0.0, 0.0, params.winding_k_per_j, params.body_k_per_j, params.winding_to_body, g_ba, air_c,
            STEP_S,
        )  # fmt: skip
        seconds += STEP_S
    return seconds


def rest_from_hottest_s(ride: Ridden) -> float:
    """Return the standing time [s] from the ride's hottest winding and body, where the winding was hottest."""
    raw = ride.raw
    hottest = raw.end._replace(winding_temp=raw.total(Total.PEAK_WINDING), body_temp=raw.total(Total.PEAK_BODY))
    return rest_until_cool(ride.params, hottest, REST_TO_C, _air_at(ride, raw.total(Total.PEAK_WINDING_AT)))


def rest_from_end_s(ride: Ridden) -> float:
    """Return the standing time [s] from the end of the ride, where it ended."""
    return rest_until_cool(ride.params, ride.raw.end, REST_TO_C, _air_at(ride, ride.raw.total(Total.DISTANCE)))


def _air_at(ride: Ridden, distance: float) -> float:
    """Return the air's temperature [degC] after a distance ridden [m], laps and all."""
    arrays = ride.arrays
    along = along_lap(distance, arrays.length)
    last = len(arrays.nodes) - 1
    return float(arrays.nodes["air_temp"][min(round(along * arrays.per_spacing), last)])
