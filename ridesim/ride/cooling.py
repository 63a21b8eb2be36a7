"""How long a stop cools the motor: the same two lumps, at rest."""

from __future__ import annotations

import math

from ridesim.engine.state import Parameters, State
from ridesim.physics.heat import body_to_air, two_lumps

STEP_S = 1.0
PATIENCE_S = 6 * 3600.0


def rest_until_cool(params: Parameters, state: State, to_c: float, air_c: float) -> float:
    """Return the standing time [s] after which winding and body are below `to_c` [degC]; inf if the air is too warm."""
    winding, body, seconds = state.winding_temp, state.body_temp, 0.0
    if to_c <= air_c:
        return math.inf
    g_ba = body_to_air(params.cooling_still, params.cooling_moving, params.cooling_exponent, params.enclosure, 0.0)
    while max(winding, body) > to_c:
        if seconds >= PATIENCE_S:
            return math.inf
        winding, body = two_lumps(
            winding, body, 0.0, 0.0, params.winding_k_per_j, params.body_k_per_j, params.winding_to_body, g_ba, air_c,
            STEP_S,
        )  # fmt: skip
        seconds += STEP_S
    return seconds
