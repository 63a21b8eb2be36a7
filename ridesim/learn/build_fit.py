"""`fit` of a build to a log: what the log says of each key, how well blocks that were not fitted are predicted, and
whether the log is of this bike at all."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.engine.gearing import wheel_radius
from ridesim.learn import balance
from ridesim.learn.channels import BY_NAME, motion_ratio
from ridesim.learn.log import Log
from ridesim.learn.posterior import Problem, Solution, prepare, solve
from ridesim.learn.priors import GAIN_SHARE, ROAD, TOLD_BY, Unknown
from ridesim.learn.replay import other_road
from ridesim.ride.judge import FINE, Finding, Word, hold, worst
from ridesim.units import for_people, symbol_of

NINETY = 1.6448536269514722
"""Deviations of a normal that hold 90 %."""
TOLD_ALIKE = 0.8
"""Correlation from which two keys are said to be told apart poorly (guess)."""
TOO_FAR_OFF = 6.0
"""Prior deviations that a key moves before the log counts as another bike's (guess)."""
HARDLY = 0.9
"""A key whose deviation is left above this share is hardly told by the log (guess)."""
ANOTHER_RATIO = 0.08
FULLER_THAN_FULL = 1.04

Array = NDArray[np.float64]


@dataclass(frozen=True)
class FittedKey:
    """One number before and after: deviations by first order, the interval that holds it in 90 % of cases.

    `narrowed`: the deviation left, over the prior's; `moved`: in prior deviations. `of_log`: belongs to the log alone.
    """

    key: str
    unit: str
    before: float
    before_sd: float
    after: float
    after_sd: float
    low_90: float
    high_90: float
    narrowed: float
    moved: float
    of_log: bool
    told_by: tuple[str, ...]


@dataclass(frozen=True)
class ChannelSkill:
    """How far window means of blocks that were not fitted are off: by the build as it stands, and by the fit of the
    other blocks; root mean squares in the channel's unit. `noise`: what one window's mean errs by itself."""

    name: str
    words: str
    unit: str
    windows: int
    as_built: float
    fitted: float
    noise: float

    def off(self, value: float, units: str = "metric") -> str:
        """Return a difference of this channel with its unit in a system ("metric" or "imperial")."""
        number, symbol = for_people(value, {"c": "k"}.get(self.unit, self.unit), units) if self.unit else (value, "")
        return f"{number:.3g} {symbol}".strip()

    @property
    def left(self) -> float:
        """Share of the build's own error that is left."""
        return self.fitted / self.as_built if self.as_built > 0.0 else 1.0


@dataclass(frozen=True)
class Pair:
    """Two keys that the log tells apart poorly: their correlation."""

    one: str
    other: str
    correlation: float


@dataclass(frozen=True)
class Suggestion:
    """One ride of the menu: the information it would add [nats], and which keys it narrows most, in words."""

    ride: str
    gain: float
    narrows: str
    words: str


@dataclass(frozen=True, eq=False, repr=False)
class BuildFit(Answer):
    """The answer of a fit."""

    problem: Problem
    solution: Solution
    loaded: LoadedBuild
    path: str
    sha256: str
    keys: tuple[FittedKey, ...]
    skills: tuple[ChannelSkill, ...]
    pairs: tuple[Pair, ...]
    verdict: Word
    doubts: tuple[str, ...]
    notes: tuple[str, ...]
    rides: tuple[Suggestion, ...] = ()
    """Rides that would tell more; `menu.with_menu` rides them."""

    @property
    def told(self) -> tuple[FittedKey, ...]:
        """The build's keys that the log tells: narrowed, or moved."""
        return tuple(each for each in self.keys if not each.of_log and is_told(each))


def is_told(each: FittedKey) -> bool:
    """Return whether a log says something of a key."""
    return each.narrowed < HARDLY or abs(each.moved) > 0.5


def fit_build(
    log: Log, loaded: LoadedBuild, *, asked: tuple[str, ...] = (), gain_share: float = GAIN_SHARE
) -> BuildFit:
    """Return what a log says of a build. Raises LogError for a log that cannot be used."""
    problem = prepare(log, loaded, asked, gain_share)
    solution = solve(problem)
    keys = tuple(fitted_key(each, at, solution) for at, each in enumerate(problem.priors.unknowns))
    skills = tuple(_skills(problem, solution))
    found = (
        *_other_air(problem),
        *_strangers(problem, loaded),
        *_other_road(problem, solution),
        *_unlike(skills, problem),
        *_moved(keys),
    )
    doubts = [each for each in found if each.verdict != FINE]
    return BuildFit(
        problem, solution, loaded, log.path, log.sha256, keys, skills, tuple(_pairs(problem, solution)),
        worst(each.verdict for each in doubts), tuple(each.reason for each in doubts),
        (*log.notes, *problem.driven.notes),
    )  # fmt: skip


def fitted_key(unknown: Unknown, at: int, solution: Solution) -> FittedKey:
    """Return one number of a solution, before and after."""
    z, sd = float(solution.z[at]), float(np.sqrt(solution.covariance[at, at]))
    low, high = unknown.bounds
    ends = [unknown.at(float(np.clip(z + side * NINETY * sd, low, high))) for side in (-1.0, 1.0)]
    told_by = tuple(name for name, keys in TOLD_BY.items() if unknown.key in keys)
    return FittedKey(
        unknown.key, symbol_of(unknown.key), unknown.number.value, unknown.slope(0.0), unknown.at(z),
        unknown.slope(z) * sd, min(ends), max(ends), sd, z, unknown.of_log, told_by,
    )  # fmt: skip


