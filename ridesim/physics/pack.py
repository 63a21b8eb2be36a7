"""The pack as a Thevenin circuit with one polarisation element.

Legend: U voltage behind the resistance [V], R_0 fast resistance [ohm], I_b pack current, + out [A], V terminal
voltage [V]. Over a step the polarisation voltage moves exactly for a constant current; its mean over the step is
alpha v_rc + beta I_b R_rc, so U = OCV - alpha v_rc and R = R_0 + beta R_rc solve the step in closed form.
Source: Plett, Battery Management Systems vol. 1 (2015), chapter 2 (equivalent-circuit models).
"""

from __future__ import annotations

import math

from ridesim.jit import kernel

GAS_CONSTANT = 8.314462618
"""Molar gas constant [J/(mol K)]. Source: CODATA 2018."""

RESISTANCE_REFERENCE_K = 298.15
"""Temperature at which cell resistance is stated [K]."""

CAPACITY_REFERENCE_C, CAPACITY_REFERENCE_K = 20.0, 293.15
"""Temperature at which a cell's capacity is stated [degC, K]. Source: IEC 61960-3, 20 +- 5 degC, from memory."""


@kernel
def arrhenius_factor(activation: float, temp_c: float) -> float:
    """Return the factor on the cells' resistance: exp(E_a/R (1/T - 1/298.15)); activation in J/mol.

    Source: Arrhenius form as used for cell resistances, e.g. Plett (2015).
    """
    return math.exp(activation / GAS_CONSTANT * (1.0 / (temp_c + 273.15) - 1.0 / RESISTANCE_REFERENCE_K))


def resistance_activation(ratio: float, temp_c: float) -> float:
    """Return the activation [J/mol] by which a resistance at a temperature is so many times that at 25 degC."""
    return math.log(ratio) * GAS_CONSTANT / (1.0 / (temp_c + 273.15) - 1.0 / RESISTANCE_REFERENCE_K)


@kernel
def charge_out_of_reach(share: float, activation: float, temp_c: float) -> float:
    """Return the share of the charge out of reach at 1C in the cold: share (exp(E_a/R (1/T - 1/293.15)) - 1).

    share: of the charge, per rise of the exponential; activation in J/mol. Nothing from 20 degC on: capacities are
    stated there. Left out: how long diffusion takes to build up and to even out (minutes).
    Source: slow diffusion puts the surface of the active grains behind their mean by i r^2/(15 D), in steady state
    (Subramanian, Diwakar and Tapriyal 2005, J. Electrochem. Soc. 152:A2002, from memory); D falls by Arrhenius.
    """
    if temp_c >= CAPACITY_REFERENCE_C:
        return 0.0
    return share * cold_growth(activation, temp_c)


@kernel
def cold_growth(activation: float, temp_c: float) -> float:
    """Return by how much a diffusion time has grown since 20 degC: exp(E_a/R (1/T - 1/293.15)) - 1; E_a in J/mol."""
    return math.expm1(activation / GAS_CONSTANT * (1.0 / (temp_c + 273.15) - 1.0 / CAPACITY_REFERENCE_K))


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


@kernel
def place_in_table(size: int, fraction: float) -> tuple[int, float]:
    """Return the interval of an even grid from 0 to 1 that holds `fraction`, and the share of it; ends are held."""
    place = min(max(fraction, 0.0), 1.0) * (size - 1)
    index = min(int(place), size - 2)
    return index, place - index
