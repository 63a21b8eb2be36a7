"""A build's numbers from a log: maximum a posteriori by least squares, priors its tolerances, and how far to trust it.

min sum (r_i/s_i)^2 + z' S^-1 z, r the differences of window means of measured and computed quantities, s from the
residuals' own scatter and their correlation from window to window (an AR(1) course's effective number of readings:
Bartlett 1946, from memory), never below what a sensor's rounding leaves. Window means that stand far off are
softened (Huber 1964), those of the road redescend (Beaton and Tukey 1974): a rider who pedals unlogged pushes one
way only. The covariance is that of the linearised problem at its minimum.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.params import parameters, with_drag
from ridesim.engine.state import Parameters
from ridesim.errors import LogError
from ridesim.learn import balance
from ridesim.learn.channels import BY_NAME, Windows, computed_channel, measured_channels, windows_of
from ridesim.learn.descent import SOFTENED, Linear, Weighing, descend, linearise, normal_equations
from ridesim.learn.driven import Driven, averaged, driven_by
from ridesim.learn.follow import Followed, Gains, Start, follow
from ridesim.learn.log import Log
from ridesim.learn.priors import (
    AIR,
    CHARGE,
    DUTY_GAIN,
    GAIN_SHARE,
    MOTOR_GAIN,
    NO_LOAD,
    PACK_GAIN,
    ROAD,
    ROAD_BIAS,
    SPEED_GAIN,
    STARTS,
    TOLD_BY,
    WIND_EAST,
    WIND_NORTH,
    Priors,
    priors_of,
)
from ridesim.learn.start import start_of
from ridesim.sure.packing import changed

GAINS = {"pack_current_a": PACK_GAIN, "duty": DUTY_GAIN, "road_speed_km_h": SPEED_GAIN}
"""Channels whose own reading is off by a gain: true value = reading times gain."""
MOST_STEPS = 12_000
"""A log is averaged to so many steps for a fit: 0.6 s in two hours; no lump or polarisation moves faster."""
ROUNDS = 3
"""Fits one after another, each with the errors and weights that the one before left."""
FLOOR = 0.3
"""Share of a channel's stated error that its scatter is never taken below."""
ROAD_FLOOR_W = 5.0
ROAD_STATED_W = ROAD_FLOOR_W / FLOOR
REDESCENDS = 4.685
"""Of Tukey's biweight: 95 % efficient where nothing is off."""
MOST_CORRELATED = 0.95
LEAST_WINDOWS = 6
START_TIMES = 3.0
"""The first fit takes each channel as so many times its stated error off, whatever it is: errors taken from a build
that is far off would tell the fit to look away."""

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Readings:
    """One channel's window means, (m,): measured, their steps' mask, and which block each is in."""

    name: str
    windows: Windows
    known: NDArray[np.bool_]
    measured: Array


@dataclass(frozen=True, eq=False)
class RoadReadings:
    """The road's windows: the way, the usable seconds, the window of each, and which windows count."""

    way: balance.Way
    of: NDArray[np.int64]
    seconds: Array
    full: NDArray[np.bool_]
    block: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Problem:
    """A log and a build, ready to be fitted."""

    loaded: LoadedBuild
    driven: Driven
    priors: Priors
    start: Start
    readings: tuple[Readings, ...]
    road: RoadReadings | None

    last: dict[str, Any] = field(default_factory=dict, repr=False)
    """The last bike and the last course that were computed: slopes of the log's own unknowns leave them as they are."""

    def model(self, z: Array) -> tuple[Build, Parameters, Followed]:
        """Return build, parameters and course at z."""
        return self._model(z, self.priors.values(z))

    def _model(self, z: Array, values: Mapping[str, float]) -> tuple[Build, Parameters, Followed]:
        own = z[: len(self.priors.doubts.numbers)].tobytes()
        if self.last.get("own") != own:
            build = changed(self.loaded.build, self.priors.doubts, values)
            params = with_drag(parameters(build), values.get(NO_LOAD, 1.0))
            self.last.update(own=own, bike=(build, params), course=None)
        build, params = self.last["bike"]
        gains = Gains(values.get(MOTOR_GAIN, 1.0), values.get(PACK_GAIN, 1.0), values.get(AIR, 0.0))
        course = (gains, _started(self.start, values))
        if self.last["course"] != course:
            self.last.update(course=course, followed=follow(params, self.driven, course[1], gains))
        return build, params, self.last["followed"]

    def differences(self, z: Array) -> dict[str, Array]:
        """Return measured less computed window means at z, by channel; of the road: asked less given [W]."""
        values = self.priors.values(z)
        build, params, followed = self._model(z, values)
        found = {}
        for each in self.readings:
            computed = computed_channel(each.name, build, self.driven, followed)
            gain = values.get(GAINS.get(each.name, ""), 1.0)
            found[each.name] = each.measured - each.windows.means(computed, each.known) / gain
        if self.road is not None:
            found[ROAD] = self._road(build, params, followed, values)
        return found

    def _road(self, build: Build, params: Parameters, followed: Followed, values: Mapping[str, float]) -> Array:
        road = self.road
        assert road is not None
        motor = balance.motor_power(params, self.driven, followed, road.way.per_second)
        wind = balance.Air(values.get(WIND_EAST, 0.0), values.get(WIND_NORTH, 0.0))
        asked = balance.asked_power(params, road.way, wind)
        given = motor + balance.pedal_power(build, road.way, build.rider.power_w, motor)
        asked = asked - values.get(ROAD_BIAS, 0.0)
        return balance.window_means(asked - given, road.of, road.seconds)[road.full]

    def blocks(self, name: str) -> NDArray[np.int64]:
        """Return the block of each window of a channel."""
        if name == ROAD:
            assert self.road is not None
            return self.road.block
        return next(each.windows.block for each in self.readings if each.name == name)