def _skills(problem: Problem, solution: Solution) -> Iterator[ChannelSkill]:
    """Yield each channel's skill: each half of the blocks predicted by the fit of the other half."""
    as_built = problem.differences(np.zeros(len(problem.priors.unknowns)))
    halves = [problem.differences(solve(problem, parity, solution).z) for parity in (0, 1)]
    for name, before in as_built.items():
        odd = problem.blocks(name) % 2 == 1
        if odd.all() or not odd.any():
            continue
        unseen = np.where(odd, halves[0][name], halves[1][name])
        words = "power at the wheel" if name == ROAD else BY_NAME[name].words
        unit = "w" if name == ROAD else BY_NAME[name].unit
        rms = [_robust_rms(values) for values in (before, unseen)]
        yield ChannelSkill(name, words, unit, len(before), rms[0], rms[1], solution.sigma[name])


def _robust_rms(values: Array) -> float:
    """Return the root mean square without the hundredth part that is farthest off."""
    size = np.sort(np.abs(values))
    kept = size[: max(1, int(np.ceil(0.99 * len(size))))]
    return float(np.sqrt(np.mean(kept**2)))


ALIKE_K, OTHER_AIR_K, RESTED_PARTS = 4.0, 8.0, 2
"""Parts that begin within the first of each other have stood in the air; how far off is another day's (guesses)."""


def _other_air(problem: Problem) -> Iterator[Finding]:
    """Yield whether a bike that had stood before the log began stood in other air than the build's weather says."""
    driven, begins = problem.driven, problem.start
    parts = {
        "winding": begins.winding_c, "body": begins.body_c, "controller": begins.controller_c, "pack": begins.pack_c,
    }  # fmt: skip
    read = [at for name, at in parts.items() if np.isfinite(driven.measured.get(f"{name}_temperature_c", np.nan)).any()]
    if driven.air_known or len(read) < RESTED_PARTS or max(read) - min(read) > ALIKE_K:
        return
    stood, air = float(np.mean(read)), float(driven.air_c[0])
    words = (
        f"every part that is logged begins at {stood:.0f} °C, where the air is taken to be at {air:.0f} °C: give that "
        "day's weather.temperature_c, or log the air"
    )
    yield hold("log_air", abs(stood - air), OTHER_AIR_K, words)


def _strangers(problem: Problem, loaded: LoadedBuild) -> Iterator[Finding]:
    """Yield what no bike of this build can show: another pack's voltage, another ratio."""
    pack, volts = loaded.build.pack, problem.driven.pack_voltage
    known = volts[np.isfinite(volts)]
    full = pack.series * pack.cell.max_voltage_v
    if known.size:
        highest, middle = float(np.quantile(known, 0.999)), float(np.median(known))
        words = f"the log's pack reaches {highest:.1f} V; {pack.series} cells in series are full at {full:.1f} V"
        yield hold("log_pack_full", highest / full, FULLER_THAN_FULL, words)
        words = f"the log's pack stands at {middle:.1f} V, below the {pack.series} empty cells of the build"
        yield hold("log_pack_empty", middle, pack.series * pack.cell.min_voltage_v, words)
    seen = motion_ratio(problem.driven)
    stated = wheel_radius(loaded.build) / loaded.build.drive.turns
    if np.isfinite(seen):
        why = "other teeth, another wheel, or other pole pairs"
        words = f"the bike goes {seen / stated:.2f} times as fast as its motor, ratio and wheel say: {why}"
        yield hold("log_ratio", abs(seen / stated - 1.0), ANOTHER_RATIO, words)


def _other_road(problem: Problem, solution: Solution) -> Iterator[Finding]:
    """Yield whether the road is one that this bike did not ride: it would have to brake against its motor."""
    build, params, followed = problem.model(solution.z)
    way = problem.road.way if problem.road is not None else balance.way_of(problem.driven)
    if way is None:
        return
    yield other_road(build, params, problem.driven, followed, way)


def _unlike(skills: tuple[ChannelSkill, ...], problem: Problem) -> Iterator[Finding]:
    for each in skills:
        if each.name == ROAD:
            why = "another road, a gusty day, or pedalling that is not logged"
            words = f"half minutes of the road that were not fitted are {each.fitted:.0f} W off: {why}"
            yield hold("log_road", each.fitted, ROAD_STRANGE_W, words)
            continue
        channel = BY_NAME[each.name]
        measured = next(one.measured for one in problem.readings if one.name == each.name)
        strange = channel.strange + channel.strange_share * float(np.sqrt(np.mean(measured**2)))
        words = f"{each.words} stays {each.off(each.fitted)} off whatever is fitted: not this bike"
        yield hold("log_strange", each.fitted, strange, words, subject=each.words)


ROAD_STRANGE_W = 120.0
"""Half minutes of a balanced road scatter by 15 to 60 W (guess)."""


def _moved(keys: tuple[FittedKey, ...]) -> Iterator[Finding]:
    for each in keys:
        words = (
            f"{each.key} would have to be {each.after:.4g} {each.unit} where {each.before:.4g} is stated, "
            f"{abs(each.moved):.1f} deviations off"
        ).replace("  ", " ")
        yield hold("log_key_moved", abs(each.moved), TOO_FAR_OFF, words, subject=each.key)


def _pairs(problem: Problem, solution: Solution) -> Iterator[Pair]:
    deviation = np.sqrt(np.diag(solution.covariance))
    correlation = solution.covariance / np.outer(deviation, deviation)
    unknowns = problem.priors.unknowns
    found = []
    for row in range(len(unknowns)):
        for column in range(row):
            if unknowns[row].of_log and unknowns[column].of_log:
                continue
            if abs(correlation[row, column]) > TOLD_ALIKE:
                found.append(Pair(unknowns[column].key, unknowns[row].key, float(correlation[row, column])))
    yield from sorted(found, key=lambda pair: -abs(pair.correlation))
