"""A run-up: full throttle from rest on the level in still air, and what it tells: time to a speed, steepest start."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.engine.state import Channel, Parameters
from ridesim.physics.resistance import steepest_grade
from ridesim.ride.simulate import Ride
from ridesim.ride.stuck import grip_of_both
from ridesim.road.made import make_flat
from ridesim.road.profile import Road
from ridesim.studies.many import Wish
from ridesim.studies.top_speed import full_pull
from ridesim.units import from_si, to_si

RUN_UP_M = 3000.0
"""Level road on which every bike of this kind has reached its top speed (guess)."""
RUN_UP_H = 0.2
RECORD_EVERY_S = 0.1


def level_road(altitude_m: float) -> Road:
    """Return the level road of a run-up at an altitude."""
    return make_flat(RUN_UP_M, altitude_m=altitude_m, name="run-up")


def run_up_wish(loaded: LoadedBuild, level: Road) -> Wish:
    """Return the run-up of a build: all the throttle there is, the rider pedalling, no wind."""
    pull = replace(full_pull(loaded.build), record_every_s=RECORD_EVERY_S, time_limit_h=RUN_UP_H)
    return Wish(in_still_air(loaded), level, pull, trace=True)


def in_still_air(loaded: LoadedBuild) -> LoadedBuild:
    """Return a build on a day without wind."""
    return replace_keys(loaded, {"weather.wind_speed_km_h": 0.0}) if loaded.build.weather.wind_speed_km_h else loaded


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

    The push holds on the hill as on the level, but for grip and front lift, which fall with cos(theta).
    Source: `physics.resistance.steepest_grade`.
    """
    p: Parameters = run_up.params
    first = run_up.raw.trace[0]
    pedal = float(first[Channel.PEDAL_FORCE])
    push = float(first[Channel.MOTOR_FORCE]) + pedal - float(first[Channel.BEARING_FORCE])
    grip = p.drive_grip if p.second is None else grip_of_both(p, p.second)
    return from_si(steepest_grade(push, pedal, p.mass, p.crr, grip, p.pedal_share), "percent")