def _started(start: Start, values: Mapping[str, float]) -> Start:
    """Return where the log begins, as the unknowns of the log have it."""
    winding, body, box, cells = (values.get(key, 0.0) for key in STARTS.values())
    return Start(
        values.get(CHARGE, start.charge), start.winding_c + winding, start.body_c + body, start.controller_c + box,
        start.pack_c + cells,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Solution:
    """A fit: its place with what is left there, its covariance, and the error of each channel's window mean."""

    linear: Linear
    covariance: Array
    sigma: dict[str, float]

    @property
    def z(self) -> Array:
        """Every unknown, in prior deviations."""
        return self.linear.z

    @property
    def left(self) -> dict[str, Array]:
        """Measured less computed window means, by channel."""
        return self.linear.left


def prepare(log: Log, loaded: LoadedBuild, asked: tuple[str, ...] = (), gain_share: float = GAIN_SHARE) -> Problem:
    """Return a log and a build ready to be fitted. Raises LogError for a log that tells nothing."""
    driven = coarse(driven_by(log, loaded.build))
    start = start_of(loaded, driven)
    readings = []
    for name, values in measured_channels(driven).items():
        if name not in TOLD_BY:
            continue  # a counter of charge says of the bike what current and voltage say already
        known = np.isfinite(values)
        windows = windows_of(BY_NAME[name], known, driven.step_s)
        if len(windows.block) >= LEAST_WINDOWS:
            filled = np.where(known, values, 0.0)
            readings.append(Readings(name, windows, known, windows.means(filled, known)))
    road = _road_readings(loaded, driven, start)
    channels = [each.name for each in readings] + ([ROAD] if road is not None else [])
    if not channels:
        log.require("pack_voltage_v")
        raise LogError(log.path, "measures nothing that a fit could hold the model against", "give a longer log")
    priors = priors_of(
        loaded, channels, asked=asked, air_known=driven.air_known, charge=start.charge,
        windy=road is not None and road.way.heading, gain_share=gain_share, coldest_c=coldest_cells_c(driven, start),
    )  # fmt: skip
    if all(each.of_log for each in priors.unknowns):
        raise LogError(
            log.path, "tells nothing of what is uncertain in the build", "map more columns, or --only others"
        )
    return Problem(loaded, driven, priors, start, tuple(readings), road)


def coldest_cells_c(driven: Driven, start: Start) -> float:
    """Return what a log's cells were at their coldest [degC]: as read, else where they begin and the air around."""
    read = driven.measured.get("pack_temperature_c")
    if read is not None and np.isfinite(read).any():
        return float(np.nanmin(read))
    return float(min(start.pack_c, driven.air_c.min()))


def coarse(driven: Driven) -> Driven:
    """Return a log averaged to at most MOST_STEPS steps."""
    factor = -(-driven.count // MOST_STEPS)
    if factor <= 1:
        return driven
    known = averaged(driven.known.astype(float), factor) > 0.5
    measured = {name: averaged(values, factor) for name, values in driven.measured.items()}
    return Driven(
        driven.path, driven.step_s * factor, averaged(driven.omega, factor), averaged(driven.speed, factor),
        averaged(driven.current, factor), averaged(driven.pack_current, factor), averaged(driven.pack_voltage, factor),
        averaged(driven.air_c, factor), known, measured, driven.speed_by, driven.current_by, driven.air_known,
        driven.rounding, driven.notes, driven.by, averaged(driven.throttle, factor),
    )  # fmt: skip


def _road_readings(loaded: LoadedBuild, driven: Driven, start: Start) -> RoadReadings | None:
    params = parameters(loaded.build)
    followed = follow(params, driven, start)
    way = balance.way_of(driven, balance.best_lag(driven, loaded.build, params, followed))
    return None if way is None else _road_windows(way, loaded.build, params, driven, followed, balance.Air())


def _road_windows(
    way: balance.Way, build: Build, params: Parameters, driven: Driven, followed: Followed, wind: balance.Air
) -> RoadReadings | None:
    """Return the road's windows without the brakes that this model finds."""
    motor, power = balance.motor_power(params, driven, followed, way.per_second), build.rider.power_w
    given = motor + balance.pedal_power(build, way, power, motor)
    asked = balance.asked_power(params, way, wind)
    usable = balance.free_of_brakes(way, params, given, asked) & balance.pedalling_known(way, power, motor)
    of, seconds = balance.windows(usable, way.step_s)
    full = seconds >= balance.LEAST_WINDOW_S
    if full.sum() < 2 * LEAST_WINDOWS:
        return None
    span = len(way.speed) * way.step_s
    block_s = min(300.0, max(span / 8.0, 2.0 * balance.WINDOW_S))
    block = (np.flatnonzero(full) * balance.WINDOW_S / block_s).astype(np.int64)
    return RoadReadings(way, of, seconds, full, block)


def solve(problem: Problem, parity: int | None = None, start: Solution | None = None) -> Solution:
    """Return the fit of all blocks, or of the even (0) or odd (1) ones; `start`: from another's errors and place."""
    lower, upper = np.array([each.bounds for each in problem.priors.unknowns]).T
    names = [each.name for each in problem.readings] + ([ROAD] if problem.road is not None else [])
    chosen = {name: _chosen(problem.blocks(name), parity) for name in names}
    at = linearise(problem.differences, np.zeros(len(lower)), upper) if start is None else start.linear
    sigma = start.sigma if start is not None else {name: START_TIMES * _stated(problem, name) for name in names}
    weights = {name: np.ones(len(at.left[name])) for name in names}
    if ROAD in names and start is not None:
        weights[ROAD] = _redescending(at.left[ROAD], sigma[ROAD])
    slopes = np.empty(0)
    for turn in range(1 if start is not None else ROUNDS):
        weighing = Weighing(sigma, weights, chosen, problem.priors.root, turn == 0 and start is None)
        at, slopes = descend(problem.differences, at, weighing, (lower, upper))
        if start is None:
            sigma = {name: _error(problem, name, at.left[name][chosen[name]]) for name in names}
            if ROAD in names:
                weights = {**weights, ROAD: _redescending(at.left[ROAD], sigma[ROAD])}
    _, normal = normal_equations(slopes, np.zeros(len(slopes)))
    covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    return Solution(at, covariance, dict(sigma))


def _chosen(block: NDArray[np.int64], parity: int | None) -> NDArray[np.bool_]:
    return np.ones(len(block), dtype=bool) if parity is None else block % 2 == parity


def _error(problem: Problem, name: str, left: Array) -> float:
    """Return the error of one window's mean that counts one: scatter, widened for its run from window to window."""
    if len(left) < 3:
        return 1.0
    spread = 1.4826 * float(np.median(np.abs(left - np.median(left))))
    spread = max(spread, 0.5 * float(np.std(left)))
    floor = FLOOR * _stated(problem, name)
    if name != ROAD:
        floor = float(np.hypot(floor, _rounding_error(problem, name)))
    centred = np.clip(left - left.mean(), -SOFTENED * spread, SOFTENED * spread)
    power = float(centred @ centred)
    run = float(centred[1:] @ centred[:-1]) / power if power > 0.0 else 0.0
    run = min(max(run, 0.0), MOST_CORRELATED)
    return max(spread * float(np.sqrt((1.0 + run) / (1.0 - run))), floor)


def _stated(problem: Problem, name: str) -> float:
    """Return a channel's stated error of a window's mean."""
    if name == ROAD:
        return ROAD_STATED_W
    channel = BY_NAME[name]
    size = next(float(np.sqrt(np.mean(each.measured**2))) for each in problem.readings if each.name == name)
    return float(np.hypot(channel.error, channel.share * size))


def _rounding_error(problem: Problem, name: str) -> float:
    """Return what rounding adds to the error of one window's mean that counts one.

    A slow reading errs alike until it has crossed a step: only so many rounding errors are independent as steps are
    crossed. Jitter before the rounding smooths it: its first harmonic fades by exp(-2 pi^2 s^2/q^2) (Widrow 1956).
    """
    step, jitter = problem.driven.rounding.get(name, (0.0, 0.0))
    if step <= 0.0:
        return 0.0
    means = next(each.measured for each in problem.readings if each.name == name)
    crossed = max(float(np.abs(np.diff(means)).sum()) / step, 1.0)
    alike = max(len(means) / crossed, 1.0)
    faded = max(float(np.exp(-2.0 * (np.pi * jitter / step) ** 2)), LEAST_FADE)
    return step / np.sqrt(12.0) * float(np.sqrt(alike)) * faded


LEAST_FADE = 0.1


def _redescending(left: Array, sigma: float) -> Array:
    """Return weights of Tukey's biweight, square-rooted for residuals."""
    scale = max(1.4826 * float(np.median(np.abs(left - np.median(left)))), ROAD_FLOOR_W)
    share = np.clip(np.abs(left) / (REDESCENDS * scale), 0.0, 1.0)
    return 1.0 - share**2
