"""The ride's own step along a log's road: driven by the hand on its throttle, or by its speed alone.

No second physics: each step is `engine.step.step_here`, with the controller's law and all its bounds. The road is the
log's, at the log's own place: a model that rides faster than the bike did does not reach the hill earlier. Where the
throttle is let go, the rider brakes as hard as it takes to be no faster than he was. Legend as in `engine/step`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.schema import Build
from ridesim.engine.circuit import circuit_of, fade_over, motor_now
from ridesim.engine.params import start_state
from ridesim.engine.state import STOP, Fade, Here, Outcome, Parameters, Pull, RoadArrays, State, as_record
from ridesim.engine.step import step_here
from ridesim.errors import LogError
from ridesim.jit import inner_kernel, kernel
from ridesim.learn.balance import Way
from ridesim.learn.driven import Driven
from ridesim.learn.follow import Followed, Start
from ridesim.learn.throttle import CLOSED
from ridesim.physics import motor
from ridesim.road.air import air_density, pressure_pa, wind_along_and_across
from ridesim.road.smooth import smoothed
from ridesim.units import from_si, to_si

LONGEST_STEP_S = 0.25
"""Longer steps of a log are cut: with a quarter of a second no current moves by more than a sensor's error (guess)."""
SLACK = 0.1
"""Faster than the log by less than this [m/s] is not braked: three times the rounding of a speed to 0.1 km/h."""
SPEED_WIDTH_S = 2.0
"""Width over which a logged speed is smoothed where it is the plan (guess)."""
GRID_M, WIDTH_M, STEEPEST_SINE = 5.0, 50.0, 0.5
"""Altitude is laid on an even grid, and smoothed over the second: steps of 0.2 m leave a slope of 0.3 % (guess)."""
STANDS = 0.3
"""A logged speed below it [m/s] is a bike at rest, which its brake or a foot holds (guess)."""
FOLLOWS = -1.0
"""The throttle of a driver who follows a speed."""

Array = NDArray[np.float64]
LAWS = ("torque", "voltage")
"""Throttle laws under which a throttle's place alone says what it asks for."""


class Along(NamedTuple):
    """What meets the bike at each reading of a log, (n,), SI; `throttle` < 0: the speed is followed."""

    throttle: Array
    speed: Array
    acceleration: Array
    sine: Array
    density: Array
    air_c: Array
    headwind: Array
    crosswind: Array
    pedal: Array
    known: NDArray[np.bool_]
    rolling: float


def refuse_law(where: str, build: Build) -> None:
    """Raise LogError for a build whose throttle's place does not say what it asks for."""
    law = build.controller.throttle_law
    if law not in LAWS:
        asks = "a speed that no key of the build names" if law == "governor" else "nothing: the pedals ask"
        what = f"a throttle asks for {asks} (controller.throttle_law is {law})"
        raise LogError(where, what, "replay it --by current or --by speed")


def ride_along(build: Build, params: Parameters, driven: Driven, way: Way | None, start: Start) -> Followed:
    """Return what a bike does under a log's throttle, or its speed (`driven.by`), on the road `way` (None: level)."""
    out = np.empty((len(ROWS), driven.count))
    state = start_state(build)._replace(
        charge=float(start.charge), winding_temp=float(start.winding_c), body_temp=float(start.body_c),
        controller_temp=float(start.controller_c), pack_temp=float(start.pack_c),
    )  # fmt: skip
    _ride(as_record(params), _no_road(), along_of(build, driven, way), driven.step_s, state, out)
    found = dict(zip(ROWS, out, strict=True))
    found["speed_km_h"] = np.asarray(from_si(found["speed_km_h"], "km_h"))
    return Followed(**found)


ROWS = tuple(Followed.__dataclass_fields__)


def _no_road() -> RoadArrays:
    """Return a road without stops; the step reads nothing else of it."""
    return RoadArrays(1.0, 1.0, np.empty(0), np.recarray(0, dtype=STOP), 1.0, np.empty(0))


