"""The balance of forces along a log: what the motor gives at the wheel against what road, air and inertia take.

Second by second, by the project's own resistance kernels; judged as means over half a minute, because an altitude that
steps by 0.2 m is 20 to 40 W over 30 s. Source of the road equation: Martin et al. (1998), J. Appl. Biomech. 14:276-291.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.schema import Build
from ridesim.engine.state import Parameters
from ridesim.learn.driven import Driven, averaged
from ridesim.learn.follow import Followed
from ridesim.learn.road_load import ALTITUDE_SMOOTHING_S, HUMIDITY, wheel_power
from ridesim.road.air import air_density, pressure_pa
from ridesim.road.smooth import smoothed

SECOND = 1.0
WINDOW_S = 30.0
LEAST_WINDOW_S = 15.0
SPEED_SMOOTHING_S = 3.0
HEADING_SMOOTHING_S = 10.0
LEAST_SPEED = 1.5
"""Slower than this the balance says little: feet, kerbs, walking [m/s] (guess)."""
BRAKING = 0.2
BRAKING_LOOK_S = 5.0
"""Slowing by more than the first [m/s2] than all that is known explains, over the second, is a friction brake: twenty
times the noise of a speed rounded to 0.1 km/h over that time, a seventh of a gentle stop (guess)."""
EDGE_S = 2
LAGS_S = (-5.0, 10.0, 1.0)
"""Altitude lags looked at: barometers in recorders are filtered."""

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Way:
    """A log's motion second by second, (n,), SI, with the altitude read `lag_s` later than it was recorded for."""

    speed: Array
    acceleration: Array
    altitude: Array
    rise: Array
    density: Array
    east: Array
    north: Array
    pedal: Array
    """Pedal power logged [W], nan where it is not."""
    usable: Mask
    heading: bool
    per_second: int
    step_s: float
    lag_s: float


def way_of(driven: Driven, lag_s: float = 0.0) -> Way | None:
    """Return the way of a log, or None where no altitude is logged."""
    if "altitude_m" not in driven.measured:
        return None
    per = max(1, round(SECOND / driven.step_s))
    speed = averaged(np.where(driven.known, driven.speed, np.nan), per)
    height = averaged(driven.measured["altitude_m"], per)
    known = np.isfinite(speed) & np.isfinite(height)
    if known.sum() < 4 * WINDOW_S:
        return None
    step = driven.step_s * per
    speed = smoothed(_drawn(speed), step, SPEED_SMOOTHING_S)
    raw = _drawn(height)
    time = np.arange(len(raw)) * step
    altitude = smoothed(np.interp(time + lag_s, time, raw), step, ALTITUDE_SMOOTHING_S)
    air = averaged(driven.air_c, per)
    east, north, heading = _heading(driven, per, step)
    pedal = averaged(driven.measured.get("pedal_power_w", np.full(driven.count, np.nan)), per)
    usable = known & (speed > LEAST_SPEED) & _away_from_gaps(known, round(ALTITUDE_SMOOTHING_S / step))
    if "cadence_rpm" in driven.measured and "pedal_power_w" not in driven.measured:
        turning = averaged(driven.measured["cadence_rpm"], per)
        usable &= ~(np.nan_to_num(turning) > 0.0)
    return Way(
        speed, np.gradient(speed, step), altitude, np.gradient(altitude, step),
        air_density(pressure_pa(altitude), air, HUMIDITY), east, north, pedal, usable, heading, per, step, lag_s,
    )  # fmt: skip


def _drawn(values: Array) -> Array:
    known = np.flatnonzero(np.isfinite(values))
    return np.interp(np.arange(len(values)), known, values[known])


def _away_from_gaps(known: Mask, reach: int) -> Mask:
    """Return where the record is whole for `reach` seconds on both sides: smoothing must not reach into a gap."""
    near = np.convolve((~known).astype(float), np.ones(2 * reach + 1), mode="same") > 0.5
    return np.asarray(~near)


