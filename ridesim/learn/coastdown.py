"""What holds the bike back when nobody pedals? Drag area and rolling coefficient from coasting to a halt.

Roll out on a quiet road, note speed against time, and do it again the other way: the two runs together also give the
slope and the wind of the road. Closed form without bearings: White and Korst (1972), SAE 720099.

Gusts last for seconds, so the readings of one run err together and their scatter about the curve says little of the
answer's error. What tells it is the spread between runs: the fit is made again without each run (or pair of runs there
and back), and the changes give the error, by Student's factor for the few runs (delete-one jackknife, Miller 1974,
Biometrika 61:1-15, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from ridesim.answers import Answer
from ridesim.errors import LogError
from ridesim.jit import kernel
from ridesim.learn.guess import guess_column
from ridesim.learn.pedal_fit import CHAIN_EFFICIENCY, MASS_RANGE_KG, WHEEL_DRAG_AREA_M2, WHEELS_KG
from ridesim.learn.quantities import TIME
from ridesim.learn.road_load import HUMIDITY, Machine
from ridesim.learn.sheet import read_sheet
from ridesim.learn.table import numbers, read_table, refuse_span
from ridesim.physics.resistance import air_drag, bearing_drag, grade_force, rolling_drag
from ridesim.ride.judge import FINE, Finding, Word, hold, worst
from ridesim.road.air import air_density, pressure_pa
from ridesim.road.smooth import sine_of
from ridesim.units import from_si, to_si

SPEED_COLUMNS = {"speed_m_per_s": "m_per_s", "speed_km_h": "km_h"}
SPEEDS = ("speed_km_h", "gps_speed_km_h")
SUBSTEP_S = 0.1
SLOWEST_M_PER_S = 2.0
"""Slower readings are not fitted: a gust then is as fast as the bike, its drag grows with its square whichever way it
blows, and the fit takes that for rolling (made runs in gusts of 1 m/s: 7 % of bias from 0.5 m/s on, 1 % from here)."""
FASTEST_M_PER_S = 60.0
"""No bicycle coasts faster (guess)."""
LONGEST_RUN_S = 3600.0
"""Nobody coasts for an hour (guess)."""
LEAST_READINGS = 8
LEAST_FALL_M_PER_S = 2.0
"""A run that loses less speed cannot part air from rolling drag (guess)."""
START = (0.45, 0.006, 0.0, 0.0)
LOWEST, HIGHEST = (0.05, 0.0005, -0.03, -8.0), (2.0, 0.06, 0.03, 8.0)
SCALE = (0.1, 0.002, 0.002, 1.0)
NAMES = ("the drag area [m²]", "the rolling resistance", "the slope (rise per run)", "the head wind [m/s]")
THINKABLE = {
    "temperature": (-40.0, 60.0, "°C"), "altitude": (-450.0, 6000.0, "m"), "grade": (-20.0, 20.0, "%"),
    "head wind": (-30.0, 30.0, "m/s"),
}  # fmt: skip
"""What a day and a road can be (guess)."""
FAST_M_PER_S = 20.0
"""Nobody rolls out from faster than this on a level road: km/h in a column of m/s (guess)."""
AT_A_BOUND = 1e-3
"""Share of the searched span within which a fit has ended at its edge."""
INTERVAL = 0.90
METHOD_SD = (0.1, 0.001)
"""Scatter of drag area [m²] and rolling coefficient by the method alone. Source: Tengattini (2017)."""
LEAST_COMPARED = 2
WIDE_SHARE = 0.30
"""Half an interval over its value from which more runs are worth the while (guess)."""

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CoastRun:
    """One run: seconds and speed in m/s, (n,)."""

    path: str
    time_s: Array
    speed_m_per_s: Array


@dataclass(frozen=True, eq=False, repr=False)
class CoastFit(Answer):
    """Drags with standard deviations and 90 % intervals; slope (rise per run) and head wind as met on the way there.

    Slope and wind are fitted only where there are runs back; else they are those given. `modelled` are speeds by run;
    `compared` counts the runs (or pairs there and back) whose spread gave the intervals; 1: none, a published one did.
    """

    runs: tuple[CoastRun, ...]
    backs: int
    mass_kg: float
    drag_area_m2: float
    drag_area_sd_m2: float
    drag_area_90_m2: tuple[float, float]
    rolling_resistance: float
    rolling_resistance_sd: float
    rolling_resistance_90: tuple[float, float]
    grade: float
    headwind_m_per_s: float
    speed_error_m_per_s: float
    compared: int
    at_bounds: tuple[str, ...]
    verdict: Word
    reason: str
    modelled: tuple[Array, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Day:
    """What the runs share: bike, air, and the road where it is not fitted."""

    machine: Machine
    density: float
    grade: float
    headwind_m_per_s: float


@dataclass(frozen=True, eq=False)
class _Solution:
    """Fitted numbers (drag area, rolling, and with runs back slope and wind), their errors by white noise, speeds."""

    values: Array
    white_sd: Array
    speed_error_m_per_s: float
    modelled: tuple[Array, ...]


def load_coast_run(path: str | Path) -> CoastRun:
    """Return a run from a CSV with `time_s` and `speed_m_per_s` or `speed_km_h`, or heads that speak of both.

    Raises LogError.
    """
    table = read_table(path)
    speed = next((name for name in SPEED_COLUMNS if name in table), None)
    if "time_s" not in table or speed is None:
        time, values = _by_heads(path, ", ".join(map(str, table.columns[:6])))
    else:
        rows = numbers(table, ["time_s", speed]).dropna()
        time = rows["time_s"].to_numpy(np.float64)
        values = rows[speed].to_numpy(np.float64) * to_si(1.0, SPEED_COLUMNS[speed])
    if len(time):
        refuse_span(str(path), float(time.min()), float(time.max()), LONGEST_RUN_S)
    if np.any(np.abs(values) > FASTEST_M_PER_S):
        what = f"has a speed of {np.abs(values).max():.3g} m/s, at most {FASTEST_M_PER_S:g}"
        raise LogError(str(path), what, "mend the readings, or their unit in the column's name")
    return checked_run(CoastRun(str(path), time - time[:1].sum(), values))


def _by_heads(path: str | Path, there: str) -> tuple[Array, Array]:
    """Return clock [s] and speed [m/s] of a table whose heads tell both with a unit. Raises LogError."""
    nameless = LogError(str(path), f"has the columns {there}", "name them time_s and speed_m_per_s or speed_km_h")
    try:
        sheet = read_sheet(path)
    except LogError:
        raise nameless from None
    guessed = [guess_column(head, sheet.units[at], sheet.numbers(at)) for at, head in enumerate(sheet.heads)]
    clocks = [at for at, each in enumerate(guessed) if each.quantity == TIME and each.unit in ("", "s", "ms", "min")]
    speeds = [at for at, each in enumerate(guessed) if each.quantity in SPEEDS and each.unit_said]
    if len(clocks) != 1 or len(speeds) != 1:
        raise nameless
    time = to_si(sheet.numbers(clocks[0]), guessed[clocks[0]].unit or "s")
    values = to_si(sheet.numbers(speeds[0]), guessed[speeds[0]].unit)
    known = np.isfinite(time) & np.isfinite(values)
    return time[known], values[known]


def checked_run(run: CoastRun) -> CoastRun:
    """Return the part of a run above SLOWEST_M_PER_S. Raises LogError where it cannot be fitted."""
    slow = np.flatnonzero(run.speed_m_per_s < SLOWEST_M_PER_S)
    last = int(slow[0]) if slow.size else len(run.time_s)
    time, speed = run.time_s[:last], run.speed_m_per_s[:last]
    if len(time) < LEAST_READINGS:
        what = f"has {len(time)} readings above {from_si(SLOWEST_M_PER_S, 'km_h'):.1f} km/h"
        raise LogError(run.path, what, f"give at least {LEAST_READINGS}")
    if np.any(np.diff(time) <= 0.0):
        raise LogError(run.path, "time_s does not rise", "sort the rows and drop repeats")
    if speed[0] - speed.min() < LEAST_FALL_M_PER_S:
        what = f"loses only {speed[0] - speed.min():.1f} m/s, at least {LEAST_FALL_M_PER_S:g} needed"
        raise LogError(run.path, what, "coast longer, from a higher speed")
    if speed[0] > FAST_M_PER_S:
        what = f"begins at {speed[0]:.1f} m/s, that is {from_si(float(speed[0]), 'km_h'):.0f} km/h"
        raise LogError(run.path, what, "name the column speed_km_h if it holds km/h, or cut off the fast part")
    return CoastRun(run.path, time, speed)


def fit_coastdown(
    there: Sequence[CoastRun],
    back: Sequence[CoastRun] = (),
    *,
    mass_kg: float,
    temperature_c: float = 15.0,
    altitude_m: float = 0.0,
    grade_percent: float = 0.0,
    headwind_m_per_s: float = 0.0,
) -> CoastFit:
    """Return drags from runs one way and, if any, the other; mass is rider and bike. Raises LogError."""
    if not (there or back):
        raise LogError("coast-down", "has no run", "give at least one")
    if not MASS_RANGE_KG[0] <= mass_kg <= MASS_RANGE_KG[1]:
        allowed = f"allowed {MASS_RANGE_KG[0]:g} to {MASS_RANGE_KG[1]:g} kg"
        raise LogError("mass", f"{mass_kg:g} kg is out of range ({allowed})", "give rider and bike together")
    for name, value in (("temperature", temperature_c), ("altitude", altitude_m), ("grade", grade_percent),
                        ("head wind", headwind_m_per_s)):  # fmt: skip
        low, high, unit = THINKABLE[name]
        if not low <= value <= high:
            raise LogError(name, f"{value:g} {unit} is out of range (allowed {low:g} to {high:g} {unit})", "mend it")
    ways = (tuple(map(checked_run, there)), tuple(map(checked_run, back)))
    _refuse_twins((*ways[0], *ways[1]))
    machine = Machine(mass_kg, WHEELS_KG, WHEEL_DRAG_AREA_M2, CHAIN_EFFICIENCY)
    density = float(air_density(pressure_pa(altitude_m), temperature_c, HUMIDITY))
    day = _Day(machine, density, to_si(grade_percent, "percent"), headwind_m_per_s)
    whole = _solve(*ways, day)
    compared, sd, half = _spread(*ways, day, whole)
    found = edges(whole.values)
    bounds = tuple(each.reason for each in found if each.verdict != FINE)
    drag_area, rolling = (float(value) for value in whole.values[:2])
    intervals = [(max(value - each, 0.0), value + each) for value, each in zip((drag_area, rolling), half, strict=True)]
    verdict, reason = _judge(found, compared, (half[0] / drag_area, half[1] / rolling), bool(there and back))
    road = whole.values[2:] if len(whole.values) > 2 else (day.grade, day.headwind_m_per_s)
    return CoastFit(
        ways[0] + ways[1], len(back), mass_kg, drag_area, sd[0], intervals[0], rolling, sd[1], intervals[1],
        float(road[0]), float(road[1]), whole.speed_error_m_per_s, compared, bounds, verdict, reason, whole.modelled,
        _notes(bool(there and back), compared),
    )  # fmt: skip


def _refuse_twins(runs: Sequence[CoastRun]) -> None:
    """Raise LogError for a run that is given twice: it would agree with itself, and the spread would vanish."""
    for one, other in combinations(runs, 2):
        same = len(one.time_s) == len(other.time_s)
        if same and np.array_equal(one.speed_m_per_s, other.speed_m_per_s):
            raise LogError(other.path, f"is the same run as {one.path}", "give each run once")


def _solve(
    there: Sequence[CoastRun], back: Sequence[CoastRun], day: _Day, start: Sequence[float] | Array = START
) -> _Solution:
    """Least squares of all runs' speeds; each run has a first speed of its own."""
    runs, ways = (*there, *back), [1.0] * len(there) + [-1.0] * len(back)
    fitted = 4 if back and there else 2
    given = np.array([day.grade, day.headwind_m_per_s])

    def speeds(values: Array) -> list[Array]:
        """Return the speeds [m/s] of every run as drags, road and first speeds have them."""
        road = values[2:4] if fitted == 4 else given
        return [
            coasted(run.time_s, first, day.machine, day.density, values[0], values[1], way * road[0], way * road[1])
            for run, first, way in zip(runs, values[fitted:], ways, strict=True)
        ]

    measured = np.concatenate([run.speed_m_per_s for run in runs])
    firsts = [float(run.speed_m_per_s[0]) for run in runs]

    def misses(values: Array) -> Array:
        """Return modelled less measured speeds [m/s]."""
        return np.concatenate(speeds(values)) - measured

    found = least_squares(
        misses,
        np.array([*start[:fitted], *firsts]),
        bounds=([*LOWEST[:fitted], *(0.5 * v for v in firsts)], [*HIGHEST[:fitted], *(1.5 * v for v in firsts)]),
        x_scale=[*SCALE[:fitted], *firsts],
    )
    error = math.sqrt(2.0 * found.cost / max(len(measured) - len(found.x), 1))
    slopes = np.asarray(found.jac, dtype=np.float64)
    spread = error * np.sqrt(np.diag(np.linalg.pinv(slopes.T @ slopes)))
    return _Solution(found.x[:fitted], spread[:fitted], error, tuple(speeds(found.x)))


