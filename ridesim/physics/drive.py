"""Motor shaft to wheel through any number of stages.

Legend: T shaft torque [N m], G motor turns per wheel turn, eta load efficiency, r wheel radius [m], tau_d drag of the
stages reflected to the motor shaft [N m].
"""

from __future__ import annotations

from ridesim.jit import kernel


@kernel
def wheel_force(torque: float, stage_drag: float, turns: float, efficiency: float, radius: float) -> float:
    """Return the force at the wheel [N]: (T - tau_d) G eta / r driving, (T - tau_d) G / (eta r) braking."""
    net = torque - stage_drag
    if net >= 0.0:
        return net * turns * efficiency / radius
    return net * turns / (efficiency * radius)


@kernel
def shaft_torque(force: float, stage_drag: float, turns: float, efficiency: float, radius: float) -> float:
    """Return the shaft torque that gives a wheel force [N m]: the inverse of `wheel_force`."""
    if force >= 0.0:
        return force * radius / (turns * efficiency) + stage_drag
    return force * radius * efficiency / turns + stage_drag
