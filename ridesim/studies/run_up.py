"""A run-up: full throttle from rest on the level, and what it tells: top speed, time to a speed, steepest start."""

from __future__ import annotations

import math

import numpy as np

from ridesim.bike.load import LoadedBuild
from ridesim.engine.state import Channel, Parameters, Total
from ridesim.physics.resistance import GRAVITY
from ridesim.ride.simulate import Ride, RideOptions
from ridesim.road.made import make_flat
from ridesim.road.profile import Road
from ridesim.studies.many import Wish
from ridesim.units import from_si, to_si

RUN_UP_M = 3000.0
"""Level road on which every bike of this kind has reached its top speed (guess)."""
RUN_UP_H = 0.2
RECORD_EVERY_S = 0.1


def level_road(altitude_m: float) -> Road:
    """Return the level road of a run-up at an altitude."""
    return make_flat(RUN_UP_M, altitude_m=altitude_m, name="run-up")


def run_up_wish(loaded: LoadedBuild, level: Road) -> Wish:
    """Return the run-up of a build: throttle held full, the rider pedalling."""
    flat_out = RideOptions(throttle=1.0, record_every_s=RECORD_EVERY_S, time_limit_h=RUN_UP_H)
    return Wish(loaded, level, flat_out, trace=True)


def top_speed_km_h(run_up: Ride) -> float:
    """Return the highest speed of a run-up [km/h]."""
    return from_si(run_up.raw.total(Total.TOP_SPEED), "km_h")


def time_to_s(run_up: Ride, speed_km_h: float) -> float | None:
    """Return the time from rest to a speed [s], straight between the trace's rows; None if it is not reached."""
    rows, speed = run_up.raw.trace, to_si(speed_km_h, "km_h")
    speeds, times = rows[:, Channel.SPEED], rows[:, Channel.TIME]
    reached = np.flatnonzero(speeds >= speed)
    if reached.size == 0:
        return None
    after = int(reached[0])
    if after == 0:
        return float(times[0] * speed / speeds[0])
    before = after - 1
    share = (speed - speeds[before]) / (speeds[after] - speeds[before])
    return float(times[before] + share * (times[after] - times[before]))


def steepest_start_percent(run_up: Ride) -> float:
    """Return the steepest grade on which a bike gets away from rest [%], from the push in the first step of a run-up.

    The push holds on the hill as on the level, but for grip and front lift, which fall with cos(theta):
    `F = m g (sin(theta) + C_rr cos(theta))`.
    """
    p: Parameters = run_up.params
    first = run_up.raw.trace[0]
    push = float(first[Channel.MOTOR_FORCE] + first[Channel.PEDAL_FORCE] - first[Channel.BEARING_FORCE])
    weight = p.mass * GRAVITY
    share = min(push / (weight * math.hypot(1.0, p.crr)), 1.0)
    by_push = math.asin(share) - math.atan(p.crr)
    by_grip = math.atan(p.drive_grip / weight - p.crr)
    return from_si(math.tan(max(min(by_push, by_grip), 0.0)), "percent")