def _spread(
    there: Sequence[CoastRun], back: Sequence[CoastRun], day: _Day, whole: _Solution
) -> tuple[int, tuple[float, float], tuple[float, float]]:
    """Return how many runs or pairs were compared, and sd and half interval of drag area and rolling coefficient."""
    from scipy.special import stdtrit

    groups = min(len(there), len(back)) if there and back else len(there) + len(back)
    if groups < 2:
        sd = np.hypot(whole.white_sd[:2], METHOD_SD)
        half = float(stdtrit(np.inf, 0.5 * (1.0 + INTERVAL))) * sd
    else:
        kept = [(_leave_out(there, group, groups), _leave_out(back, group, groups)) for group in range(groups)]
        without = np.array([_solve(*runs, day, whole.values).values[:2] for runs in kept])
        sd = np.sqrt((groups - 1) / groups * np.sum((without - without.mean(axis=0)) ** 2, axis=0))
        half = float(stdtrit(groups - 1, 0.5 * (1.0 + INTERVAL))) * sd
    return groups, (float(sd[0]), float(sd[1])), (float(half[0]), float(half[1]))


def _leave_out(runs: Sequence[CoastRun], group: int, groups: int) -> tuple[CoastRun, ...]:
    return tuple(run for number, run in enumerate(runs) if number % groups != group)


