"""What the road and the air ask of the pedals, second by second, by the project's own resistance kernels."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.jit import kernel
from ridesim.learn.ride_log import RideLog, Stretch
from ridesim.physics.resistance import air_drag, bearing_drag, grade_force, rolling_drag
from ridesim.road.air import air_density, pressure_pa
from ridesim.road.smooth import smoothed

BLOCK_S = 300
ALTITUDE_SMOOTHING_S = 15.0
"""Width at half height of the Gaussian over altitude: a barometer steps by 0.2 to 0.4 m, which over 15 s is 15 to 25 W;
a quarter of the 60 s means that are judged (guess)."""
BRAKING_LOOK_S = 5.0
BRAKING_M_PER_S2 = 0.1
"""Slowing by more than this beyond what air, road and grade explain, over the first, is braking: about three times the
noise of a 1 Hz recording, a tenth of a gentle stop (guess)."""
STEEPEST_SINE = 0.5
HUMIDITY = 0.5
"""Relative humidity, unknown in a recording: between dry and wet air at 20 °C lies 0.9 % of density."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class RoadLoad:
    """What a log is fitted for. The wind is the motion of the air at rider height."""

    drag_area_m2: float
    rolling_resistance: float
    wind_east_m_per_s: float = 0.0
    wind_north_m_per_s: float = 0.0

    @property
    def wind_speed_m_per_s(self) -> float:
        """Speed of the wind at rider height."""
        return math.hypot(self.wind_east_m_per_s, self.wind_north_m_per_s)

    @property
    def wind_from_deg(self) -> float:
        """Where it blows from, clockwise from north."""
        return math.degrees(math.atan2(-self.wind_east_m_per_s, -self.wind_north_m_per_s)) % 360.0


@dataclass(frozen=True)
class Machine:
    """Rider and bike as far as a log needs them."""

    mass_kg: float
    wheels_kg: float
    wheel_drag_area_m2: float
    chain_efficiency: float


@dataclass(frozen=True, eq=False)
class Motion:
    """All trusted seconds of a log in one line, (n,), with altitude read `lag_s` later than it was recorded for."""

    time_s: Array
    speed: Array
    rise: Array
    acceleration: Array
    density: Array
    east: Array
    north: Array
    power: Array
    altitude: Array
    stretch: NDArray[np.int64]
    block: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Windows:
    """Seconds gathered into means: `of` names each second's window; `block` and `seconds` are a window's, (m,)."""

    of: NDArray[np.int64]
    seconds: Array
    block: NDArray[np.int64]
    power: Array

    def mean(self, values: Array) -> Array:
        """Return the mean of a per-second column over each window."""
        return np.bincount(self.of, values, len(self.seconds)) / self.seconds


def motion_of(log: RideLog, lag_s: float, reach_s: tuple[float, float] | None = None) -> Motion:
    """Return the trusted seconds of a log; blocks of five minutes follow the riding clock.

    Seconds are left out whose altitude would lie beyond a stretch's ends; `reach_s`, least and most, leaves out those
    that any lag between would lose, so that lags can be compared.
    """
    reach = (lag_s, lag_s) if reach_s is None else reach_s
    parts, ridden = [], 0
    for number, stretch in enumerate(log.stretches):
        parts.append(_columns(stretch, lag_s, reach, number, ridden))
        ridden += int(stretch.riding.sum())
    columns = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return Motion(**columns)


def _columns(
    stretch: Stretch, lag_s: float, reach_s: tuple[float, float], number: int, ridden: int
) -> dict[str, NDArray]:
    time = stretch.time_s
    altitude = smoothed(np.interp(time + lag_s, time, stretch.altitude), 1.0, ALTITUDE_SMOOTHING_S)
    known = stretch.riding & stretch.trusted & (time + reach_s[1] <= time[-1]) & (time + reach_s[0] >= time[0])
    columns = {
        "time_s": time,
        "speed": stretch.speed,
        "rise": np.gradient(altitude),
        "acceleration": stretch.acceleration,
        "density": air_density(pressure_pa(altitude), stretch.temperature_c, HUMIDITY),
        "east": stretch.east,
        "north": stretch.north,
        "power": stretch.power,
        "altitude": altitude,
        "stretch": np.full(len(time), number),
        "block": (ridden + np.cumsum(stretch.riding)) // BLOCK_S,
    }
    return {name: values[known] for name, values in columns.items()}


def windows_of(motion: Motion, length_s: int) -> Windows:
    """Return windows of up to `length_s` seconds of riding that cross neither a silence nor a block's edge."""
    fresh = np.flatnonzero((np.diff(motion.stretch) != 0) | (np.diff(motion.block) != 0)) + 1
    start = np.zeros(len(motion.speed), dtype=np.int64)
    start[fresh] = fresh
    within = np.arange(len(start)) - np.maximum.accumulate(start)
    number = np.cumsum(within % length_s == 0) - 1
    seconds = np.bincount(number).astype(np.float64)
    block = np.zeros(len(seconds), dtype=np.int64)
    block[number] = motion.block
    return Windows(number, seconds, block, np.bincount(number, motion.power) / seconds)


def pedal_power(motion: Motion, load: RoadLoad, machine: Machine) -> Array:
    """Return the power asked of the pedals each second [W]; none where the bike brakes."""
    wheel = np.empty_like(motion.speed)
    wheel_power(
        motion.speed, motion.rise, motion.acceleration, motion.density, motion.east, motion.north,
        load.drag_area_m2 + machine.wheel_drag_area_m2, load.rolling_resistance, machine.mass_kg, machine.wheels_kg,
        load.wind_east_m_per_s, load.wind_north_m_per_s, wheel,
    )  # fmt: skip
    return np.where(brakes(motion, wheel, machine), 0.0, wheel) / machine.chain_efficiency


def braking_seconds(motion: Motion, load: RoadLoad, machine: Machine) -> NDArray[np.bool_]:
    """Return where the bike brakes: it slows more than air, road and grade explain. No power reading is looked at."""
    return pedal_power(motion, load, machine) == 0.0


def brakes(motion: Motion, wheel_power: Array, machine: Machine) -> NDArray[np.bool_]:
    """Return the seconds whose smoothed demand at the wheel is a braking one."""
    return smoothed(wheel_power, 1.0, BRAKING_LOOK_S) < -BRAKING_M_PER_S2 * machine.mass_kg * motion.speed


@kernel
def wheel_power(
    speed: Array, rise: Array, acceleration: Array, density: Array, east: Array, north: Array,
    drag_area: float, crr: float, mass: float, wheels: float, wind_east: float, wind_north: float, out: Array,
) -> None:  # fmt: skip
    """Write the power at the wheel [W] of each second into `out`, from speed and rise [m/s] and density [kg/m3].

    `wheels`: what they add to the mass by turning [kg]; wind in m/s, drag area in m2. Source: Martin et al. (1998).
    """
    for i in range(speed.size):
        v = speed[i]
        head = -(wind_east * east[i] + wind_north * north[i])
        cross = wind_north * east[i] - wind_east * north[i]
        sine = min(max(rise[i] / max(v, 1.0), -STEEPEST_SINE), STEEPEST_SINE)
        force = air_drag(density[i], drag_area, v, head, cross) + rolling_drag(crr, mass, math.sqrt(1.0 - sine * sine))
        force += bearing_drag(v) + (mass + wheels) * acceleration[i]
        out[i] = force * v + grade_force(mass, rise[i])
