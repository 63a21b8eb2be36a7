"""What did your ride cost? Drags and wind from a log with measured pedal power, and how far to trust them.

The log is cut into five-minute blocks. Every other block is fitted, the blocks between are predicted, and the error of
the prediction is the answer's honesty. Then the parts change roles. No choice here was set on a particular log: each
guess says why. Source of the road equation: Martin et al. (1998), J. Appl. Biomech. 14:276-291.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from ridesim.answers import Answer
from ridesim.errors import LogError
from ridesim.learn.ride_log import RideLog, load_ride_log
from ridesim.learn.road_load import (
    Machine,
    Motion,
    RoadLoad,
    Windows,
    braking_seconds,
    motion_of,
    pedal_power,
    windows_of,
)
from ridesim.ride.judge import Word, hold, worst
from ridesim.units import from_si

ASSUMED_MASS_KG = 80.0
CHAIN_EFFICIENCY = 0.977
WHEELS_KG = 0.14 / 0.311**2
WHEEL_DRAG_AREA_M2 = 0.0044
"""Chain, inertia of both wheels as a mass at the rim, and their drag. Source: Martin et al. (1998)."""

MEAN_S = 60
LAG_MEAN_S = 20
"""Means that parameters are fitted to, and the shorter ones that show when slope and power change together."""
LEAST_SHARE = 0.75
"""A window this full counts as a whole one in the correlation."""
LAGS_S = (-10.0, 30.0, 4.0)
"""Altitude lags looked at: least, most, first step. Barometers in recorders are filtered; most lag by 0 to 10 s, and a
search that ends at its edge has found nothing."""

PRIOR = RoadLoad(0.40, 0.006)
PRIOR_SD = RoadLoad(0.15, 0.003, 3.0, 3.0)
"""What is known before: drag area between a racing crouch, 0.32 m2, and upright commuting, 0.63 m2 (Wilson 2004, from
memory); rolling between 0.0032 (Martin 1998) and 0.0077 (Tengattini 2017); wind at rider height a guess. On flat rides
both drags trade off against each other, and only such knowledge parts them."""
NOISE_W = 20.0
"""Scatter of a 60 s mean: gusts, traffic, half a metre of altitude (guess; it weighs the prior and the outliers)."""
LOWEST, HIGHEST = (0.1, 0.001, -15.0, -15.0), (1.5, 0.05, 15.0, 15.0)
SCALE = (0.1, 0.002, 1.0, 1.0)
NAMES = ("the drag area [m²]", "the rolling resistance", "the wind to the east [m/s]", "the wind to the north [m/s]")
AT_A_BOUND = 1e-3
"""Share of the searched span within which a fit has ended at its edge."""
LEAST_POWER_W = 5.0
"""A mean below this is no riding: a meter that slept, or a column of something else (guess)."""
MASS_RANGE_KG = (30.0, 500.0)
LEAST_FITTED_S = 600.0
"""Less riding than this leaves nothing to fit four numbers to (guess)."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Skill:
    """How well blocks that were not fitted are predicted; correlation and deviation are those of 60 s means.

    `correlation` is not a number where all means are alike.
    """

    work_measured_wh: float
    work_predicted_wh: float
    correlation: float
    deviation_w: float
    means: int
    lag_s: float
    load: RoadLoad

    @property
    def work_error_percent(self) -> float:
        """Predicted over measured work, less one."""
        return from_si(self.work_predicted_wh / self.work_measured_wh - 1.0, "percent")


GOOD_WORK_PERCENT, GOOD_CORRELATION = 5.0, 0.85
"""What a log with a steady recorder reaches (five recorded rides of others)."""


@dataclass(frozen=True, eq=False, repr=False)
class LogFit(Answer):
    """The answer: what was fitted on all blocks, with deviations, and the skill of fits on half of them.

    `skill` fits blocks 1, 3, 5 ... and predicts 2, 4, 6 ...; `skill_swapped` the other way. The columns are 60 s means,
    each predicted by the fit that did not see it. `at_bounds` names what ended at the edge of its search.
    """

    path: str
    machine: Machine
    load: RoadLoad
    deviation: RoadLoad
    lag_s: float
    skill: Skill
    skill_swapped: Skill
    riding_s: float
    left_out_s: float
    braking_s: float
    mean_time_s: Array
    mean_measured_w: Array
    mean_predicted_w: Array
    at_bounds: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def verdict(self) -> Word:
        """How well the unseen minutes are predicted, and whether a number ended at the edge of its search."""
        held = (
            hold("log_edges", len(self.at_bounds), 0.0),
            hold("log_work", abs(self.skill.work_error_percent), GOOD_WORK_PERCENT),
            hold("log_likeness", self.skill.correlation, GOOD_CORRELATION),
        )
        return worst(each.verdict for each in held)