def edges(values: Array) -> list[Finding]:
    """Hold how far each number ended from the edges of what was searched, as a share of that."""
    found = []
    for name, value, low, high in zip(NAMES, values, LOWEST, HIGHEST, strict=False):
        left, edge = min((value - low, low), (high - value, high))
        words = f"{name} ended at {edge:g}, the edge of the search"
        found.append(hold("coast_edge", float(left / (high - low)), AT_A_BOUND, words))
    return found


def _judge(ends: list[Finding], compared: int, shares: tuple[float, float], both_ways: bool) -> tuple[Word, str]:
    word = worst(each.verdict for each in ends)
    if word != FINE:
        bounds = "; ".join(each.reason for each in ends if each.verdict != FINE)
        return word, f"{bounds}: the runs do not tell it (mass, units, a brake that drags?)"
    what, several = ("pair of runs there and back", "pairs of runs") if both_ways else ("run", "runs")
    alone = f"one {what} says nothing of its own error: the interval is other people's; coast again"
    few = hold("coast_runs", compared, LEAST_COMPARED, alone)
    if few.verdict != FINE:
        return few.verdict, few.reason
    held = {
        name: hold("coast_spread", share, WIDE_SHARE).verdict
        for name, share in zip(("drag area", "rolling resistance"), shares, strict=True)
    }
    wide = [
        f"{name} to ± {share:.0%}" for (name, word), share in zip(held.items(), shares, strict=True) if word != FINE
    ]
    if wide:
        words = f"the spread between {compared} {several} leaves {' and '.join(wide)}: coast more often"
        return worst(held.values()), words
    area, rolling = (f"± {share:.0%}" if share >= LEAST_TOLD else f"within {LEAST_TOLD:.0%}" for share in shares)
    agree = f"{compared} {several} agree: drag area to {area}, rolling resistance to {rolling}"
    one_way = f"{agree}; but all go one way, and a slope or a wind that they share reads as drag: add runs back"
    ways = hold("coast_ways", 2.0 if both_ways else 1.0, 2.0, one_way)
    return (ways.verdict, ways.reason if ways.verdict != FINE else agree)


