"""Which ride would tell more: a short menu, each ridden by the fitted build, scored by how much it would narrow.

D-optimal: the gain in information of what is asked, half the logarithm of the ratio of the covariances' determinants
(Lindley 1956, Ann. Math. Stat. 27:986-1005, from memory), with the sensors that this log has and their errors.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.schema import Build
from ridesim.engine.params import current_scale, start_state
from ridesim.engine.state import Stop as End
from ridesim.learn import balance
from ridesim.learn.build_fit import BuildFit, Suggestion
from ridesim.learn.channels import BY_NAME, windows_of
from ridesim.learn.descent import linearise, normal_equations
from ridesim.learn.driven import Driven
from ridesim.learn.follow import Start
from ridesim.learn.posterior import Problem, Readings, RoadReadings
from ridesim.learn.priors import ROAD
from ridesim.ride.judge import STOP
from ridesim.ride.running import RideOptions, arrays_for, ride_parameters, run
from ridesim.ride.trace import trace_columns
from ridesim.road.made import make_climb, make_flat
from ridesim.road.profile import Road, Stop
from ridesim.units import to_si

STEP_Z = 1e-3
TOLD_KEYS = 3
LEAST_GAIN = 0.05
"""A ride that adds less information is not worth the morning [nats] (guess)."""
ROAD_ERROR_W = 12.0
"""Of a half minute's balance, where this log has none to tell it (guess)."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class _Ride:
    words: str
    road: Callable[[], Road]
    options: RideOptions
    pedals: bool = False
    times: int = 1


def _menu(build: Build) -> Iterator[_Ride]:
    plain = RideOptions(record_every_s=1.0, time_limit_h=0.6)
    fast = min(1.4 * build.rider.cruise_speed_km_h, 45.0)
    coast = replace(plain, throttle=0.0, start_speed_km_h=fast, regen=False, time_limit_h=0.05)
    yield _Ride(f"ten coast-downs on the level from {fast:.0f} km/h, nobody pedalling", _level(1500.0), coast, times=10)
    yield _Ride("a steady climb of 6 %, 3 km, nobody pedalling", lambda: make_climb(3000.0, 6.0), plain)
    yield _Ride("a long level at cruise speed, 8 km, nobody pedalling", _level(8000.0), plain)
    yield _Ride("stop and go, a stop every 200 m for 3 km", _stop_and_go, plain, pedals=True)
    yield _Ride("a held full throttle on the level, 3 km", _level(3000.0), replace(plain, throttle=1.0))


def _level(length_m: float) -> Callable[[], Road]:
    return lambda: make_flat(length_m)


def _stop_and_go() -> Road:
    return make_flat(3000.0).with_stops(tuple(Stop(float(at), 10.0) for at in range(200, 3000, 200)))


def with_menu(fit: BuildFit) -> BuildFit:
    """Return a fit with the rides that would tell more, where the log is of this bike."""
    return replace(fit, rides=suggestions(fit)) if fit.verdict != STOP else fit


def suggestions(fit: BuildFit) -> tuple[Suggestion, ...]:
    """Return the menu's rides, the most telling first; those that the bike cannot ride or that add nothing stay out."""
    at = [place for place, each in enumerate(fit.problem.priors.unknowns) if not each.of_log]
    before = fit.solution.covariance[np.ix_(at, at)]
    build, _, _ = fit.problem.model(fit.solution.z)
    found = []
    for ride in _menu(build):
        problem = _ridden(fit, build, ride)
        if problem is None:
            continue
        information = ride.times * _information(problem, fit, at)
        after = np.linalg.inv(np.linalg.inv(before) + information)
        gain = 0.5 * float(np.linalg.slogdet(before)[1] - np.linalg.slogdet(after)[1])
        if gain > LEAST_GAIN:
            found.append(_suggestion(ride, gain, fit, at, np.sqrt(np.diag(after) / np.diag(before))))
    return tuple(sorted(found, key=lambda one: -one.gain))


def _suggestion(ride: _Ride, gain: float, fit: BuildFit, at: list[int], left: Array) -> Suggestion:
    keys = [fit.problem.priors.keys[place] for place in at]
    best = np.argsort(left)[:TOLD_KEYS]
    narrows = ", ".join(f"{keys[index]} to {left[index]:.0%}" for index in best)
    words = f"To know more, ride {ride.words}: it would narrow {narrows} of the error that is left."
    return Suggestion(ride.words, gain, narrows, words)


