"""Motor shaft to wheel through any number of stages.

Legend: T shaft torque [N m], G motor turns per wheel turn, eta load efficiency of all stages, r wheel radius [m], F
wheel force [N], tau_d the stages' drag at the motor shaft [N m]: one value driving and one braking, because each stage
drags at its own faster shaft with the efficiencies between it and the motor on the way. Gains: wheel force per shaft
torque [1/m], one driving and one braking.
F = (T - tau_d) G eta / r driving, (T - tau_d) G / (eta r) braking. Source: textbook statics of a gear train with loss.
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
def wheel_force(torque: float, drag_driving: float, drag_braking: float, driving: float, braking: float) -> float:
    """Return the force at the wheel [N]: (T - tau_d) times the gain of its direction; nothing between both drags."""
    if torque >= drag_driving:
        return (torque - drag_driving) * driving
    return min((torque - drag_braking) * braking, 0.0)


@kernel
def shaft_torque(
    force: float, drag_driving: float, drag_braking: float, per_driving: float, per_braking: float
) -> float:
    """Return the shaft torque that gives a wheel force [N m], the inverse of `wheel_force`; takes 1/gain [m]."""
    if force >= 0.0:
        return force * per_driving + drag_driving
    return force * per_braking + drag_braking
