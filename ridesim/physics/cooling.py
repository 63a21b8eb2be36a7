"""Published correlations for heat leaving a cylinder into air, used where nobody has measured a motor.

Plain functions, not kernels: they are called once a build. Legend: D diameter [m], v air speed [m/s], Nu, Re, Ra, Pr
the Nusselt, Reynolds, Rayleigh and Prandtl numbers, h heat-transfer coefficient [W/(m2 K)].
"""

from __future__ import annotations

import math
from typing import NamedTuple

STEFAN_BOLTZMANN = 5.670374419e-8
"""[W/(m2 K4)]. Source: CODATA 2018."""

GRAVITY = 9.80665
"""Standard gravity [m/s2]. Source: BIPM (2019)."""


class Air(NamedTuple):
    """Air at 1 atm and one film temperature."""

    conductivity: float  # W/(m K)
    kinematic_viscosity: float  # m2/s
    prandtl: float


FILM_323_K = Air(0.028083, 1.79730e-5, 0.70439)
"""Air at 323.15 K and 1 atm. Source: Lemmon et al. (2000), J. Phys. Chem. Ref. Data 29:331, by a property library."""

FILM_TEMPERATURE_K = 323.15


def churchill_bernstein(reynolds: float, prandtl: float) -> float:
    """Return Nu of a cylinder in cross-flow, Re Pr > 0.2.

    Source: Churchill and Bernstein (1977), J. Heat Transfer 99:300-306; Incropera et al., Fundamentals, eq. 7.54.
    """
    bracket = (1.0 + (reynolds / 282000.0) ** 0.625) ** 0.8
    low = 0.62 * math.sqrt(reynolds) * prandtl ** (1 / 3) / (1.0 + (0.4 / prandtl) ** (2 / 3)) ** 0.25
    return 0.3 + low * bracket


def churchill_chu(rayleigh: float, prandtl: float) -> float:
    """Return Nu of a horizontal cylinder in still air, Ra <= 1e12.

    Source: Churchill and Chu (1975), Int. J. Heat Mass Transfer 18:1049-1053; Incropera et al., eq. 9.34.
    """
    inner = rayleigh / (1.0 + (0.559 / prandtl) ** (9 / 16)) ** (16 / 9)
    return (0.60 + 0.387 * inner ** (1 / 6)) ** 2


def rayleigh_number(
    diameter: float, warmer_k: float, air: Air = FILM_323_K, film_k: float = FILM_TEMPERATURE_K
) -> float:
    """Return g beta dT D^3 Pr / nu^2 of a cylinder `warmer_k` above the air, beta = 1/T_film."""
    return GRAVITY / film_k * warmer_k * diameter**3 * air.prandtl / air.kinematic_viscosity**2


def moving_air_coefficient(diameter: float, v: float, air: Air = FILM_323_K) -> float:
    """Return h of a cylinder in cross-flow at v m/s [W/(m2 K)]."""
    return churchill_bernstein(v * diameter / air.kinematic_viscosity, air.prandtl) * air.conductivity / diameter


def still_air_coefficient(diameter: float, warmer_k: float, air: Air = FILM_323_K) -> float:
    """Return h of a horizontal cylinder in still air [W/(m2 K)]."""
    return churchill_chu(rayleigh_number(diameter, warmer_k, air), air.prandtl) * air.conductivity / diameter


def radiation_coefficient(emissivity: float, surface_k: float, around_k: float) -> float:
    """Return the linear coefficient of radiation [W/(m2 K)]: eps sigma (Ts + Ta)(Ts^2 + Ta^2)."""
    return emissivity * STEFAN_BOLTZMANN * (surface_k + around_k) * (surface_k**2 + around_k**2)
