"""Clocks of a log: numbers, dates and times of day, made into rising seconds; or refused in one line."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import LogError
from ridesim.units import from_si, to_si

if TYPE_CHECKING:
    import pandas as pd

    from ridesim.learn.sheet import Sheet

NUMBER_UNITS = ("s", "ms", "us", "min", "h", "days")
TIME_UNITS = (*NUMBER_UNITS, "date", "time_of_day")
"""Units of a clock: numbers since whenever, a date with its time, a time of day (or since the start) with colons."""

INTERVALS_S = (0.015, 6.0)
"""Recorders write 0.2 to 50 rows a second."""
DAY_S = to_si(1.0, "days")
EPOCHS = ((1e8, 4e9, "s"), (1e11, 4e12, "ms"), (1e14, 4e15, "us"), (3e4, 8e4, "days"))
"""Where clocks that count from 1970 (or in days from 1900) stand today, and their unit."""
LONGEST_H = 48.0
MOST_BACK = 0.02
"""Share of rows that may stand out of order by one row alone (guess)."""
_TIME_OF_DAY = re.compile(r"^\s*(?:(\d{1,3}):)?(\d{1,2}):(\d{1,2}(?:[.,]\d+)?)\s*([aApP][mM])?\s*$")

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Clock:
    """Seconds from the first row, rising, of the rows kept; the first row's time since 1970 where it is known."""

    time_s: Array
    keep: NDArray[np.bool_]
    epoch_s: float | None
    notes: tuple[str, ...]


