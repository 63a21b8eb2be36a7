"""Standard atmosphere and moist air against their tables."""

from __future__ import annotations

from ridesim.evidence.checks import Check, Subject, near
from ridesim.evidence.store import table
from ridesim.road.air import (
    AIR_GAS_CONSTANT_J_PER_KG_K,
    air_density,
    pressure_pa,
    saturation_pressure_pa,
    standard_temperature_k,
)
from ridesim.units import convert


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of the atmosphere."""
    return [*_standard(), *_moist()], []


def _standard() -> list[Check]:
    checks = []
    for altitude, kelvin, pascal, density in table("air.standard_atmosphere").rows:
        where = f"standard atmosphere at {altitude:g} m"
        pressure, warmth = float(pressure_pa(altitude)), float(standard_temperature_k(altitude))
        checks += [
            near(f"{where}: temperature", warmth, kelvin),
            near(f"{where}: pressure", pressure, pascal, within=0.06),
            near(f"{where}: density", pressure / (AIR_GAS_CONSTANT_J_PER_KG_K * warmth), density, within=1e-6),
        ]
    return checks


def _moist() -> list[Check]:
    checks = []
    for celsius, pascal, humidity, density in table("air.moist_air").rows:
        name = f"moist air at {celsius:g} °C, {convert(pascal, 'pa', 'hpa'):g} hPa, {humidity:.0%} humidity"
        checks.append(near(name, float(air_density(pascal, celsius, humidity)), density))
    for celsius, pascal in table("air.saturation").rows:
        checks.append(near(f"saturation pressure at {celsius:g} °C", float(saturation_pressure_pa(celsius)), pascal))
    return checks


SUBJECT = Subject("air", "Atmosphere and moist air", run)