def along_of(build: Build, driven: Driven, way: Way | None) -> Along:
    """Return what meets the bike at each reading of a log: road and air by its altitude, wind by build and heading."""
    speed = smoothed(driven.speed, driven.step_s, SPEED_WIDTH_S)
    altitude = np.zeros(driven.count) if way is None else _at(driven, way, way.altitude)
    weather = build.weather
    head = cross = np.zeros(driven.count)
    if way is not None and way.heading:
        bearing = np.degrees(np.arctan2(_at(driven, way, way.east), _at(driven, way, way.north)))
        reported = to_si(weather.wind_speed_km_h, "km_h")
        head, cross = wind_along_and_across(reported, weather.wind_from_deg, bearing, weather.wind_exposure)
    by_throttle = driven.by == "throttle"
    plan = driven.speed if by_throttle else speed
    rests = plan < STANDS
    return Along(
        driven.throttle if by_throttle else np.full(driven.count, FOLLOWS),
        np.where(rests, 0.0, plan), np.where(rests, 0.0, np.gradient(speed, driven.step_s)),
        np.zeros(driven.count) if way is None else sines(driven, way.lag_s),
        air_density(pressure_pa(altitude), driven.air_c, to_si(weather.relative_humidity_percent, "percent")),
        driven.air_c, head, cross, pedalled(build, driven), driven.known, build.tyre.rolling_resistance,
    )  # fmt: skip


def _at(driven: Driven, way: Way, values: Array) -> Array:
    """Return a column of seconds at the log's own readings."""
    return np.interp(driven.time_s, (np.arange(len(values)) + 0.5) * way.step_s, values)


def sines(driven: Driven, lag_s: float) -> Array:
    """Return the slope's sine at each reading, (n,): altitude, read `lag_s` late, over the distance that the log rode.

    Smoothed by distance, unlike the balance, which is judged by half minutes: at 50 km/h its 15 s are 200 m, in which a
    bike has long slowed down.
    """
    gone = np.concatenate([[0.0], np.cumsum(0.5 * (driven.speed[1:] + driven.speed[:-1]) * driven.step_s)])
    read = driven.measured["altitude_m"]
    known = np.isfinite(read)
    if gone[-1] < 4.0 * WIDTH_M:
        return np.zeros(driven.count)
    altitude = np.interp(driven.time_s + lag_s, driven.time_s[known], read[known])
    middle = np.arange(0.5 * GRID_M, gone[-1] + GRID_M, GRID_M)
    at = np.minimum((gone / GRID_M).astype(np.int64), len(middle) - 1)
    number = np.bincount(at, minlength=len(middle))
    there = np.flatnonzero(number)
    means = np.bincount(at, altitude, minlength=len(middle))[there] / number[there]
    height = smoothed(np.interp(middle, middle[there], means), GRID_M, WIDTH_M)
    return np.clip(np.interp(gone, middle, np.gradient(height, GRID_M)), -STEEPEST_SINE, STEEPEST_SINE)


def pedalled(build: Build, driven: Driven) -> Array:
    """Return the rider's power at each reading [W]: as logged, else the build's while he rides and turns the cranks.

    Beside a throttle that is let go nobody is taken to pedal: `balance.pedal_power` has it so too.
    """
    steady = np.full(driven.count, build.rider.power_w)
    if driven.by == "throttle":
        steady = np.where(driven.throttle > CLOSED, steady, 0.0)
    turning = driven.measured.get("cadence_rpm")
    if turning is not None:
        steady = np.where(np.nan_to_num(turning) > 0.0, steady, 0.0)
    logged = driven.measured.get("pedal_power_w", np.full(driven.count, np.nan))
    return np.where(np.isfinite(logged), logged, steady)


@inner_kernel
def _mix(values: np.ndarray, before: int, after: int, share: float) -> float:
    mixed: float = values[before] + (values[after] - values[before]) * share
    return mixed