def kind_of_clock(sheet: Sheet, at: int, unit_told: str) -> str | None:
    """Return the unit of a column that is a clock, told or guessed by its values, or None where it is none."""
    column = sheet.frame.iloc[:, at].dropna()
    if len(column) < 2:
        return None
    if column.dtype == object or str(column.dtype).startswith("str"):
        sample = column.iloc[:50].astype(str)
        if sample.str.match(_TIME_OF_DAY).mean() > 0.9:
            return "time_of_day"
        if sample.str.contains(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[T ,]+\d{1,2}:\d{2}", regex=True).mean() > 0.9:
            return "date"
        if not sheet.decimal_comma:
            return None
    values = sheet.numbers(at)
    return _kind_of_numbers(values[np.isfinite(values)], unit_told)


def _kind_of_numbers(values: Array, unit_told: str) -> str | None:
    if len(values) < 2:
        return None
    steps = np.diff(values)
    rising = steps[steps > 0.0]
    if len(rising) < 0.2 * len(steps):
        return None
    if unit_told in NUMBER_UNITS:
        return unit_told
    middle = float(np.median(values))
    for low, high, unit in EPOCHS:
        if low <= middle <= high and _fits(float(np.median(rising)), unit):
            return unit
    interval = (values[-1] - values[0]) / max(len(steps), 1)
    found = [unit for unit in ("s", "ms", "us", "min", "h", "days") if _fits(abs(interval), unit)]
    return found[0] if found else "s"


def _fits(interval: float, unit: str) -> bool:
    low, high = INTERVALS_S
    return low <= to_si(interval, unit) <= high


def read_clock(sheet: Sheet, at: int, unit: str, where: str) -> Clock:
    """Return the clock of a column. Raises LogError where it does not rise."""
    epoch: float | None = None
    if unit == "date":
        seconds = _dates(sheet.frame.iloc[:, at])
        first = seconds[np.isfinite(seconds)][:1]
        epoch = float(first[0]) if first.size else None
    elif unit == "time_of_day":
        seconds = _times_of_day(sheet.frame.iloc[:, at])
    else:
        numbers = sheet.numbers(at)
        seconds = to_si(numbers, unit)
        middle = float(np.nanmedian(numbers)) if np.isfinite(numbers).any() else 0.0
        for low, high, epoch_unit in EPOCHS[:3]:
            if unit == epoch_unit and low <= middle <= high:
                epoch = float(seconds[np.isfinite(seconds)][0])
    head = sheet.heads[at]
    if not np.isfinite(seconds).any():
        raise LogError(where, f"{head} holds no time that can be read", f"name its unit: {', '.join(TIME_UNITS)}")
    return _rising(seconds, epoch, where, head, unit)


def _dates(column: pd.Series) -> Array:
    import pandas as pd

    text = column.astype(str).str.strip().str.replace(",", ".", regex=False)
    found = pd.to_datetime(text, errors="coerce", format="ISO8601", utc=True)
    if found.isna().mean() > 0.5:
        day_first = bool(text.iloc[:1000].str.match(r"^(1[3-9]|2\d|3[01])[-/.]").any()) or bool(
            text.iloc[:50].str.match(r"^\d{1,2}\.\d{1,2}\.").any()
        )
        found = pd.to_datetime(text, errors="coerce", format="mixed", dayfirst=day_first, utc=True)
    missing = np.asarray(found.isna())
    whole = np.asarray(found.astype("datetime64[ns, UTC]").astype("int64"), dtype=np.int64)
    seconds = whole / to_si(1.0, "s") / NANOSECONDS
    return np.where(missing, np.nan, seconds)


NANOSECONDS = 1_000_000_000
"""In a second."""


def _times_of_day(column: pd.Series) -> Array:
    parts = column.astype(str).str.extract(_TIME_OF_DAY)
    hours = parts[0].fillna("0").astype(float)
    minutes = parts[1].astype(float)
    seconds = parts[2].str.replace(",", ".", regex=False).astype(float)
    half = parts[3].str.lower()
    hours = hours.mod(12.0).where(half.notna(), hours) + half.eq("pm") * 12.0
    total = to_si(np.asarray(hours, dtype=np.float64), "h") + to_si(np.asarray(minutes, dtype=np.float64), "min")
    return _past_midnight(total + np.asarray(seconds, dtype=np.float64))


def _past_midnight(seconds: Array) -> Array:
    """Add a day behind each fall by more than half a day."""
    known = np.isfinite(seconds)
    steps = np.diff(seconds[known])
    days = np.concatenate(([0.0], np.cumsum(steps < -0.5 * DAY_S)))
    passed = seconds.copy()
    passed[known] += DAY_S * days
    return passed


def _rising(seconds: Array, epoch: float | None, where: str, head: str, unit: str) -> Clock:
    notes: list[str] = []
    known = np.isfinite(seconds)
    if not known.all():
        notes.append(f"{head}: {(~known).mean():.2%} of the rows have no time and were left out")
    if unit == "s" and float(np.nanmax(seconds)) <= DAY_S * 1.0001:
        seconds = _past_midnight(seconds)
    seconds, spread = _within_ticks(seconds, known)
    if spread:
        notes.append(f"{head} ticks more slowly than rows are written: rows of one tick are spread evenly over it")
    keep, lone = _in_order(seconds, known)
    _refuse_falling(seconds, keep & known, lone, where, head)
    repeated = int((known & ~keep).sum()) - lone
    if repeated:
        notes.append(f"{repeated} rows ({repeated / len(seconds):.2%}) are doubled: same time as the row before")
    if lone:
        notes.append(f"{lone} rows ({lone / len(seconds):.2%}) stand out of order in time and were left out")
    time = seconds[keep]
    span = float(time[-1] - time[0]) if len(time) else 0.0
    if not span > 0.0:
        raise LogError(where, f"{head} does not move", "name another column as the clock, or mend the recording")
    if span > to_si(LONGEST_H, "h"):
        what = f"{head} spans {from_si(span, 'h'):.4g} h when read in {unit}, at most {LONGEST_H:g} h"
        raise LogError(where, what, "mend its unit in a mapping, or give one ride at a time")
    return Clock(time - time[0], keep, epoch, tuple(notes))


def _within_ticks(seconds: Array, known: NDArray[np.bool_]) -> tuple[Array, bool]:
    """Spread rows of one tick evenly over it, where most rows share theirs with others."""
    at = np.flatnonzero(known)
    values = seconds[at]
    steps = np.diff(values)
    rising = steps[steps > 0.0]
    if len(values) < 4 or not rising.size or (steps == 0.0).mean() < 0.4:
        return seconds, False
    tick = float(np.median(rising))
    fresh = np.concatenate(([True], steps != 0.0))
    group = np.cumsum(fresh) - 1
    counts = np.bincount(group)
    usual = float(np.median(counts))
    if usual < 2.0:
        return seconds, False
    place = np.arange(len(values)) - np.flatnonzero(fresh)[group]
    room = np.maximum(counts[group], usual)
    # The first tick was begun somewhere in its middle: its rows stand at its end.
    place = np.where(group == 0, place + room - counts[0], place)
    spread = seconds.copy()
    spread[at] = values + tick * place / room
    return spread, True


def _in_order(seconds: Array, known: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], int]:
    """Return the rows whose time is above all before them, lone rows of another time left out; and how many such."""
    at = np.flatnonzero(known)
    values = seconds[at]
    lone = np.zeros(len(values), dtype=bool)
    if len(values) > 2:
        before, after = values[:-2], values[2:]
        middle = values[1:-1]
        lone[1:-1] = (after > before) & ((middle > after) | (middle < before))
        lone[1:-1] &= ~np.concatenate(([False], lone[1:-2]))
    stays = ~lone
    highest = np.maximum.accumulate(np.where(stays, values, -np.inf))
    fresh = np.concatenate(([True], values[1:] > highest[:-1])) & stays
    keep = np.zeros(len(seconds), dtype=bool)
    keep[at[fresh]] = True
    return keep, int(lone.sum())


