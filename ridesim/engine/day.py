"""The days of many rides over one road: air, wind, rolling and pedalling laid into its nodes, one day after another.

`params.road_arrays` makes a road for one day by the formulas of `road.air`. Here the same formulas are taken for all
days at once at a few altitudes, and a polynomial carries them to the nodes: the same numbers to 1e-11, 50 times sooner.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ridesim.bike.schema import Build
from ridesim.engine.columns import is_column
from ridesim.jit import kernel
from ridesim.road.air import LAPSE_RATE_K_PER_M, SEA_LEVEL_PRESSURE_PA, air_density, pressure_pa
from ridesim.road.profile import Road
from ridesim.units import to_si

ALTITUDES = 8
"""Altitudes at which the air's density is taken: a polynomial through them is right to 1e-11 over 4 km of climb."""
AROUND_M = 100.0
"""So far may a road's altitudes lie beyond those it was made of."""

DAY = np.dtype(
    [
        ("density", "f8", (ALTITUDES,)),  # coefficients over the scaled altitude, the constant first [kg/m3]
        ("temperature", "f8"),  # at the start [degC]
        ("wind_north", "f8"),  # from the north, at the rider [m/s]
        ("wind_east", "f8"),  # from the east [m/s]
        ("pedal_power", "f8"),  # [W]
    ]
)
"""One day, and the rider's power on it."""


class Terrain(NamedTuple):
    """What the days of a road have in common."""

    altitude: np.ndarray  # (n,) [m]
    middle: float  # of the altitudes [m]
    per_half: float  # one over half their range [1/m]
    north: np.ndarray  # cosine of the bearing, (n,)
    east: np.ndarray  # its sine, (n,)
    rolling_factor: np.ndarray  # over asphalt, (n,)
    surface: np.ndarray  # number of the surface in `surfaces_of`, (n,)


def terrain_of(road: Road) -> Terrain:
    """Return what the days of a road have in common."""
    low, high = float(road.altitude_m.min()) - AROUND_M, float(road.altitude_m.max()) + AROUND_M
    bearing = np.radians(road.bearing_deg)
    number = {kind: at for at, kind in enumerate(surfaces_of(road))}
    return Terrain(
        altitude=np.ascontiguousarray(road.altitude_m, dtype=np.float64),
        middle=0.5 * (low + high),
        per_half=2.0 / (high - low),
        north=np.cos(bearing),
        east=np.sin(bearing),
        rolling_factor=np.ascontiguousarray(road.rolling_factor, dtype=np.float64),
        surface=np.array([number[kind] for kind in road.surface], dtype=np.int64),
    )


def surfaces_of(road: Road) -> tuple[str, ...]:
    """Return the kinds of surface of a road, in the order of their numbers."""
    return tuple(sorted(set(road.surface)))


def days_of(build: Build, terrain: Terrain, rows: int) -> np.ndarray:
    """Return the day of every row, (rows,) of DAY; numbers of the build may be columns."""
    weather = build.weather
    days = np.recarray(rows, dtype=DAY)
    days["temperature"], days["pedal_power"] = weather.temperature_c, build.rider.power_w
    speed = to_si(weather.wind_speed_km_h, "km_h") * weather.wind_exposure
    days["wind_north"] = speed * np.cos(np.radians(weather.wind_from_deg))
    days["wind_east"] = speed * np.sin(np.radians(weather.wind_from_deg))
    scaled = np.cos(np.pi * (np.arange(ALTITUDES) + 0.5) / ALTITUDES)  # Chebyshev's points
    altitude = terrain.middle + scaled / terrain.per_half
    celsius = days["temperature"][:, None] + LAPSE_RATE_K_PER_M * (altitude - terrain.altitude[0])
    level = to_si(np.atleast_1d(weather.sea_level_pressure_hpa), "hpa") / SEA_LEVEL_PRESSURE_PA
    humidity = to_si(np.atleast_1d(weather.relative_humidity_percent), "percent")
    density = air_density(pressure_pa(altitude) * level[:, None], celsius, humidity[:, None])
    days["density"] = density @ np.linalg.inv(np.vander(scaled, increasing=True)).T
    return days


def is_one_day(build: Build) -> bool:
    """Return whether all rows of a build with columns ride on the same day, with the same power."""
    weather = build.weather
    moved = (
        weather.temperature_c, weather.wind_speed_km_h, weather.wind_exposure, weather.wind_from_deg,
        weather.sea_level_pressure_hpa, weather.relative_humidity_percent, build.rider.power_w,
        build.tyre.rolling_resistance,
    )  # fmt: skip
    return not any(is_column(each) for each in moved)


@kernel
def lay_day(
    nodes: np.ndarray, terrain: Terrain, altitude: np.ndarray, day: np.record, rolling: np.ndarray, lapse: float
) -> None:
    """Lay one day into a road's nodes, in place.

    `altitude` (n,) is the road's on that day [m]; `rolling` the coefficient on asphalt by the number of the surface,
    (surfaces,); `lapse` how the air's temperature changes with altitude [K/m].
    """
    c = day.density
    north, east = day.wind_north, day.wind_east
    for at in range(nodes.size):
        z = (altitude[at] - terrain.middle) * terrain.per_half
        node = nodes[at]
        node.air_density = c[0] + z * (c[1] + z * (c[2] + z * (c[3] + z * (c[4] + z * (c[5] + z * (c[6] + z * c[7]))))))
        node.air_temp = day.temperature + lapse * (altitude[at] - altitude[0])
        node.headwind = north * terrain.north[at] + east * terrain.east[at]
        node.crosswind = east * terrain.north[at] - north * terrain.east[at]
        node.rolling = terrain.rolling_factor[at] * rolling[terrain.surface[at]]
        node.pedal_power = day.pedal_power
