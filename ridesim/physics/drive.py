"""Motor shaft to wheel through any number of stages.

Legend: T shaft torque [N m], G motor turns per wheel turn, eta load efficiency, r wheel radius [m], tau_d drag of the
stages reflected to the motor shaft [N m]. Gains: wheel force per shaft torque [1/m], one driving and one braking.
"""

from __future__ import annotations

from ridesim.jit import kernel


def driving_gain(turns: float, efficiency: float, radius: float) -> float:
    """Return G eta / r [1/m]."""
    return turns * efficiency / radius


def braking_gain(turns: float, efficiency: float, radius: float) -> float:
    """Return G / (eta r) [1/m]: braking, the stages' loss helps."""
    return turns / (efficiency * radius)


@kernel
def wheel_force(torque: float, stage_drag: float, driving: float, braking: float) -> float:
    """Return the force at the wheel [N]: (T - tau_d) times the gain of its direction."""
    net = torque - stage_drag
    return net * (driving if net >= 0.0 else braking)


@kernel
def shaft_torque(force: float, stage_drag: float, per_driving: float, per_braking: float) -> float:
    """Return the shaft torque that gives a wheel force [N m], the inverse of `wheel_force`; takes 1/gain [m]."""
    return force * (per_driving if force >= 0.0 else per_braking) + stage_drag
