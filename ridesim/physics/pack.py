"""The pack as a Thevenin circuit with one polarisation element.

Legend: U voltage behind the resistance [V], R_0 fast resistance [ohm], I_b pack current, + out [A], V terminal
voltage [V]. Over a step the polarisation voltage moves exactly for a constant current; its mean over the step is
alpha v_rc + beta I_b R_rc, so U = OCV - alpha v_rc and R = R_0 + beta R_rc solve the step in closed form.
Source: Plett, Battery Management Systems vol. 1 (2015), chapter 2 (equivalent-circuit models).
"""

from __future__ import annotations

import math

from ridesim.jit import inner_kernel, kernel

GAS_CONSTANT = 8.314462618
"""Molar gas constant [J/(mol K)]. Source: CODATA 2018."""

RESISTANCE_REFERENCE_K = 298.15
"""Temperature at which cell resistance is stated [K]."""


@kernel
def arrhenius_factor(activation: float, temp_c: float) -> float:
    """Return the factor on the cells' resistance: exp(E_a/R (1/T - 1/298.15)); activation in J/mol.

    Source: Arrhenius form as used for cell resistances, e.g. Plett (2015).
    """
    return math.exp(activation / GAS_CONSTANT * (1.0 / (temp_c + 273.15) - 1.0 / RESISTANCE_REFERENCE_K))


@kernel
def voltage_at_load(u: float, r: float, fixed_power: float, switching_current: float) -> float:
    """Return the terminal voltage V [V] that carries a load of P + V i watts, or NaN past the power peak.

    u [V], r [ohm], fixed_power P [W], switching_current i [A]: the part of the load that grows with V.
    V^2 - (U - R i) V + R P = 0, upper root: closed form of P = V I_b, V = U - R I_b.
    """
    half = 0.5 * (u - r * switching_current)
    inside = half * half - r * fixed_power
    if inside < 0.0:
        return math.nan
    return half + math.sqrt(inside)


@inner_kernel
def place_in_table(size: int, fraction: float) -> tuple[int, float]:
    """Return the interval of an even grid from 0 to 1 that holds `fraction`, and the share of it; ends are held."""
    place = min(max(fraction, 0.0), 1.0) * (size - 1)
    index = min(int(place), size - 2)
    return index, place - index