def fit_log(
    log: RideLog | str | Path, *, mass_kg: float = ASSUMED_MASS_KG, chain_efficiency: float = CHAIN_EFFICIENCY
) -> LogFit:
    """Return drag area, rolling coefficient and a constant wind of a recorded ride; mass is rider and bike, kept fixed.

    Raises LogError for a log that cannot be used or is too short for four blocks of five minutes.
    """
    if not MASS_RANGE_KG[0] <= mass_kg <= MASS_RANGE_KG[1]:
        what = f"{mass_kg:g} kg is out of range (allowed {MASS_RANGE_KG[0]:g} to {MASS_RANGE_KG[1]:g} kg)"
        raise LogError("mass", what, "give rider and bike together")
    if not 0.5 <= chain_efficiency <= 1.0:
        raise LogError("chain efficiency", f"{chain_efficiency:g} is out of range (allowed 0.5 to 1)", "mend it")
    ride = log if isinstance(log, RideLog) else load_ride_log(log)
    refuse_idle_power(ride)
    machine = Machine(mass_kg, WHEELS_KG, WHEEL_DRAG_AREA_M2, chain_efficiency)
    halves = [fit_blocks(ride, machine, parity) for parity in (0, 1)]
    skills = [predict_blocks(ride, machine, *halves[parity], 1 - parity) for parity in (0, 1)]
    load, lag = fit_blocks(ride, machine, None)
    motion = motion_of(ride, lag)
    deviation = _deviation(motion, load, machine, ride.knows_heading)
    bounds = at_bounds(load, lag, ride.knows_heading)
    notes = [*ride.notes, *bounds, *_notes(ride, halves)]
    return LogFit(
        ride.path, machine, load, deviation, lag, skills[0], skills[1], ride.riding_s,
        ride.riding_s - len(motion.speed), float(braking_seconds(motion, load, machine).sum()),
        *_unseen_means(ride, machine, halves), bounds, tuple(notes),
    )  # fmt: skip


def refuse_idle_power(log: RideLog) -> None:
    """Raise LogError for a power column that shows no pedalling in one half of the blocks, or in both."""
    motion = motion_of(log, 0.0)
    for parity in (0, 1):
        seen = motion.power[motion.block % 2 == parity]
        if seen.size and float(seen.mean()) < LEAST_POWER_W:
            what = (
                f"power_w is {float(seen.mean()):.1f} W on the mean of every other block (at least {LEAST_POWER_W:g})"
            )
            raise LogError(log.path, what, "check the power meter; for coasting there is `ridesim coastdown`")


def at_bounds(load: RoadLoad, lag_s: float, windy: bool) -> tuple[str, ...]:
    """Say which numbers of a fit ended at the edge of what was searched: the log does not tell them."""
    found = []
    rows = list(zip(NAMES, _values(load), LOWEST, HIGHEST, strict=True))[: 4 if windy else 2]
    for name, value, low, high in (*rows, ("the altitude's lag [s]", lag_s, *LAGS_S[:2])):
        near = AT_A_BOUND * (high - low)
        if min(value - low, high - value) <= near:
            edge = low if value - low <= near else high
            found.append(f"{name} ended at {edge:g}, the edge of the search: the log does not tell it")
    return tuple(found)


def fit_blocks(log: RideLog, machine: Machine, parity: int | None) -> tuple[RoadLoad, float]:
    """Return load and altitude lag [s] from the even (0) or odd (1) blocks, or from all (None)."""
    least, most, step = LAGS_S
    tried: dict[float, tuple[RoadLoad, float]] = {}

    def cost(lag: float) -> float:
        """Return what the best fit with this lag [s] of the altitude costs; each lag is tried once."""
        if lag not in tried:
            near = min(tried, key=lambda other: abs(other - lag), default=None)
            start = PRIOR if near is None else tried[near][0]
            motion = motion_of(log, lag, (least, most))
            tried[lag] = _fit(motion, machine, parity, LAG_MEAN_S, log.knows_heading, start)
        return tried[lag][1]

    lag = min((float(at) for at in np.arange(least, most + 0.5, step)), key=cost)
    while step > 1.0:
        step /= 2.0
        lag = min((at for at in (lag - step, lag, lag + step) if least <= at <= most), key=cost)
    load, _ = _fit(motion_of(log, lag), machine, parity, MEAN_S, log.knows_heading, tried[lag][0])
    return load, lag


def _fit(
    motion: Motion, machine: Machine, parity: int | None, mean_s: int, windy: bool, start: RoadLoad
) -> tuple[RoadLoad, float]:
    """Return the load of least robust error, and that error, weighed with what is known before."""
    windows = windows_of(motion, mean_s)
    chosen = _chosen(windows, mean_s, parity)
    if int(chosen.sum()) * mean_s < LEAST_FITTED_S:
        what = "has too little riding for blocks to fit and blocks to predict"
        raise LogError("log", what, "give at least 25 minutes of riding")
    count = 4 if windy else 2
    prior, spread = (np.array(_values(known)[:count]) for known in (PRIOR, PRIOR_SD))

    def misses(values: Array) -> Array:
        """Return what drags and wind miss of the power, and of what is known before, in deviations."""
        load = RoadLoad(*values)
        return np.concatenate((_misses(motion, windows, chosen, load, machine, mean_s), (values - prior) / spread))

    found = least_squares(
        misses,
        _values(start)[:count],
        bounds=(LOWEST[:count], HIGHEST[:count]),
        x_scale=SCALE[:count],
        xtol=1e-6,
        ftol=1e-6,
    )
    return RoadLoad(*map(float, found.x)), float(found.cost)


