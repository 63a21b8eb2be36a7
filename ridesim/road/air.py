"""The air a ride goes through: pressure by altitude, density of moist air, wind along and across the road."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ridesim.errors import RoadError
from ridesim.units import to_si

# ISO 2533:1975, Standard Atmosphere, troposphere layer.
SEA_LEVEL_PRESSURE_PA = 101_325.0
SEA_LEVEL_TEMPERATURE_K = 288.15
LAPSE_RATE_K_PER_M = -0.0065
STANDARD_GRAVITY_M_PER_S2 = 9.80665
AIR_GAS_CONSTANT_J_PER_KG_K = 287.05287
NOMINAL_EARTH_RADIUS_M = 6_356_766.0
PRESSURE_EXPONENT = -STANDARD_GRAVITY_M_PER_S2 / (AIR_GAS_CONSTANT_J_PER_KG_K * LAPSE_RATE_K_PER_M)

ZERO_CELSIUS_K = to_si(0.0, "c")

# CIPM-2007: Picard, Davis, Gläser, Fujii (2008), Metrologia 45:149-155, equation (1) and appendix A.
GAS_CONSTANT_J_PER_MOL_K = 8.314472
DRY_AIR_KG_PER_MOL = 28.96546e-3  # at 400 ppm of carbon dioxide
WATER_KG_PER_MOL = 18.01528e-3
VAPOUR_A, VAPOUR_B, VAPOUR_C, VAPOUR_D = 1.2378847e-5, -1.9121316e-2, 33.93711047, -6.3431645e3
ENHANCEMENT_ALPHA, ENHANCEMENT_BETA, ENHANCEMENT_GAMMA = 1.00062, 3.14e-8, 5.6e-7
FACTOR_A0, FACTOR_A1, FACTOR_A2 = 1.58123e-6, -2.9331e-8, 1.1043e-10
FACTOR_B0, FACTOR_B1 = 5.707e-6, -2.051e-8
FACTOR_C0, FACTOR_C1 = 1.9898e-4, -2.376e-6
FACTOR_D, FACTOR_E = 1.83e-11, -0.765e-8

Array = NDArray[np.float64]


def geopotential_m(altitude_m: ArrayLike) -> Array:
    """Return the geopotential height [m] of a geometric altitude [m]. Source: ISO 2533:1975, eq. (8)."""
    altitude = np.asarray(altitude_m, dtype=np.float64)
    return NOMINAL_EARTH_RADIUS_M * altitude / (NOMINAL_EARTH_RADIUS_M + altitude)


def standard_temperature_k(altitude_m: ArrayLike) -> Array:
    """Return the standard temperature [K] at a geometric altitude [m], below 11 km. Source: ISO 2533:1975."""
    return SEA_LEVEL_TEMPERATURE_K + LAPSE_RATE_K_PER_M * geopotential_m(altitude_m)


def pressure_pa(altitude_m: ArrayLike) -> Array:
    """Return the standard pressure [Pa] at a geometric altitude [m], below 11 km.

    Weather moves the true pressure by about 2 % around it; that is left out. Source: ISO 2533:1975.
    """
    ratio = standard_temperature_k(altitude_m) / SEA_LEVEL_TEMPERATURE_K
    return np.asarray(SEA_LEVEL_PRESSURE_PA * ratio**PRESSURE_EXPONENT)


def saturation_pressure_pa(temperature_c: ArrayLike) -> Array:
    """Return the saturation pressure of water vapour [Pa]. Source: CIPM-2007, eq. (A1.1)."""
    kelvin = np.asarray(temperature_c, dtype=np.float64) + ZERO_CELSIUS_K
    return np.exp(VAPOUR_A * kelvin**2 + VAPOUR_B * kelvin + VAPOUR_C + VAPOUR_D / kelvin)


def vapour_mole_fraction(pressure: ArrayLike, temperature_c: ArrayLike, relative_humidity: ArrayLike) -> Array:
    """Return the mole fraction of water vapour in air at `pressure` [Pa]. Source: CIPM-2007, eqs. (A1.2), (A1.3)."""
    celsius = np.asarray(temperature_c, dtype=np.float64)
    pascal = np.asarray(pressure, dtype=np.float64)
    enhancement = ENHANCEMENT_ALPHA + ENHANCEMENT_BETA * pascal + ENHANCEMENT_GAMMA * celsius**2
    humidity = np.asarray(relative_humidity, dtype=np.float64)
    return humidity * enhancement * saturation_pressure_pa(celsius) / pascal


def compressibility(pressure: ArrayLike, temperature_c: ArrayLike, mole_fraction: ArrayLike) -> Array:
    """Return the compressibility factor of moist air. Source: CIPM-2007, eq. (A1.4)."""
    celsius = np.asarray(temperature_c, dtype=np.float64)
    vapour = np.asarray(mole_fraction, dtype=np.float64)
    ratio = np.asarray(pressure, dtype=np.float64) / (celsius + ZERO_CELSIUS_K)
    dry = FACTOR_A0 + FACTOR_A1 * celsius + FACTOR_A2 * celsius**2
    mixed = (FACTOR_B0 + FACTOR_B1 * celsius) * vapour + (FACTOR_C0 + FACTOR_C1 * celsius) * vapour**2
    return 1.0 - ratio * (dry + mixed) + ratio**2 * (FACTOR_D + FACTOR_E * vapour**2)


def air_density(pressure: ArrayLike, temperature_c: ArrayLike, relative_humidity: ArrayLike = 0.0) -> Array:
    """Return the density of moist air [kg/m³] from pressure [Pa], temperature [°C] and humidity [0 to 1].

    Stated for 600 to 1100 hPa and 15 to 27 °C; outside it is used as an extrapolation that stays within
    0.05 % of other formulas from -20 to 45 °C. Raises RoadError for humidity outside 0 to 1.
    Source: Picard et al. (2008), CIPM-2007, Metrologia 45:149-155, eq. (1), at 400 ppm of carbon dioxide.
    """
    refuse_humidity(relative_humidity)
    kelvin = np.asarray(temperature_c, dtype=np.float64) + ZERO_CELSIUS_K
    vapour = vapour_mole_fraction(pressure, temperature_c, relative_humidity)
    lightness = 1.0 - vapour * (1.0 - WATER_KG_PER_MOL / DRY_AIR_KG_PER_MOL)
    squeeze = compressibility(pressure, temperature_c, vapour) * GAS_CONSTANT_J_PER_MOL_K * kelvin
    return np.asarray(pressure, dtype=np.float64) * DRY_AIR_KG_PER_MOL * lightness / squeeze


def refuse_humidity(relative_humidity: ArrayLike) -> None:
    """Raise RoadError where a relative humidity is no share between 0 and 1."""
    humidity = np.asarray(relative_humidity, dtype=np.float64)
    if not bool(np.all((humidity >= 0.0) & (humidity <= 1.0))):
        what = f"relative humidity is out of range ({humidity.max():g}, allowed 0 to 1)"
        raise RoadError("air", what, "give it as a share, 0.5 for 50 %")


def wind_along_and_across(
    speed_m_per_s: ArrayLike, from_deg: ArrayLike, bearing_deg: ArrayLike, exposure: ArrayLike = 1.0
) -> tuple[Array, Array]:
    """Return head wind and cross wind [m/s] at rider height for a heading [° clockwise from north].

    `from_deg` is where the wind blows from; `exposure` scales the reported wind to the rider. The head wind
    is positive against the rider, the cross wind positive from the right.
    """
    at_rider = np.asarray(speed_m_per_s, dtype=np.float64) * np.asarray(exposure, dtype=np.float64)
    angle = np.radians(np.asarray(from_deg, dtype=np.float64) - np.asarray(bearing_deg, dtype=np.float64))
    return at_rider * np.cos(angle), at_rider * np.sin(angle)
