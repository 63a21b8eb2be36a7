"""The rider as a source of force at the wheel."""

from __future__ import annotations

from ridesim.jit import kernel

SLOWEST_PEDALLING = 1.5
"""Speed below which pedal force no longer grows [m/s]: power over speed is singular at rest (guess)."""


@kernel
def pedal_force(power: float, efficiency: float, v: float, wanted: float, force_bound: float) -> float:
    """Return the pedal force at the wheel [N]: min(P eta / max(v, 1.5), wanted, bound), none while braking.

    power at the pedals [W], efficiency of the chain, v [m/s], wanted wheel force [N], force_bound from the crank
    torque in the lowest gear [N].
    """
    if wanted <= 0.0:
        return 0.0
    return min(power * efficiency / max(v, SLOWEST_PEDALLING), wanted, force_bound)
