"""Standard atmosphere and moist air against their tables."""

from __future__ import annotations

from ridesim.evidence.checks import Check, Kind, Subject, near
from ridesim.road.air import (
    AIR_GAS_CONSTANT_J_PER_KG_K,
    air_density,
    pressure_pa,
    saturation_pressure_pa,
    standard_temperature_k,
)

ISO = "ISO 2533:1975, table; by two general-purpose libraries (ambiance 1.3.1, fluids 1.3.1)"
CIPM = "CIPM-2007: Picard et al. (2008), Metrologia 45:149-155, 400 ppm CO2"

# geometric altitude m; temperature K, pressure Pa, density kg/m3
ATMOSPHERE = (
    (-500, "291.400", "107478.0", "1.284895"), (0, "288.150", "101325", "1.225000"),
    (500, "284.900", "95461.3", "1.167273"), (1000, "281.651", "89876.3", "1.111660"),
    (1500, "278.402", "84559.7", "1.058104"), (2000, "275.154", "79501.4", "1.006554"),
    (2500, "271.906", "74691.7", "0.956954"), (3000, "268.659", "70121.1", "0.909254"),
    (4000, "262.166", "61660.4", "0.819347"),
)  # fmt: skip

# degC, Pa, relative humidity; kg/m3
MOIST = (
    (20, 101325, 0.5, "1.199314"), (15, 101325, 0.0, "1.225521"), (20, 101325, 0.0, "1.204557"),
    (20, 101325, 1.0, "1.194087"), (25, 101325, 0.5, "1.177315"), (30, 101325, 0.8, "1.150012"),
    (0, 101325, 0.5, "1.291578"), (40, 101325, 0.5, "1.111945"), (20, 90000, 0.5, "1.064638"),
    (30, 80000, 0.3, "0.914009"), (-10, 101325, 0.0, "1.342373"),
)  # fmt: skip


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of the atmosphere."""
    checks = []
    for altitude, kelvin, pascal, density in ATMOSPHERE:
        where = f"standard atmosphere at {altitude} m"
        ours = float(pressure_pa(altitude)), float(standard_temperature_k(altitude))
        checks += [
            near(f"{where}: temperature", ours[1], kelvin, "K", ISO, Kind.LIBRARY),
            near(f"{where}: pressure", ours[0], pascal, "Pa", ISO, Kind.LIBRARY, within=0.06),
            near(
                f"{where}: density", ours[0] / (AIR_GAS_CONSTANT_J_PER_KG_K * ours[1]), density, "kg/m³", ISO,
                Kind.LIBRARY, within=1e-6,
            ),
        ]  # fmt: skip
    for celsius, given_pa, humidity, density in MOIST:
        name = f"moist air at {celsius} °C, {given_pa / 100:g} hPa, {humidity:.0%} humidity"
        ours_density = float(air_density(given_pa, celsius, humidity))
        checks.append(near(name, ours_density, density, "kg/m³", CIPM, Kind.CLOSED_FORM))
    for celsius, pascal in ((20, "2339.163"), (25, "3169.757"), (30, "4246.799")):
        ours_pa = float(saturation_pressure_pa(celsius))
        checks.append(near(f"saturation pressure at {celsius} °C", ours_pa, pascal, "Pa", CIPM, Kind.CLOSED_FORM))
    return checks, []


SUBJECT = Subject("air", "Atmosphere and moist air", run)