def _heading(driven: Driven, per: int, step: float) -> tuple[Array, Array, bool]:
    count = driven.count // per
    if not {"latitude_deg", "longitude_deg"} <= set(driven.measured):
        return np.zeros(count), np.zeros(count), False
    latitude, longitude = (averaged(driven.measured[name], per) for name in ("latitude_deg", "longitude_deg"))
    if np.isfinite(latitude).sum() < 4 * WINDOW_S or np.isfinite(longitude).sum() < 4 * WINDOW_S:
        return np.zeros(count), np.zeros(count), False
    latitude, longitude = _drawn(latitude), _drawn(longitude)
    east = smoothed(np.gradient(longitude) * np.cos(np.radians(latitude)), step, HEADING_SMOOTHING_S)
    north = smoothed(np.gradient(latitude), step, HEADING_SMOOTHING_S)
    length = np.maximum(np.hypot(east, north), LEAST_DEG)
    return east / length, north / length, True


LEAST_DEG = 1e-12
"""Degrees a second: a bike at rest stays below, one that walks is far above."""


@dataclass(frozen=True)
class Air:
    """The wind at rider height, as motion of the air [m/s]."""

    east: float = 0.0
    north: float = 0.0


def motor_power(params: Parameters, driven: Driven, followed: Followed, per: int) -> Array:
    """Return what the motor gives at the wheel, second by second [W]; braking is negative."""
    torque = followed.torque_nm
    driving = (torque - params.stage_drag_driving) * params.driving_gain
    braking = np.minimum((torque - params.stage_drag_braking) * params.braking_gain, 0.0)
    force = np.where(torque >= params.stage_drag_driving, driving, braking)
    if params.freewheel:
        force = np.maximum(force, 0.0)
    return averaged(force * driven.speed, per)


def asked_power(params: Parameters, way: Way, air: Air) -> Array:
    """Return what road, air and inertia ask at the wheel, second by second [W]."""
    out = np.empty_like(way.speed)
    added = (params.mass_coasting if params.freewheel else params.mass_driving) - params.mass
    wheel_power(
        way.speed, way.rise, way.acceleration, way.density, way.east, way.north, params.drag_area, params.crr,
        params.mass, added, air.east, air.north, out,
    )  # fmt: skip
    return out


def pedal_power(build: Build, way: Way, power_w: float, motor: Array) -> Array:
    """Return what the rider gives at the wheel [W]: the logged power, else a steady one while the motor drives.

    Nobody pedals against a motor that brakes. Where it neither drives nor brakes, a rider who pedals at all may give
    anything up to his power: `pedalling_known` leaves those seconds out. He begins gradually: were it a switch, one
    second that crosses it would be a slope that drowns all others of a fit.
    """
    steady = power_w * np.clip(0.5 + (motor - DRIVES_W) / DRIVES_W, 0.0, 1.0)
    return np.where(np.isfinite(way.pedal), way.pedal, steady) * build.rider.chain_efficiency


def pedalling_known(way: Way, power_w: float, motor: Array) -> Mask:
    """Return the seconds in which the rider's power is known: logged, stated, or none."""
    return np.asarray(np.isfinite(way.pedal) | (power_w == 0.0) | (np.abs(motor) > DRIVES_W))


BRAKES_BELOW_W = 150.0
"""Power at the wheel above which nobody brakes: a throttle that is let go late still gives less (guess)."""
DRIVES_W = 30.0
"""Power of the motor at the wheel from which it drives or brakes (guess)."""


def free_of_brakes(way: Way, params: Parameters, given: Array, asked: Array) -> Mask:
    """Return the usable seconds without a friction brake: nothing slows the bike more than is known.

    Nobody brakes while he drives: a head wind that nobody logged slows a driven bike as a brake would.
    """
    missing = smoothed(asked - given, way.step_s, BRAKING_LOOK_S)
    driven = smoothed(given, way.step_s, BRAKING_LOOK_S) > BRAKES_BELOW_W
    brakes = (missing < -BRAKING * params.mass * way.speed) & ~driven
    near = np.convolve(brakes.astype(float), np.ones(2 * EDGE_S + 1), mode="same") > 0.5
    return np.asarray(way.usable & ~near)


