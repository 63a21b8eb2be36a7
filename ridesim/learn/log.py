"""A log of a ride, from any table of readings: columns by quantity on one even clock, gaps kept as gaps."""

from __future__ import annotations

from collections.abc import Mapping as ReadOnly
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ridesim.answers import Answer
from ridesim.errors import LogError
from ridesim.learn.clock import Clock, drift_ppm, kind_of_clock, read_clock
from ridesim.learn.faults import Finding, believed, clipped, refuse_units, stuck
from ridesim.learn.mapping import ANOTHER_CLOCK, HOLDS_NOTHING, Column, Mapping, guess_mapping, read_mapping
from ridesim.learn.quantities import BY_NAME, IGNORED, TIME, in_own_unit
from ridesim.learn.sheet import Sheet, read_sheet
from ridesim.units import from_si, to_si

GAP_S = 2.5
GAP_INTERVALS = 4.0
"""A silence longer than the first, and than so many of a column's usual intervals, is a gap (guess)."""
STANDING_KM_H = 1.8
"""Slower than this is standing: a receiver wanders about so fast (guess)."""
MOSTLY_RIDING = 0.5
LEAST_MOVING_S = 30.0
"""Less riding than this is a parked bike (guess)."""
MOTION = ("speed_km_h", "gps_speed_km_h", "motor_speed_rpm", "electrical_speed_rpm", "wheel_speed_rpm", "distance_km")
MOST_POINTS = 4_000_000

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, repr=False)
class Log(Answer):
    """A recorded ride: `columns` by quantity, each (n,) at `time_s`, nan where nothing was recorded.

    `epoch_s`: seconds since 1970 of the first row, where the clock tells it. `span_s`: from the first row to the last.
    """

    path: str
    sha256: str
    mapping: Mapping
    step_s: float
    time_s: Array
    columns: ReadOnly[str, Array]
    epoch_s: float | None
    rows: int
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]
    rounding: ReadOnly[str, tuple[float, float]] = field(default_factory=dict)
    """By quantity: the step to which readings are rounded, and how far they jitter from one to the next (a deviation),
    both in the quantity's unit."""

    @property
    def span_s(self) -> float:
        """Seconds from the first row to the last."""
        return float(self.time_s[-1])

    def __contains__(self, name: str) -> bool:
        return name in self.columns

    def require(self, *names: str) -> None:
        """Raise LogError for a quantity that the log lacks."""
        for name in names:
            if name not in self.columns:
                there = ", ".join(self.columns) or "none that is known"
                what = f"has no {BY_NAME[name].words} ({name}; it has {there})"
                raise LogError(self.path, what, "map a column to it: ridesim log LOG --mapping-only")


def load_log(path: str | Path, mapping: str | Path | None = None) -> Log:
    """Return a log by its mapping file, or by guesses. Raises LogError for what is no log of a ride."""
    sheet = read_sheet(path)
    return log_of(sheet, guess_mapping(sheet) if mapping is None else read_mapping(mapping, sheet))


