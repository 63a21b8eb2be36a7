"""How hot a wire gets for good in still air, and the current that keeps it at its jacket's limit.

Sources: natural convection from a horizontal cylinder, Churchill and Chu (1975), as in Incropera/DeWitt, section 9.6;
radiation by Stefan-Boltzmann; heat through the jacket as a hollow cylinder. The jacket's surface is one
temperature, the wire lies free and level; leads that lie together keep a share of their current (`grouping`)
after IEC 60364-5-52, so the square of it of their heat.
"""

from __future__ import annotations

import math

from ridesim.physics import cooling
from ridesim.units import to_si
from ridesim.workshop.limits import Verdict, held, require_between, require_finite_load, require_positive
from ridesim.workshop.wire.tables import Insulation, Wire, outer_diameter_mm

JACKET_EMISSIVITY = 0.9
"""Rubber and plastic jackets (any table of emissivities, from memory)."""

AIR_HEAT_J_PER_KG_K = 1007.0
AIR_GAS_J_PER_KG_K = 287.05
AIR_PRESSURE_PA = 101325.0
"""Air at one atmosphere, ideal gas."""

SUTHERLAND_VISCOSITY = (1.716e-5, 273.15, 110.4)
SUTHERLAND_CONDUCTIVITY = (0.02414, 273.15, 194.0)
"""Value at the reference kelvin, the kelvin, the constant: White, Viscous Fluid Flow, tables 1-2 and 1-3, from
memory; within 1 % of measured air from 250 to 400 K."""

COPPER_MELTS_C = 1083.0
"""As Onderdonk's equation has it."""


def air_properties(film_c: float) -> tuple[float, float, float]:
    """Return conductivity [W/(m K)], kinematic viscosity [m2/s] and Prandtl number of air at 1 atm.

    Valid for -20 to 200 degC within 1 to 2 %. Source: Sutherland's law, White, Viscous Fluid Flow.
    """
    kelvin = to_si(film_c, "c")

    def sutherland(law: tuple[float, float, float]) -> float:
        """Return a property of air at the film's temperature by Sutherland's law, in SI."""
        value, reference, constant = law
        return float(value * (kelvin / reference) ** 1.5 * (reference + constant) / (kelvin + constant))

    viscosity, conductivity = sutherland(SUTHERLAND_VISCOSITY), sutherland(SUTHERLAND_CONDUCTIVITY)
    density = AIR_PRESSURE_PA / (AIR_GAS_J_PER_KG_K * kelvin)
    return conductivity, viscosity / density, viscosity * AIR_HEAT_J_PER_KG_K / conductivity


def surface_loss_w_per_m(
    surface_c: float, air_c: float, diameter_mm: float, emissivity: float = JACKET_EMISSIVITY
) -> float:
    """Return the heat one metre of level cylinder gives to still air and to surroundings at air temperature [W/m].

    Source: Churchill and Chu (1975) with air at the film temperature; Stefan-Boltzmann. Raises BuildError.
    """
    require_positive("wire", diameter_mm=diameter_mm)
    rise, diameter = surface_c - air_c, to_si(diameter_mm, "mm")
    if rise <= 0.0:
        return 0.0
    film_c = (surface_c + air_c) / 2.0
    air = cooling.Air(*air_properties(film_c))
    rayleigh = cooling.rayleigh_number(diameter, rise, air, to_si(film_c, "c"))
    convected = math.pi * air.conductivity * cooling.churchill_chu(rayleigh, air.prandtl) * rise
    coefficient = cooling.radiation_coefficient(emissivity, to_si(surface_c, "c"), to_si(air_c, "c"))
    return convected + math.pi * diameter * coefficient * rise


def lead_loss_w_per_m(wire: Wire, jacket: Insulation, conductor_c: float, air_c: float, grouping: float = 1.0) -> float:
    """Return the heat one metre of lead gives off at a conductor temperature [W/m], through its jacket.

    The surface temperature is solved for, as if the lead lay alone; a bunch keeps `grouping` of the current, so
    `grouping^2` of that heat. Source: hollow-cylinder conduction and `surface_loss_w_per_m`. Raises BuildError.
    """
    from scipy.optimize import brentq

    require_between("wire", "grouping", grouping, 0.05, 1.0)
    if conductor_c <= air_c:
        return 0.0
    outer = outer_diameter_mm(wire)
    through = math.tau * jacket.conductivity_w_per_m_k / math.log(outer / wire.diameter_mm)

    def excess(surface_c: float) -> float:
        """Return heat through the jacket less heat off a surface at this temperature [W/m]."""
        return through * (conductor_c - surface_c) - surface_loss_w_per_m(surface_c, air_c, outer)

    alone = through * (conductor_c - float(brentq(excess, air_c, conductor_c, xtol=1e-9)))
    return grouping**2 * alone


def steady_current_limit_a(
    wire: Wire, jacket: Insulation, air_c: float, *, limit_c: float | None = None, grouping: float = 1.0
) -> float:
    """Return the current that holds the conductor at its jacket's limit (or `limit_c`) for good [A rms].

    Source: `lead_loss_w_per_m` balanced with `I^2 R`. Returns 0 when the air is as hot as the limit. Raises BuildError.
    """
    limit = jacket.limit_c if limit_c is None else limit_c
    loss = lead_loss_w_per_m(wire, jacket, limit, air_c, grouping)
    return math.sqrt(loss / wire.resistance_ohm_per_m(limit))


def steady_temp_c(
    wire: Wire, jacket: Insulation, current_a: float, air_c: float, *, grouping: float = 1.0
) -> float | None:
    """Return the conductor's lasting temperature at a current [degC], or None when it would melt first.

    Source: inverse of `steady_current_limit_a`; the current rises with the temperature, so the root is unique.
    Raises BuildError, RideError.
    """
    from scipy.optimize import brentq

    require_finite_load("wire", current_a=current_a)
    current = abs(current_a)

    def shortfall(conductor_c: float) -> float:
        """Return heat given off less heat made by a conductor at this temperature [W/m]."""
        loss = lead_loss_w_per_m(wire, jacket, conductor_c, air_c, grouping)
        return loss - current**2 * wire.resistance_ohm_per_m(conductor_c)

    if current == 0.0:
        return air_c
    return float(brentq(shortfall, air_c, COPPER_MELTS_C, xtol=1e-7)) if shortfall(COPPER_MELTS_C) > 0.0 else None


def verdict_on_temp(temp_c: float, limit_c: float) -> Verdict:
    """Return the judge's word on a lead's temperature."""
    return held("lead_heat", temp_c, limit_c, "")[0]