@inner_kernel
def _here(way: Along, i: int, j: int, share: float) -> Here:
    sine = _mix(way.sine, i, j, share)
    return Here(
        sin_theta=sine,
        cos_theta=math.sqrt(1.0 - sine * sine),
        air_density=_mix(way.density, i, j, share),
        air_temp=_mix(way.air_c, i, j, share),
        headwind=_mix(way.headwind, i, j, share),
        crosswind=_mix(way.crosswind, i, j, share),
        rolling=way.rolling,
        pedal_power=_mix(way.pedal, i, j, share),
        plan_speed=_mix(way.speed, i, j, share),
        plan_acceleration=_mix(way.acceleration, i, j, share),
        for_stop=False,
    )


@inner_kernel
def _at_speed(p: Parameters, s: State, speed: float) -> State:
    """Return the state of a bike that is taken up at another speed: its rotor turns with the wheel."""
    w = speed * p.turned
    # Named before it is handed over: the compiler takes no choice inside a long list of keywords.
    rotor = 0.5 * p.rotor_inertia * w * w if p.freewheel else 0.0
    return State(
        time=s.time,
        lap_time=s.lap_time,
        distance=s.distance,
        speed=speed,
        acceleration=0.0,
        charge=s.charge,
        polarisation=s.polarisation,
        winding_temp=s.winding_temp,
        body_temp=s.body_temp,
        controller_temp=s.controller_temp,
        pack_temp=s.pack_temp,
        rotor_energy=rotor,
        cooling_speed=s.cooling_speed,
        cooling=s.cooling,
        dwell_left=0.0,
        shift_left=0.0,
        gear=s.gear,
        stop_index=0,
        second=None,
    )


@inner_kernel
def _duty(p: Parameters, s: State, pull: Pull, out: Outcome) -> float:
    m = motor_now(p, out.motor_speed, s.winding_temp, s.body_temp)
    c = circuit_of(p, m, out.open_voltage, 0.0)
    square = motor.voltage_squared_with_field(
        c.emf, pull.current, pull.field, c.motor_resistance, c.reactance, c.salience
    )
    return math.sqrt(square) / out.pack_voltage


@inner_kernel
def _write(out: np.ndarray, i: int, p: Parameters, s: State, pull: Pull, o: Outcome) -> None:
    out[0, i], out[1, i], out[2, i] = o.pack_voltage, o.pack_current, _duty(p, s, pull, o)
    out[3, i], out[4, i], out[5, i], out[6, i] = s.winding_temp, s.body_temp, s.controller_temp, s.pack_temp
    out[7, i], out[8, i], out[9, i], out[10, i] = s.charge, pull.current, pull.shaft_torque, s.speed


@inner_kernel
def _hand(
    p: Parameters, road: RoadArrays, s: State, over: Fade, here: Here, throttle: float, most: float
) -> tuple[State, Pull, Outcome]:
    """Take one step under a throttle; a bike that coasts faster than `most` [m/s] with it let go is braked."""
    p.throttle = throttle  # type: ignore[misc]  # a record of its own, made for this ride
    guess = max(s.speed + 0.5 * over.step * s.acceleration, 0.0)
    while True:
        after, pull, out = step_here(None, p, road, s, s, over, here, guess)
        if throttle > CLOSED or p.throttle < 0.0 or after.speed <= most:
            return after, pull, out
        p.throttle = FOLLOWS  # type: ignore[misc]


@kernel
def _ride(p: Parameters, road: RoadArrays, way: Along, dt: float, s: State, out: np.ndarray) -> None:
    parts = max(1, math.ceil(dt / LONGEST_STEP_S - 1e-9))
    over = fade_over(p, dt / parts)
    last = out.shape[1] - 1
    fresh = True
    for i in range(last + 1):
        known = way.known[i]
        if fresh or not known:
            s = _at_speed(p, s, way.speed[i] if known else 0.0)
        fresh = not known
        j = min(i + 1, last)
        if not way.known[j]:
            j = i
        for part in range(parts):
            here = _here(way, i, j, (part + 0.5) / parts)
            end = _mix(way.speed, i, j, (part + 1.0) / parts)
            throttle = _mix(way.throttle, i, j, (part + 0.5) / parts) if known else 0.0
            after, pull, o = _hand(p, road, s, over, here, throttle, end + SLACK)
            if part == 0:
                _write(out, i, p, s, pull, o)
            s = after