def _misses(
    motion: Motion, windows: Windows, chosen: NDArray[np.bool_], load: RoadLoad, machine: Machine, mean_s: int
) -> Array:
    """Return the errors r of window means over their noise, large ones softened to sqrt(2 (sqrt(1 + r^2) - 1))."""
    noise = NOISE_W * np.sqrt(MEAN_S / mean_s) * np.sqrt(mean_s / windows.seconds[chosen])
    miss = (windows.mean(pedal_power(motion, load, machine)) - windows.power)[chosen] / noise
    return np.sign(miss) * np.sqrt(2.0 * (np.sqrt(1.0 + miss * miss) - 1.0))


def _chosen(windows: Windows, mean_s: int, parity: int | None) -> NDArray[np.bool_]:
    whole = windows.seconds >= 0.5 * mean_s
    return whole if parity is None else whole & (windows.block % 2 == parity)


def _values(load: RoadLoad) -> tuple[float, float, float, float]:
    return load.drag_area_m2, load.rolling_resistance, load.wind_east_m_per_s, load.wind_north_m_per_s


def predict_blocks(log: RideLog, machine: Machine, load: RoadLoad, lag_s: float, parity: int) -> Skill:
    """Return how well a load predicts the even (0) or odd (1) blocks of a log."""
    motion = motion_of(log, lag_s)
    power, windows = pedal_power(motion, load, machine), windows_of(motion, MEAN_S)
    seen = motion.block % 2 == parity
    chosen = (windows.seconds >= LEAST_SHARE * MEAN_S) & (windows.block % 2 == parity)
    predicted, measured = windows.mean(power)[chosen], windows.power[chosen]
    return Skill(
        from_si(float(motion.power[seen].sum()), "wh"),
        from_si(float(power[seen].sum()), "wh"),
        _correlation(predicted, measured),
        float(np.std(predicted - measured)),
        int(chosen.sum()),
        lag_s,
        load,
    )


def _correlation(one: Array, other: Array) -> float:
    if len(one) < 2 or np.std(one) == 0.0 or np.std(other) == 0.0:
        return float("nan")
    return float(np.corrcoef(one, other)[0, 1])


def _unseen_means(log: RideLog, machine: Machine, halves: list[tuple[RoadLoad, float]]) -> tuple[Array, Array, Array]:
    """Return time, measured and predicted power of 60 s means, each from the fit on the other blocks."""
    columns: list[Array] = []
    for parity, (load, lag) in enumerate(halves):
        motion = motion_of(log, lag)
        windows = windows_of(motion, MEAN_S)
        unseen = (windows.seconds >= LEAST_SHARE * MEAN_S) & (windows.block % 2 != parity)
        power = windows.mean(pedal_power(motion, load, machine))
        columns.append(np.array([windows.mean(motion.time_s)[unseen], windows.power[unseen], power[unseen]]))
    every = np.concatenate(columns, axis=1)
    time, measured, predicted = every[:, np.argsort(every[0])]
    return time, measured, predicted


def _deviation(motion: Motion, load: RoadLoad, machine: Machine, windy: bool) -> RoadLoad:
    """Return standard deviations from the curvature of the fit, widened where the scatter exceeds the assumed noise."""
    windows = windows_of(motion, MEAN_S)
    chosen, values = _chosen(windows, MEAN_S, None), np.array(_values(load))
    count = 4 if windy else 2

    def means(at: Array) -> Array:
        """Return the chosen windows' mean power [W] by these drags and wind."""
        return windows.mean(pedal_power(motion, RoadLoad(*at), machine))[chosen]

    steps = np.diag(np.array(SCALE) * 0.05)[:count]
    slopes = np.array([(means(values + step) - means(values - step)) / (2.0 * step.sum()) for step in steps])
    scatter = max(float(np.std(means(values) - windows.power[chosen])), NOISE_W)
    information = slopes @ slopes.T / scatter**2 + np.diag(1.0 / np.array(_values(PRIOR_SD)[:count]) ** 2)
    return RoadLoad(*map(float, np.sqrt(np.diag(np.linalg.inv(information)))))


def _notes(log: RideLog, halves: list[tuple[RoadLoad, float]]) -> list[str]:
    notes = ["from one day to another the same rider is not predictable to better than about 20 %: wind, clothes, road"]
    if abs(halves[0][1] - halves[1][1]) > 5.0:
        notes.append(f"the altitude's lag is not certain ({halves[0][1]:g} and {halves[1][1]:g} s in the two halves)")
    if log.recorded_s - log.riding_s > 0.2 * log.recorded_s:
        notes.append(f"{from_si(log.recorded_s - log.riding_s, 'min'):.0f} min of pauses were left out")
    return notes