LEAST_TOLD = 0.01
"""Share of a value below which runs are not said to agree: two may do so by chance."""


SHARED = (
    "what all runs share is in no interval: drag area goes up and down with the mass; a posture, warm tyres, the day's "
    "wind are of that day"
)


def _notes(both_ways: bool, compared: int) -> tuple[str, ...]:
    how = f"from the spread between {compared}, by Student's factor" if compared > 1 else "by other people's scatter"
    notes = [
        f"intervals hold the truth nine times in ten: {how}; the readings of one run err together in a gust",
        *((SHARED,) if compared > 1 else ()),
        "method alone scatters by about 0.001 in rolling and 0.1 m² in drag area (Tengattini 2017)",
    ]
    if not both_ways:
        notes.append("one way only: a slope of 0.1 % reads as 0.001 of rolling resistance; add runs the other way")
    return tuple(notes)


def coasted(
    time_s: Array,
    first: float,
    machine: Machine,
    density: float,
    drag_area: float,
    crr: float,
    grade: float,
    wind: float,
) -> Array:
    """Return the speed at each time of a bike that coasts from `first` [m/s], bearings included, (n,)."""
    speed = np.zeros(len(time_s))
    sine = float(sine_of(np.array([grade]))[0])
    _coast(
        time_s, first, machine.mass_kg, machine.wheels_kg, density, drag_area + machine.wheel_drag_area_m2, crr, sine,
        wind, speed,
    )  # fmt: skip
    return speed


@kernel
def _slowing(
    v: float, mass: float, wheels: float, density: float, drag_area: float, crr: float, sine: float, wind: float
) -> float:
    force = air_drag(density, drag_area, v, wind, 0.0) + rolling_drag(crr, mass, math.sqrt(1.0 - sine * sine))
    return (force + bearing_drag(v) + grade_force(mass, sine)) / (mass + wheels)


@kernel
def _coast(
    time: Array, first: float, mass: float, wheels: float, density: float, drag_area: float, crr: float, sine: float,
    wind: float, out: Array,
) -> None:  # fmt: skip
    """Midpoint rule in steps of at most SUBSTEP_S."""
    v = first
    out[0] = v
    for i in range(1, time.size):
        steps = math.ceil((time[i] - time[i - 1]) / SUBSTEP_S)
        dt = (time[i] - time[i - 1]) / steps
        for _ in range(steps):
            middle = v - 0.5 * dt * _slowing(v, mass, wheels, density, drag_area, crr, sine, wind)
            v = v - dt * _slowing(middle, mass, wheels, density, drag_area, crr, sine, wind)
        out[i] = v
