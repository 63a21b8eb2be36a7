"""A recording of the bench: readings by quantity, its columns guessed or mapped as those of a ride's log are."""

from __future__ import annotations

from collections.abc import Mapping as ReadOnly
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import LogError
from ridesim.learn.clock import LONGEST_H, NUMBER_UNITS, read_clock
from ridesim.learn.faults import symbol
from ridesim.learn.mapping import HOLDS_NOTHING, Column, Mapping, guess_mapping, read_mapping
from ridesim.learn.quantities import BY_NAME, IGNORED, TIME, in_own_unit
from ridesim.learn.sheet import Sheet, read_sheet
from ridesim.units import from_si, to_si

BELIEVED: dict[str, tuple[float, float]] = {
    "pack_voltage_v": (0.0, 500.0), "pack_current_a": (-1000.0, 1000.0), "motor_current_a": (-2000.0, 2000.0),
    "motor_speed_rpm": (-1e5, 1e5), "electrical_speed_rpm": (-1e6, 1e6), "wheel_speed_rpm": (-5000.0, 5000.0),
    "duty": (-1.1, 1.2), "winding_temperature_c": (-40.0, 400.0), "body_temperature_c": (-40.0, 400.0),
    "air_temperature_c": (-40.0, 60.0), "air_speed_km_h": (0.0, 200.0), "speed_km_h": (0.0, 160.0),
    "gps_speed_km_h": (0.0, 160.0),
}  # fmt: skip
"""What a motor on a bench may show, each in its own unit (guess); a bench supply gives less than any pack."""
MAP_MARK = "@"
TO_CORRECT = "correct it: ridesim log FILE --mapping-only > map.toml, then name FILE@map.toml"

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class BenchTable:
    """A bench recording: `columns` by quantity, each (n,) in its own unit, nan where nothing was read.

    `time_s`: seconds from the first row, (n,); None where the file has no clock.
    """

    path: str
    sha256: str
    mapping: Mapping
    time_s: Array | None
    columns: ReadOnly[str, Array]
    notes: tuple[str, ...]

    def of(self, *names: str) -> Array | None:
        """Return the first of these quantities that the file holds."""
        return next((self.columns[name] for name in names if name in self.columns), None)

    def require(self, *names: str) -> Array:
        """Return the first of these quantities. Raises LogError where the file holds none of them."""
        found = self.of(*names)
        if found is None:
            there = ", ".join(self.columns) or "none that is known"
            wanted = " or ".join(f"{BY_NAME[name].words} ({name})" for name in names)
            empty = [each.head for each in self.mapping.columns if each.why == HOLDS_NOTHING]
            told = f" ({', '.join(empty)} holds no number)" if empty else ""
            raise LogError(self.path, f"has no column of {wanted}; it has {there}{told}", TO_CORRECT)
        return found


def read_bench_table(named: str, least_rows: int, *, timed: bool) -> BenchTable:
    """Return a bench recording; `named`: FILE, or FILE@MAP.toml with a mapping. `timed`: it needs a clock.

    Raises LogError for what is no table, has too few rows, a clock that goes back, or units that no bench has.
    """
    path, mark, map_path = named.rpartition(MAP_MARK)
    mapped = bool(mark) and map_path.endswith(".toml")
    sheet = read_sheet(path if mapped else named, least_rows)
    mapping = read_mapping(map_path, sheet, timed=timed) if mapped else _guessed(sheet)
    column = mapping.of(TIME)
    if timed and column is None:
        heads = ", ".join(sheet.heads[:12])
        raise LogError(sheet.path, f"no column is a clock (it has {heads})", TO_CORRECT)
    notes: list[str] = list(sheet.notes)
    time, keep = None, np.ones(sheet.rows, dtype=bool)
    if timed and column is not None:
        clock = read_clock(sheet, column.number - 1, column.unit, sheet.path)
        time, keep = clock.time_s, clock.keep
        notes += clock.notes
    columns = {}
    for each in mapping.columns:
        if each.quantity in BELIEVED:
            columns[each.quantity] = _readings(sheet, each, notes)[keep]
    return BenchTable(sheet.path, sheet.sha256, mapping, time, columns, tuple(notes))