def _refuse_falling(seconds: Array, keep: NDArray[np.bool_], lone: int, where: str, head: str) -> None:
    """Raise LogError for a clock that goes back for longer than one row here and there."""
    known = np.isfinite(seconds)
    highest = np.fmax.accumulate(np.where(keep, seconds, -np.inf))
    back = known & ~keep & (seconds < highest - 1e-9)
    if lone <= max(1.0, MOST_BACK * len(seconds)) and int(back.sum()) <= max(lone, 1):
        return
    if not back.any():  # it leaps ahead and comes back, again and again
        row = int(np.flatnonzero(known & ~keep)[0])
        what = f"{head} leaps off its line in {lone} of {len(seconds)} readings, first at reading {row + 1}"
        raise LogError(where, what, "mend the clock, or name another column as the clock")
    row = int(np.flatnonzero(back)[0])
    by = float(highest[row] - seconds[row])
    what = f"{head} goes back by {by:.4g} s (reading {row + 1} of {len(seconds)})"
    raise LogError(where, what, "cut the recording there, or sort its rows; one ride at a time")


def drift_ppm(clock: Clock, other: Clock) -> tuple[float, float]:
    """Return by how much the other clock gains on the first [parts per million], and one deviation of it.

    A straight line through both, row by row; a clock of whole seconds errs by its ticks, whose scatter is the error's,
    and by what even rows never see of a tick.
    """
    both = clock.keep & other.keep
    mine, theirs = clock.time_s[both[clock.keep]], other.time_s[both[other.keep]]
    if len(mine) < LEAST_COMMON or mine[-1] <= mine[0]:
        return 0.0, float("inf")
    x = mine - mine.mean()
    slope = float(x @ (theirs - mine) / (x @ x))
    left = (theirs - mine) - (theirs - mine).mean() - slope * x
    # Ticks scatter alike from row to row of one second: only so many are independent as seconds pass.
    independent = min(float(len(x)), max(float(mine[-1] - mine[0]), 3.0))
    error = float(np.std(left)) / (float(np.std(x)) * float(np.sqrt(independent)))
    return slope * MILLION, float(np.hypot(error, _unseen(mine, theirs) / (mine[-1] - mine[0]))) * MILLION


def _unseen(mine: Array, theirs: Array) -> float:
    """Return the longest part of a tick in which no row falls [s]; 0 for a clock that ticks as fast as rows come.

    Rows of an even fifth of a second meet a whole second at five places only: what drifts between them is not seen.
    """
    steps = np.diff(theirs)
    rising = steps[steps > 0.0]
    if not rising.size or len(rising) > 0.5 * len(steps):
        return 0.0
    tick = float(np.median(rising))
    places = np.sort(np.mod(mine, tick))
    return float(np.diff(places, append=places[0] + tick).max())


LEAST_COMMON = 100
MILLION = 1e6