def _ridden(fit: BuildFit, build: Build, ride: _Ride) -> Problem | None:
    """Return the problem that a ride's log would be, with this log's sensors; None where the bike cannot ride it."""
    ridden = (
        build if ride.pedals else build.model_copy(update={"rider": build.rider.model_copy(update={"power_w": 0.0})})
    )
    arrays = arrays_for(ridden, ride.road(), ride.options)
    start = start_state(ridden, speed_m_per_s=to_si(ride.options.start_speed_km_h, "km_h"))
    raw = run(ride_parameters(ridden, ride.options), arrays, start, ride.options, trace=True)
    coasts = ride.options.throttle == 0.0
    if len(raw.trace) < LEAST_ROWS or (raw.stop is End.STALLED and not coasts):
        return None
    trace = trace_columns(raw.trace, current_scale(ridden))
    driven = _driven(fit.problem.driven, trace, current_scale(ridden), ride.pedals)
    readings = tuple(_readings(each.name, driven) for each in fit.problem.readings)
    lumps = Start(start.charge, start.winding_temp, start.body_temp, start.controller_temp, start.pack_temp)
    return replace(fit.problem, driven=driven, start=lumps, readings=readings, last={},
                   road=_road(driven, fit, build, ride))  # fmt: skip


LEAST_ROWS = 30


def _driven(like: Driven, trace: dict[str, Array], scale: float, pedals: bool) -> Driven:
    step = float(np.median(np.diff(trace["time_s"])))
    count = len(trace["time_s"])
    names = {"winding_temperature_c": "winding_temp_c", "body_temperature_c": "body_temp_c",
             "controller_temperature_c": "controller_temp_c", "pack_temperature_c": "pack_temp_c",
             "pack_voltage_v": "pack_voltage_v", "pack_current_a": "pack_current_a", "duty": "modulation",
             "altitude_m": "altitude_m", "speed_km_h": "speed_km_h"}  # fmt: skip
    measured = {name: np.asarray(trace[row], dtype=np.float64) for name, row in names.items()}
    if not pedals:
        measured["pedal_power_w"] = np.zeros(count)
    logged = like.current_by == "motor current"
    current = trace["motor_current_a"] * scale if logged else np.full(count, np.nan)
    return Driven(
        like.path, step, to_si(trace["motor_speed_rpm"], "rpm"), to_si(trace["speed_km_h"], "km_h"), current,
        trace["pack_current_a"], trace["pack_voltage_v"], np.full(count, like.air_c.mean()),
        np.ones(count, dtype=bool), measured, like.speed_by, like.current_by, like.air_known, {}, (), like.by,
        np.full(count, np.nan),
    )  # fmt: skip


def _readings(name: str, driven: Driven) -> Readings:
    source = driven.measured["speed_km_h" if name == "road_speed_km_h" else name]
    known = np.ones(len(source), dtype=bool)
    windows = windows_of(BY_NAME[name], known, driven.step_s)
    return Readings(name, windows, known, windows.means(source, known))


def _road(driven: Driven, fit: BuildFit, build: Build, ride: _Ride) -> RoadReadings | None:
    way = balance.way_of(driven)
    if way is None:
        return None
    usable = way.usable if not ride.pedals else np.zeros(len(way.usable), dtype=bool)
    of, seconds = balance.windows(usable, way.step_s)
    full = seconds >= balance.LEAST_WINDOW_S
    if not full.any():
        return None
    return RoadReadings(way, of, seconds, full, np.zeros(int(full.sum()), dtype=np.int64))


def _information(problem: Problem, fit: BuildFit, at: list[int]) -> Array:
    """Return what a ride's log would say of the build's keys, its own gains, air and start unknown anew."""
    z = fit.solution.z
    sigma = {ROAD: ROAD_ERROR_W, **fit.solution.sigma}
    at_z = linearise(problem.differences, z, np.full(len(z), np.inf))
    slopes = np.concatenate([values / sigma[name] for name, values in at_z.slopes.items()])
    _, every = normal_equations(slopes, np.zeros(len(slopes)))
    others = [index for index in range(len(z)) if index not in at]
    keys = every[np.ix_(at, at)]
    if not others:
        return np.asarray(keys)
    between = every[np.ix_(at, others)]
    return np.asarray(keys - between @ np.linalg.inv(every[np.ix_(others, others)] + np.eye(len(others))) @ between.T)
