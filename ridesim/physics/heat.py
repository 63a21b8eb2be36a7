"""Lumps of heat and what cools them.

Legend: T temperature [degC], C heat capacity [J/K], handed over as 1/C [K/J], G conductance [W/K], P heat into a node
[W], indices w winding, b body, a air. Updates are the trapezoidal rule: second order, stable for every step length.
Source of the two lumps: Hendershot and Miller (2010), thermal equivalent circuits, from memory; of the rule: Hairer
and Wanner, Solving Ordinary Differential Equations II (1996), chapter IV.3 (A-stability of the trapezoidal rule).
"""

from __future__ import annotations

import math

from ridesim.jit import kernel


@kernel
def body_to_air(still: float, moving: float, exponent: float, enclosure: float, v: float) -> float:
    """Return enclosure (g_0 + g_1 v^n) [W/K]; still g_0 [W/K], moving g_1 [W/K per (m/s)^n], v [m/s].

    Source: the power of the speed after Churchill and Bernstein (1977), see `cooling`.
    """
    if v <= 0.0:
        return enclosure * still
    return enclosure * (still + moving * math.pow(v, exponent))


@kernel
def one_lump(temp: float, heat: float, per_c: float, to_air: float, air_c: float, dt: float) -> float:
    """Return T after dt [degC]: C T' = P - G (T - T_air), trapezoidal rule; per_c = 1/C."""
    half = 0.5 * dt * to_air * per_c
    return (temp * (1.0 - half) + dt * heat * per_c + 2.0 * half * air_c) / (1.0 + half)


@kernel
def two_lumps(
    t_w: float, t_b: float, p_w: float, p_b: float, per_c_w: float, per_c_b: float,
    g_wb: float, g_ba: float, air_c: float, dt: float,
) -> tuple[float, float]:  # fmt: skip
    """Return winding and body temperature after dt [degC], trapezoidal rule; per_c_w = 1/C_w, per_c_b = 1/C_b.

    C_w T_w' = P_w - G_wb (T_w - T_b);  C_b T_b' = P_b + G_wb (T_w - T_b) - G_ba (T_b - T_air).
    """
    a = 0.5 * dt * g_wb * per_c_w
    b = 0.5 * dt * g_wb * per_c_b
    c = 0.5 * dt * g_ba * per_c_b
    right_w = t_w - a * (t_w - t_b) + dt * p_w * per_c_w
    right_b = t_b + b * (t_w - t_b) - c * (t_b - air_c) + dt * p_b * per_c_b + c * air_c
    per_determinant = 1.0 / ((1.0 + a) * (1.0 + b + c) - a * b)
    new_w = (right_w * (1.0 + b + c) + a * right_b) * per_determinant
    new_b = ((1.0 + a) * right_b + b * right_w) * per_determinant
    return new_w, new_b
