"""How quick? A standing start at full throttle, the top speed on the level, the steepest start, and the pull there is.

The pull at each speed is read from short steps of the ride itself, with a cold motor and the pack at its starting
charge under lasting load; the resistances are those of the ride.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.bike.second import drives_of
from ridesim.engine.batch import Job, run_one
from ridesim.engine.codes import Channel, Limit
from ridesim.engine.gears import at_speed
from ridesim.engine.pace import by_step
from ridesim.engine.params import start_state
from ridesim.engine.state import Parameters, RoadArrays
from ridesim.errors import RideError
from ridesim.physics.pack import arrhenius_factor
from ridesim.physics.resistance import drive_force_bound, pedal_share_of_grip
from ridesim.ride.drives import each_drive
from ridesim.ride.simulate import Ride, RideOptions, as_loaded, ride_parameters, simulate
from ridesim.ride.stuck import grip_of_both
from ridesim.studies.run_up import level_road, run_up_wish, steepest_start_percent, time_to_s
from ridesim.studies.steady import Still, endless_road, load_at, still_of
from ridesim.studies.top_speed import FASTEST_KM_H, bound_name, top_speeds
from ridesim.units import from_si, to_si

TO_KM_H = (25.0, 45.0)
"""Speeds to which a start is timed: where help of both common classes ends (common practice, no source)."""
GRADES_PERCENT = (0.0, 3.0, 6.0, 10.0, 15.0, 20.0)
"""Grades whose top speed is told (guess)."""
SPRINT_M = 100.0
POINTS = 121
BEYOND_TOP = 1.25
"""The curves end at so many times the top speed (guess)."""
PROBE_S = 1e-3
"""Length of the step from which the pull at a speed is read: too short for anything to change."""
PACK_PASSES = 3
"""Steps until the slow part of the pack's voltage goes with its current."""
ENDLESS_GRIP = 1e9
"""A friction coefficient at which the tyre never slips, so that only the front wheel's lift is left."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class TimeTo:
    """Time and distance from rest to a speed; None where it is not reached."""

    speed_km_h: float
    time_s: float | None
    distance_m: float | None


@dataclass(frozen=True)
class GradeSpeed:
    """The fastest speed that the pull holds on a grade; None where it cannot move."""

    grade_percent: float
    speed_km_h: float | None
    starts: bool
    """Whether it gets away from rest there."""


@dataclass(frozen=True, eq=False, repr=False)
class Launch(Answer):
    """A standing start and the forces behind it. Arrays have the shape (speeds,), loads (grades, speeds)."""

    loaded: LoadedBuild
    run_up: Ride
    times: tuple[TimeTo, ...]
    sprint_m: float
    sprint_s: float | None
    sprint_end_km_h: float | None
    top_speed_cold_pedalled_start_charge_km_h: float
    top_speed_cold_pedalled_half_charge_km_h: float
    top_speed_settled: bool
    """Whether the bike had stopped gaining when patience ended."""
    top_speed_held_by: str
    run_up_end_km_h: float
    """The speed at which the run-up ended, its motor warm by then."""
    run_up_end_winding_temp_c: float
    """Of two different drives, as the motor's current, that nearest to its limit."""
    run_up_winding_limit_c: float
    peak_acceleration_m_per_s2: float
    peak_motor_current_a: float
    peak_pack_current_a: float
    steepest_start_percent: float
    steepest_start_held_by: str
    speeds_on_grades: tuple[GradeSpeed, ...]
    speed_km_h: Array
    motor_force_n: Array
    pedal_force_n: Array
    held_by: tuple[str, ...]
    """Per speed, the bound that holds the motor."""
    grades_percent: tuple[float, ...]
    load_n: Array
    slip_force_n: float
    """Push at which the driven tyre slips on the level; inf: never."""
    lift_force_n: float
    """Push at which the front wheel lifts on the level; inf for a front drive."""
    notes: tuple[str, ...] = field(default=())

    @property
    def pedal_takes(self) -> float:
        """How much of the motor's tyre bound each newton of the pedals takes."""
        build = self.loaded.build
        base, height = (to_si(each, "mm") for each in (build.bicycle.wheelbase_mm, build.bicycle.mass_centre_height_mm))
        return pedal_share_of_grip(build.bicycle.grip, base, height, build.drive.driven_wheel == "rear")