@np.errstate(over="ignore", invalid="ignore")  # of readings beyond all numbers: they are not believed
def log_of(sheet: Sheet, mapping: Mapping) -> Log:
    """Return the log of a sheet. Raises LogError."""
    column = mapping.of(TIME)
    if column is None:
        heads = ", ".join(sheet.heads[:12])
        raise LogError(
            sheet.path,
            f"no column is a clock (it has {heads})",
            "name the clock in a mapping: ridesim log LOG --mapping-only",
        )
    clock = read_clock(sheet, column.number - 1, column.unit, sheet.path)
    step = _step(clock.time_s)
    time = np.arange(0.0, clock.time_s[-1] + 0.5 * step, step)
    if len(time) > MOST_POINTS:
        what = f"spans {from_si(clock.time_s[-1], 'h'):.3g} h in steps of {step:.3g} s"
        raise LogError(sheet.path, what, f"give at most {MOST_POINTS} readings")
    findings: list[Finding] = [*_gaps(clock, step)]
    columns: dict[str, Array] = {}
    rounding: dict[str, tuple[float, float]] = {}
    riding = np.zeros(len(time), dtype=bool)
    held = [each for each in mapping.columns if each.quantity not in (TIME, IGNORED)]
    for motion in (True, False):
        for each in held:
            if (each.quantity in MOTION) is motion:
                values, found = _readings(sheet, each, clock)
                findings += found
                columns[each.quantity] = _on_even_clock(time, clock.time_s, values)
                rounding[each.quantity] = _rounding(values)
        if motion and columns:
            riding = _riding(sheet.path, columns, step)
            _refuse_slow(sheet.path, columns, riding)
    if not columns:
        heads = ", ".join(sheet.heads[:12])
        what = f"no column but the clock holds readings that are known (it has {heads})"
        raise LogError(sheet.path, what, "name them in a mapping: ridesim log LOG --mapping-only")
    _no_null_island(columns)
    read = dict(columns)
    for name in read:
        columns[name], frozen = stuck(name, read, step, riding)
        findings += [frozen] if frozen else []
    empty = [f"{each.head} holds no number" for each in mapping.columns if each.why == HOLDS_NOTHING]
    notes = (*sheet.notes, *clock.notes, *empty, *_drifts(sheet, mapping, clock))
    return Log(
        sheet.path,
        sheet.sha256,
        mapping,
        step,
        time,
        columns,
        clock.epoch_s,
        sheet.rows,
        tuple(findings),
        notes,
        rounding,
    )


def _drifts(sheet: Sheet, mapping: Mapping, clock: Clock) -> list[str]:
    """Say by how much the recorder's other clocks run off the one that is read."""
    told = []
    main = mapping.of(TIME)
    for each in mapping.columns:
        kind = kind_of_clock(sheet, each.number - 1, "") if each.why == ANOTHER_CLOCK else None
        if kind is None or main is None:
            continue
        try:
            other = read_clock(sheet, each.number - 1, kind, sheet.path)
        except LogError:
            continue  # one that does not rise is no clock
        ppm, error = drift_ppm(clock, other)
        if abs(ppm) > max(DRIFT_TOLD_PPM, 3.0 * error):
            told.append(f"the clock {each.head} runs {ppm:+.0f} ± {error:.0f} ppm off {main.head}, which is read")
    return told


DRIFT_TOLD_PPM = 10.0
"""Crystals differ by some tens of ppm; a tenth of a second in three hours moves nothing (guess)."""


def _step(time: Array) -> float:
    """Return the usual interval of a recorder [s], to three digits; it is at most the longest that is believed."""
    usual = float(np.median(np.diff(time)))
    return float(f"{usual:.3g}")


def _gaps(clock: Clock, step: float) -> list[Finding]:
    silent = np.diff(clock.time_s)
    dropped = silent[(silent > 1.5 * step) & (silent <= max(GAP_S, GAP_INTERVALS * step))]
    longer = silent[silent > max(GAP_S, GAP_INTERVALS * step)]
    span = float(clock.time_s[-1])
    found = []
    if dropped.size:
        lost = float((dropped - step).sum())
        words = f"{round(lost / step)} rows dropped here and there: drawn through"
        found.append(Finding("", "gap", lost / span, words))
    if longer.size:
        words = f"{longer.size} silences, the longest {longer.max():.0f} s: kept as gaps"
        found.append(Finding("", "gap", float(longer.sum()) / span, words))
    return found


def _readings(sheet: Sheet, column: Column, clock: Clock) -> tuple[Array, list[Finding]]:
    """Return a column's readings of the rows kept, in its quantity's own unit."""
    quantity = BY_NAME[column.quantity]
    raw = sheet.numbers(column.number - 1)[clock.keep] * column.scale * column.sign + column.offset
    refuse_units(quantity, raw, column.unit, sheet.path, f"column {column.number} ({column.head})")
    values, found = believed(quantity, in_own_unit(quantity, raw, column.unit))
    top = clipped(quantity, values)
    return values, [*found, *([top] if top else [])]


