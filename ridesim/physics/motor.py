"""The DC-equivalent of a permanent-magnet motor.

Legend: I DC-equivalent current [A], K torque constant [N m/A] = back-EMF constant [V s/rad], R line-to-line
resistance [ohm], X = pole_pairs omega L_ll [ohm], omega shaft speed [rad/s], tau_0 and tau_1 drag terms.
Two readings of one current: the amplitude I_q of a sine drive's phase current and I = sqrt(3)/2 I_q give the same
torque and the same copper loss with R_ll = 2 R_phase. Source: Hendershot and Miller, Design of Brushless
Permanent-Magnet Machines (2010), on the equivalence of square- and sine-wave drives; Krishnan (2010).
"""

from __future__ import annotations

import math

from ridesim.jit import kernel

COPPER_PER_K = 0.00393
"""Temperature coefficient of copper at 20 degC [1/K]. Source: IEC 60028:1925."""

REFERENCE_C = 20.0
"""Temperature at which resistance and torque constant are stated [degC]. Source: IEC 60028:1925."""

AMPLITUDE_TO_DC = math.sqrt(3.0) / 2.0
"""DC-equivalent current per amplitude of the phase current of a sine drive."""


@kernel
def torque_constant(k_20: float, per_k: float, body_c: float) -> float:
    """Return K at body temperature [N m/A]: K_20 (1 + b (T - 20)); per_k the magnets' coefficient b [1/K].

    Source: Hendershot and Miller (2010), on the reversible temperature coefficient of remanence, from memory.
    """
    return k_20 * (1.0 + per_k * (body_c - REFERENCE_C))


@kernel
def winding_resistance(r_20: float, winding_c: float) -> float:
    """Return the resistance at winding temperature [ohm]: R_20 (1 + 0.00393 (T - 20)). Source: IEC 60028:1925."""
    return r_20 * (1.0 + COPPER_PER_K * (winding_c - REFERENCE_C))


@kernel
def iron_torque(tau_0: float, tau_1: float, omega: float) -> float:
    """Return tau_0 + tau_1 omega [N m]: hysteresis and bearings, eddy currents and windage.

    Source: Hendershot and Miller (2010), no-load torque of a brushless motor, from memory.
    """
    return tau_0 + tau_1 * omega


@kernel
def voltage_squared(emf: float, current: float, resistance: float, reactance: float) -> float:
    """Return the square of the line-to-line voltage [V2]: (E + I R)^2 + (X I)^2.

    Source: Krishnan (2010), phasor diagram of a surface-magnet motor with its current along the back-EMF, from memory.
    """
    along = emf + current * resistance
    across = reactance * current
    return along * along + across * across


@kernel
def voltage_squared_with_field(
    emf: float, current: float, field: float, resistance: float, reactance: float, salience: float
) -> float:
    """Return the square of the voltage [V2] with a field current f = -I_d: (E + I R - X_d f)^2 + (X I + R f)^2.

    X is of the q axis, X_d = X/salience. Source: Krishnan (2010), voltage equations in rotor axes, from memory; the
    DC-equivalent reading on both axes.
    """
    along = emf + current * resistance - field * (reactance / salience)
    across = reactance * current + field * resistance
    return along * along + across * across


@kernel
def shaft_pull(torque_constant: float, reluctance: float, current: float, field: float) -> float:
    """Return the torque of both currents before iron [N m]: (K + p (L_q - L_d) f) I, with f = -I_d.

    `reluctance` is p (L_q - L_d) [N m/A2], inductances line to line. It is 1.5 p (lambda I_q + (L_d - L_q) I_d I_q) of
    the amplitudes. Source: Krishnan (2010), torque of a magnet motor in rotor axes, from memory.
    """
    return (torque_constant + reluctance * field) * current