def launch(
    build: str | Path | Build | LoadedBuild,
    *,
    to_km_h: Sequence[float] = TO_KM_H,
    grades_percent: Sequence[float] = GRADES_PERCENT,
) -> Launch:
    """Return how a build starts, how fast it gets, and what it can pull. Raises BuildError or RideError."""
    loaded = as_loaded(build)
    speeds, grades = _checked(to_km_h, 1.0, FASTEST_KM_H, "--to"), _checked(grades_percent, 0.0, 60.0, "--grades")
    wish = run_up_wish(loaded, level_road(0.0))
    run_up = simulate(wish.loaded, wish.road, **vars(wish.options))
    ((top, half),) = top_speeds([loaded])
    still = still_of(loaded.build, loaded.build.pack.start_charge_fraction)
    at = np.linspace(0.0, min(BEYOND_TOP * max(top.speed_km_h, 10.0), FASTEST_KM_H), POINTS)
    motor, pedal, held = _pull(loaded.build, wish.options, still, at)
    p = run_up.params
    load = np.array(
        [[load_at(p, still, to_si(g, "percent"), to_si(float(v), "km_h")).resisting for v in at] for g in grades]
    )  # fmt: skip
    steepest = steepest_start_percent(run_up)
    hot = min(
        each_drive(run_up) or (run_up,), key=lambda one: one.build.motor.winding_limit_c - one.raw.end.winding_temp
    )
    slip, lift = tyre_bounds(loaded.build)
    if p.second is not None:
        slip, lift = _bounds_of_both(loaded.build, p, p.second, lift)
    return Launch(
        loaded=loaded,
        run_up=run_up,
        times=tuple(_time_to(run_up, speed) for speed in speeds),
        sprint_m=SPRINT_M,
        sprint_s=_at_distance(run_up, Channel.TIME),
        sprint_end_km_h=_sprint_speed(run_up),
        top_speed_cold_pedalled_start_charge_km_h=top.speed_km_h,
        top_speed_cold_pedalled_half_charge_km_h=half.speed_km_h,
        top_speed_settled=top.settled and half.settled,
        top_speed_held_by=top.held_by,
        run_up_end_km_h=from_si(run_up.raw.end.speed, "km_h"),
        run_up_end_winding_temp_c=hot.raw.end.winding_temp,
        run_up_winding_limit_c=hot.build.motor.winding_limit_c,
        peak_acceleration_m_per_s2=_peak_acceleration(run_up),
        peak_motor_current_a=float(hot.trace["motor_current_high_a"].max()),
        peak_pack_current_a=run_up.figures.peak_pack_current_a,
        steepest_start_percent=steepest,
        steepest_start_held_by=_start_held_by(held[0], motor[0] + pedal[0], min(slip, lift), slip < lift),
        speeds_on_grades=tuple(
            _grade_speed(g, at, motor + pedal - row, steepest) for g, row in zip(grades, load, strict=True)
        ),
        speed_km_h=at,
        motor_force_n=motor,
        pedal_force_n=pedal,
        held_by=held,
        grades_percent=grades,
        load_n=load,
        slip_force_n=slip,
        lift_force_n=lift,
        notes=(*loaded.warnings, *_notes(loaded.build)),
    )


def _checked(values: Sequence[float], low: float, high: float, where: str) -> tuple[float, ...]:
    for value in values:
        if not low <= value <= high:
            raise RideError(where, f"{value:g} is out of range (allowed {low:g} to {high:g})", "choose inside it")
    if not values:
        raise RideError(where, "no value is given", "give at least one")
    return tuple(sorted(float(value) for value in set(values)))


def _pull(build: Build, options: RideOptions, still: Still, at: Array) -> tuple[Array, Array, tuple[str, ...]]:
    """Return motor force, pedal force and the bound that holds, at each speed [km/h], each from short steps."""
    p = ride_parameters(build, options)
    road = endless_road(still, 0.0, to_si(FASTEST_KM_H, "km_h"))
    table = np.array([_probe(build, p, road, to_si(float(speed), "km_h")) for speed in at])
    held = tuple(bound_name(Limit(int(code)), p) for code in table[:, Channel.LIMIT])
    return table[:, Channel.MOTOR_FORCE], table[:, Channel.PEDAL_FORCE], held


