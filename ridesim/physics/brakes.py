"""One lump of heat a brake: a turning disc, or a rim in the air stream. Plain scalar functions of SI numbers.

Legend: D disc diameter [m], L chord of a rim [m], v air speed [m/s], k conductivity [W/(m K)], nu kinematic viscosity
[m2/s], Re, Pr Reynolds and Prandtl numbers, h heat-transfer coefficient [W/(m2 K)], A area [m2], C heat capacity
[J/K], q heat flow in [W], T temperature [K]. Left out: pads as a second lump, conduction to the hub, rain, fade.
"""

from __future__ import annotations

import math

from ridesim.jit import kernel
from ridesim.physics.cooling import STEFAN_BOLTZMANN, Air

FILM_350_K = Air(0.030003, 2.06908e-5, 0.70195)
"""Air at 350 K and 1 atm. Source: as `cooling.FILM_323_K`."""

LAMINAR_TO = 2.4e5
"""Reynolds number at which the flow over a turning disc becomes turbulent (Limpert)."""

NO_COOLING = 1e-9
"""Share of its heat that a lump loses in a step, below which the exponential form would lose its digits."""


def disc_coefficient(diameter: float, v: float, air: Air = FILM_350_K) -> float:
    """Return h of a solid brake disc, `0.70 (k/D) Re^0.55` below Re 2.4e5, `0.04 (k/D) Re^0.8` above [W/(m2 K)].

    Source: Limpert, Brake Design and Safety (form from memory; made for cars: bounds of turning discs and of plates
    lie 2 to 5 times apart).
    """
    reynolds = v * diameter / air.kinematic_viscosity
    nusselt = 0.70 * reynolds**0.55 if reynolds < LAMINAR_TO else 0.04 * reynolds**0.8
    return nusselt * air.conductivity / diameter


def plate_coefficient(chord: float, v: float, air: Air = FILM_350_K) -> float:
    """Return the mean h of a plate along the air stream, `0.664 Re^0.5 Pr^(1/3) k/L` [W/(m2 K)], Re < 5e5.

    Source: Pohlhausen (1921); Incropera et al., eq. 7.30.
    """
    reynolds = v * chord / air.kinematic_viscosity
    return 0.664 * math.sqrt(reynolds) * air.prandtl ** (1.0 / 3.0) * air.conductivity / chord


@kernel
def lump_after(
    start_k: float, heat_w: float, to_air_w_per_k: float, radiating_m2: float, air_k: float, capacity: float, dt: float
) -> tuple[float, float]:
    """Return (temperature at the end [K], heat given to the air [J]) of `C T' = q - hA (T - Ta) - e s A (T^4 - Ta^4)`.

    `radiating_m2` = emissivity x area. Radiation is linear about the start, then about the middle of the step: second
    order; the heat given off is what the balance leaves, so that it closes to rounding.
    """
    end = start_k
    for _ in range(2):
        middle = 0.5 * (start_k + end)
        conductance = to_air_w_per_k + radiating_m2 * STEFAN_BOLTZMANN * (middle + air_k) * (middle**2 + air_k**2)
        if conductance * dt < NO_COOLING * capacity:
            end = start_k + heat_w * dt / capacity
        else:
            settled = air_k + heat_w / conductance
            end = settled + (start_k - settled) * math.exp(-conductance * dt / capacity)
    return end, heat_w * dt - capacity * (end - start_k)