def _rounding(values: Array) -> tuple[float, float]:
    """Return the step to which readings are rounded, and their jitter from one to the next, by the first of them."""
    known = values[np.isfinite(values)][:LOOKED_AT]
    levels = np.unique(np.round(known, 9))
    if len(levels) < 2:
        return 0.0, 0.0
    return float(np.quantile(np.diff(levels), 0.02)), float(np.std(np.diff(known)) / np.sqrt(2.0))


LOOKED_AT = 50_000


def _on_even_clock(even: Array, time: Array, values: Array) -> Array:
    """Return readings drawn onto an even clock; nothing is drawn through a silence."""
    known = np.isfinite(values)
    if known.sum() < 2:
        return np.full(len(even), np.nan)
    at, read = time[known], values[known]
    longest = max(GAP_S, GAP_INTERVALS * float(np.median(np.diff(at))))
    drawn = np.interp(even, at, read, left=np.nan, right=np.nan)
    after = np.clip(np.searchsorted(at, even), 1, len(at) - 1)
    wide = (at[after] - at[after - 1] > longest) & (even > at[after - 1]) & (even < at[after])
    return np.where(wide, np.nan, drawn)


def _no_null_island(columns: dict[str, Array]) -> None:
    """Blank places at 0, 0: a receiver without a fix writes them."""
    if {"latitude_deg", "longitude_deg"} <= set(columns):
        lost = (np.abs(columns["latitude_deg"]) < NO_FIX_DEG) & (np.abs(columns["longitude_deg"]) < NO_FIX_DEG)
        for name in ("latitude_deg", "longitude_deg"):
            columns[name] = np.where(lost, np.nan, columns[name])


NO_FIX_DEG = 1e-6


def _riding(where: str, columns: ReadOnly[str, Array], step: float) -> NDArray[np.bool_]:
    """Return where the bike moves, by any column that tells it. Raises LogError for a log of a parked bike."""
    moving = [_moves(name, values, step) for name, values in columns.items()]
    riding = np.logical_or.reduce(moving)
    if float(riding.sum()) * step >= LEAST_MOVING_S:
        return np.asarray(riding)
    name, values = next(iter(columns.items()))
    if not np.any(np.nan_to_num(values) != 0.0):
        raise LogError(where, f"{name} is zero or empty in all readings", "give a recording of a ride")
    moves = float(riding.sum()) * step
    if riding.mean() > MOSTLY_RIDING:
        raise LogError(where, f"is of {moves:.0f} s alone", f"give a recording of a ride, {LEAST_MOVING_S:g} s or more")
    what = f"the bike stands still in it (it moves for {moves:.0f} s"
    what = f"{what}; {name} reaches {np.nanmax(np.abs(values)):.3g})"
    raise LogError(where, what, f"give a recording of a ride, {LEAST_MOVING_S:g} s or more")


def _refuse_slow(where: str, columns: ReadOnly[str, Array], riding: NDArray[np.bool_]) -> None:
    """Raise LogError for a speed that stays below walking while another column says that the bike rides."""
    for name in ("speed_km_h", "gps_speed_km_h"):
        values = columns.get(name, np.zeros(0))[riding] if name in columns else np.zeros(0)
        moving = values[np.isfinite(values) & (values > 0.0)]
        if moving.size > 0.5 * riding.sum() and float(np.max(moving)) < STANDING_KM_H:
            what = f"{name} never passes {float(np.max(moving)):.3g} km/h while the motor or the distance moves"
            raise LogError(where, what, "mend its unit in a mapping: ridesim log LOG --mapping-only")


def _moves(name: str, values: Array, step: float) -> NDArray[np.bool_]:
    if name == "distance_km":
        known = np.where(np.isfinite(values), values, 0.0)
        values = from_si(np.abs(np.gradient(to_si(known, "km"), step)), "km_h")
    quick = STANDING_KM_H if name.endswith(("km_h", "_km")) else TURNING_RPM
    return np.asarray(np.nan_to_num(np.abs(values)) > quick)


TURNING_RPM = 5.0