def _guessed(sheet: Sheet) -> Mapping:
    """Return the guessed mapping; a clock without a unit counts seconds, unless that would be days of it.

    A log of a ride is read at 0.2 to 50 rows a second, from which its unit is told; a bench is also read once a minute.
    """
    guessed = guess_mapping(sheet)
    # A supply is no pack: its voltage may rise with its current, and a bench reads sizes alone.
    plain = tuple(replace(each, sign=1, why=each.why.split("; turned round")[0]) for each in guessed.columns)
    guessed = replace(guessed, columns=plain)
    clock = guessed.of(TIME)
    if clock is None or clock.unit not in NUMBER_UNITS or clock.unit_said or "by its values" not in clock.why:
        return guessed
    numbers = sheet.numbers(clock.number - 1)
    known = numbers[np.isfinite(numbers)]
    if known.size and np.ptp(known) > to_si(LONGEST_H, "h"):
        return guessed
    seconds = replace(clock, unit="s", why="its head; no unit is named: seconds")
    return replace(guessed, columns=tuple(seconds if each is clock else each for each in guessed.columns))


def _readings(sheet: Sheet, column: Column, notes: list[str]) -> Array:
    """Return a column's readings, those beyond belief blanked. Raises LogError where most are."""
    quantity = BY_NAME[column.quantity]
    raw = sheet.numbers(column.number - 1) * column.scale * column.sign + column.offset
    values = in_own_unit(quantity, raw, column.unit)
    known = np.isfinite(values)
    head = f"column {column.number} ({column.head})"
    if not known.any():
        raise LogError(sheet.path, f"{head} holds no number", TO_CORRECT)
    low, high = BELIEVED[column.quantity]
    strange = known & ((values < low) | (values > high))
    if strange.sum() > 0.5 * known.sum():
        unit = symbol(quantity)
        what = f"{head} reads {np.median(values[known]):.4g} {unit} in its middle, outside {low:g} to {high:g} {unit}"
        raise LogError(sheet.path, " ".join(what.split()), f"is its unit another? {TO_CORRECT}")
    if strange.any():
        notes.append(f"{head}: {strange.mean():.1%} of the readings are outside {low:g} to {high:g}: left out")
    if (~known).any():
        notes.append(f"{head}: {(~known).mean():.1%} of the rows are empty or no number")
    return np.where(strange, np.nan, values)


def guessed_columns(table: BenchTable) -> tuple[tuple[str, str, str, str], ...]:
    """Return each column that was read: its head, quantity and unit, and why it is taken for that."""
    return tuple(
        (each.head, each.quantity, each.unit, f"guess: {each.why}" if table.mapping.guessed else "as the mapping says")
        for each in table.mapping.columns
        if each.quantity != IGNORED and (each.quantity in BELIEVED or (each.quantity == TIME and _timed(table)))
    )


def _timed(table: BenchTable) -> bool:
    return table.time_s is not None


def averaged_rows(most: int, *columns: Array) -> tuple[Array, ...]:
    """Return columns averaged over neighbouring rows until there are at most `most` of them."""
    factor = -(-len(columns[0]) // most)
    if factor <= 1:
        return columns
    count = len(columns[0]) // factor * factor
    return tuple(each[:count].reshape(-1, factor).mean(axis=1) for each in columns)


def span_words(seconds: float) -> str:
    """Return a length of time in words a person reads: 90 s, 45 min, 2.5 h."""
    if seconds < to_si(2.0, "min"):
        return f"{seconds:.3g} s"
    return f"{from_si(seconds, 'min'):.3g} min" if seconds < to_si(2.0, "h") else f"{from_si(seconds, 'h'):.3g} h"