def _probe(build: Build, p: Parameters, road: RoadArrays, speed: float) -> Array:
    """Return the trace's row of one short step at a speed [m/s]: the rotor turning, the pack under lasting load."""
    spun = 0.5 * p.rotor_inertia * (at_speed(p, speed).turned * speed) ** 2
    start = start_state(build, speed_m_per_s=speed)._replace(rotor_energy=spun)
    if p.second is not None:
        spun = 0.5 * p.second.rotor_inertia * (p.second.turned * speed) ** 2
        start = start._replace(second=start.second._replace(rotor_energy=spun))
    slow = p.polarisation_resistance * arrhenius_factor(p.slow_activation, start.pack_temp)
    row = np.zeros(0)
    for _ in range(PACK_PASSES):
        row = run_one(Job(p, road, start, by_step(PROBE_S), 1, PROBE_S), 1, PROBE_S).trace[0]
        start = start._replace(polarisation=float(row[Channel.PACK_CURRENT]) * slow)
    return row


def _time_to(run_up: Ride, speed_km_h: float) -> TimeTo:
    time = time_to_s(run_up, speed_km_h)
    if time is None:
        return TimeTo(speed_km_h, None, None)
    trace = run_up.raw.trace
    return TimeTo(speed_km_h, time, float(np.interp(time, trace[:, Channel.TIME], trace[:, Channel.DISTANCE])))


def _at_distance(run_up: Ride, channel: Channel) -> float | None:
    """Return a channel at the end of the sprint, or None if the bike did not get so far."""
    trace = run_up.raw.trace
    if trace[-1, Channel.DISTANCE] < SPRINT_M:
        return None
    return float(np.interp(SPRINT_M, trace[:, Channel.DISTANCE], trace[:, channel]))


def _sprint_speed(run_up: Ride) -> float | None:
    speed = _at_distance(run_up, Channel.SPEED)
    return None if speed is None else from_si(speed, "km_h")


def _peak_acceleration(run_up: Ride) -> float:
    trace = run_up.raw.trace
    speed, time = np.concatenate(([0.0], trace[:, Channel.SPEED])), np.concatenate(([0.0], trace[:, Channel.TIME]))
    return float(np.max(np.diff(speed) / np.maximum(np.diff(time), PROBE_S)))


def _start_held_by(first: str, push: float, bound: float, slips: bool) -> str:
    if push >= 0.999 * bound:
        return "grip" if slips else "front_lift"
    return first


def _grade_speed(grade: float, at: Array, spare: Array, steepest_start: float) -> GradeSpeed:
    """Return the fastest speed at which the pull still meets the resistance."""
    starts = grade <= steepest_start
    above = np.flatnonzero(spare >= 0.0)
    if not above.size:
        return GradeSpeed(grade, None, starts)
    last = int(above[-1])
    if last == len(at) - 1:
        return GradeSpeed(grade, float(at[-1]), starts)
    share = spare[last] / (spare[last] - spare[last + 1])
    return GradeSpeed(grade, float(at[last] + share * (at[last + 1] - at[last])), starts)


def tyre_bounds(build: Build) -> tuple[float, float]:
    """Return the pushes at which the driven tyre slips and at which the front wheel lifts, on the level [N]."""
    bicycle, rear = build.bicycle, build.drive.driven_wheel == "rear"
    base, height = to_si(bicycle.wheelbase_mm, "mm"), to_si(bicycle.mass_centre_height_mm, "mm")
    ahead = to_si(bicycle.mass_centre_ahead_mm, "mm")
    both = drive_force_bound(bicycle.grip, build.mass_kg, 1.0, base, height, ahead, rear)
    lift = drive_force_bound(ENDLESS_GRIP, build.mass_kg, 1.0, base, height, ahead, True) if rear else math.inf
    return (both if both < lift else math.inf), lift


def _bounds_of_both(build: Build, p: Parameters, q: Parameters, lift: float) -> tuple[float, float]:
    """Return the pushes of both drives together at which they slip, and at which the front wheel lifts [N]."""
    wheels = {drive.drive.driven_wheel for drive in drives_of(build)}
    both = grip_of_both(p, q)
    if wheels == {"rear"}:
        return (both if both < lift else math.inf), lift
    return both, math.inf


def _notes(build: Build) -> tuple[str, ...]:
    charge = build.pack.start_charge_fraction
    notes = [
        f"All in still air, the rider pedalling {build.rider.power_w:g} W along. Top speed, pull and steepest "
        f"start: motor cold, pack held at {charge:.0%} of charge, or as said. The standing start begins so, and warms.",
        "Local law decides what speed and power may be used on a public road.",
    ]
    if build.second is not None:
        notes.append("Two different drives push together; what holds the pull is told of the first one.")
    if build.controller.throttle_law == "assist":
        notes.append("The assist law has no throttle: the motor gives what the pedals call for, as on any ride.")
    return tuple(notes)