def braked_while_driving(params: Parameters, way: Way, given: Array, motor: Array) -> float:
    """Return in which share of the seconds that the motor drives a brake would have to hold the bike back.

    Nobody brakes against his motor: on the road of the log it is next to none of the time. nan where it hardly drives.
    """
    missing = smoothed(asked_power(params, way, Air()) - given, way.step_s, BRAKING_LOOK_S)
    driving = way.usable & (smoothed(motor, way.step_s, BRAKING_LOOK_S) > DRIVES_W)
    if driving.sum() * way.step_s < 4.0 * WINDOW_S:
        return float("nan")
    return float((missing < -BRAKING * params.mass * way.speed)[driving].mean())


def windows(mask: Mask, step_s: float) -> tuple[NDArray[np.int64], Array]:
    """Return the window of each step (-1: none) and how much good time each window has [s]."""
    number = (np.arange(len(mask)) * step_s / WINDOW_S).astype(np.int64)
    seconds = step_s * np.bincount(number, mask.astype(float)).astype(np.float64)
    return np.where(mask, number, -1).astype(np.int64), seconds


def window_means(values: Array, of: NDArray[np.int64], seconds: Array) -> Array:
    """Return means of a per-second column over windows; nan where a window is empty."""
    inside = of >= 0
    total = np.bincount(of[inside], values[inside], minlength=len(seconds))
    count = np.bincount(of[inside], minlength=len(seconds))
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def best_lag(driven: Driven, build: Build, params: Parameters, followed: Followed) -> float:
    """Return the altitude lag [s] at which the balance closes best, drags and pedalling fitted for each lag."""
    least, most, step = LAGS_S
    found: list[tuple[float, float]] = []
    for lag in np.arange(least, most + 0.5 * step, step):
        way = way_of(driven, float(lag))
        if way is None:
            return 0.0
        found.append((_misfit(way, build, params, motor_power(params, driven, followed, way.per_second)), float(lag)))
    cost, lag = min(found)
    still = next(each for each, at in found if at == 0.0)
    return lag if cost < MUCH_BETTER * still else 0.0


MUCH_BETTER = 0.98
"""A lag must lower the misfit by 2 % to be believed (guess): on level roads no lag shows."""


def _misfit(way: Way, build: Build, params: Parameters, motor: Array) -> float:
    """Return the mean absolute error of the balance with drags, pedalling and the motor's gain fitted, linearly."""
    bare = asked_power(params._replace(drag_area=0.0, crr=0.0), way, Air())
    columns = [
        asked_power(params._replace(drag_area=1.0, crr=0.0), way, Air()) - bare,
        asked_power(params._replace(drag_area=0.0, crr=1.0), way, Air()) - bare,
        -pedal_power(build, way, 1.0, motor),
        -motor,
    ]
    power = build.rider.power_w
    given = motor + pedal_power(build, way, power, motor)
    mask = free_of_brakes(way, params, given, asked_power(params, way, Air())) & pedalling_known(way, power, motor)
    of, seconds = windows(mask, way.step_s)
    full = seconds >= LEAST_WINDOW_S
    if full.sum() < 8:
        return float("inf")
    x = np.column_stack([window_means(each, of, seconds)[full] for each in columns])
    y = window_means(-bare, of, seconds)[full]
    scale = np.maximum(np.abs(x).max(axis=0), 1e-9)
    solution, *_ = np.linalg.lstsq(x / scale, y, rcond=None)
    return float(np.mean(np.abs(y - x / scale @ solution)))


def lagged(way: Way, driven: Driven, lag_s: float) -> Way:
    """Return the way with another altitude lag."""
    found = way_of(driven, lag_s)
    return found if found is not None else replace(way, lag_s=lag_s)
