"""The mapping of a log: which column holds what, in which unit; guessed from a sheet, written as TOML, read back."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import LogError
from ridesim.learn.clock import NUMBER_UNITS, TIME_UNITS, kind_of_clock
from ridesim.learn.guess import UNKNOWN, Guess, guess_column, temperature_of, unit_by_values, unit_in
from ridesim.learn.quantities import BY_NAME, IGNORED, QUANTITIES, READINGS, TIME
from ridesim.learn.sheet import Sheet
from ridesim.schema.source import read_whole
from ridesim.schema.texts import toml_value

MOST_BYTES = 1024 * 1024
ANOTHER_CLOCK = "another clock"
HOLDS_NOTHING = "it holds no number"
SIGN_TOLD = 0.3
"""Correlation from which two columns show that one of them counts the other way (guess)."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Column:
    """One column of a log, counted from 1; reading = (number in the file) * scale * sign + offset, in `unit`."""

    number: int
    head: str
    quantity: str
    unit: str = ""
    scale: float = 1.0
    offset: float = 0.0
    sign: int = 1
    reading: str = ""
    why: str = ""
    unit_said: bool = False


@dataclass(frozen=True)
class Mapping:
    """What each column of a log holds; `guessed`: by ridesim, not yet looked at by a person."""

    columns: tuple[Column, ...]
    guessed: bool
    where: str = ""

    def of(self, quantity: str) -> Column | None:
        """Return the column that holds a quantity, or None."""
        return next((each for each in self.columns if each.quantity == quantity), None)


@np.errstate(over="ignore", invalid="ignore")  # of readings beyond all numbers: they are not believed
def guess_mapping(sheet: Sheet) -> Mapping:
    """Return a guess for every column: by the words of its head, its unit by the head or by its values."""
    guesses = [guess_column(head, sheet.units[at], sheet.numbers(at)) for at, head in enumerate(sheet.heads)]
    guesses = _with_temperatures(sheet, guesses)
    clock = _clock_of(sheet, guesses)
    taken: set[str] = set()
    columns = []
    for at, each in enumerate(guesses):
        if clock is not None and at == clock[0]:
            columns.append(Column(at + 1, sheet.heads[at], TIME, clock[1], why=clock[2]))
            continue
        quantity, why = each.quantity, each.why
        if quantity == TIME:
            quantity, why = IGNORED, ANOTHER_CLOCK
        elif quantity != IGNORED and not np.isfinite(sheet.numbers(at)).any():
            quantity, why = IGNORED, HOLDS_NOTHING
        elif quantity != IGNORED and quantity in taken:
            quantity, why = IGNORED, f"an earlier column holds the same ({quantity})"
        taken.add(quantity)
        unit = each.unit if quantity != IGNORED else ""
        columns.append(Column(at + 1, sheet.heads[at], quantity, unit, why=why, unit_said=each.unit_said))
    return Mapping(tuple(_signed(sheet, columns)), True)


def _with_temperatures(sheet: Sheet, guesses: list[Guess]) -> list[Guess]:
    """Place unnamed temperatures, and a bare `power`, by what else is logged."""
    known = {each.quantity for each in guesses}
    electric = known & {"pack_current_a", "motor_current_a", "duty", "pack_voltage_v"}
    placed = []
    for at, each in enumerate(guesses):
        if each.quantity == "temperature":
            values = sheet.numbers(at)
            name, why = temperature_of(values, known)
            known.add(name)
            said = each.unit if each.unit in BY_NAME[name].units else ""
            placed.append(Guess(name, said or unit_by_values(BY_NAME[name], values), why, bool(said)))
        elif each.quantity == "pack_power_w" and not electric and each.unit == "w":
            placed.append(Guess("pedal_power_w", "w", "a power, where no current or voltage is logged", True))
        else:
            placed.append(each)
    return placed


def _clock_of(sheet: Sheet, guesses: list[Guess]) -> tuple[int, str, str] | None:
    """Return the column that is the best clock, its unit and why: named so and finest; else the first that rises."""
    found, falling = [], []
    for at, each in enumerate(guesses):
        if each.quantity != TIME:
            continue
        said = unit_in(sheet.heads[at], sheet.units[at])
        kind = kind_of_clock(sheet, at, said)
        if kind is None and np.isfinite(sheet.numbers(at)).mean() > 0.5:
            falling.append((at, said if said in NUMBER_UNITS else "s", "its head"))
        if kind is not None:
            why = "its head and unit" if kind == said else "its head; unit by its values"
            found.append((_ties(sheet, at), at, kind, why))
    if found:
        _, at, kind, why = min(found)
        return at, kind, why
    if falling:
        return falling[0]
    for at, each in enumerate(guesses):
        if each.quantity != IGNORED or each.why != UNKNOWN:
            continue
        kind = kind_of_clock(sheet, at, "")
        numbers = sheet.numbers(at)
        steps = np.diff(numbers[np.isfinite(numbers)])
        if kind in ("date", "time_of_day") or (kind is not None and steps.size and (steps > 0.0).mean() > MOSTLY):
            return at, kind, "it rises like a clock"
    return None


MOSTLY = 0.98


def _ties(sheet: Sheet, at: int) -> float:
    """Return the share of rows that repeat the one before: a coarse clock has many."""
    column = sheet.frame.iloc[:, at]
    return round(float((column == column.shift()).mean()), 2)


def _signed(sheet: Sheet, columns: list[Column]) -> Iterator[Column]:
    """Yield the columns with the signs that fit each other: a pack that gives current sags."""
    by_name = {each.quantity: each for each in columns}
    current, voltage = by_name.get("pack_current_a"), by_name.get("pack_voltage_v")
    motor = by_name.get("motor_current_a")
    turned: dict[str, str] = {}
    if current is not None:
        at = 0.0 if voltage is None else _correlation(np.diff(_of(sheet, current)), np.diff(_of(sheet, voltage)))
        if at > SIGN_TOLD:
            turned["pack_current_a"] = "turned round: voltage rises with it"
        elif at > -SIGN_TOLD and _charges(_of(sheet, current)):
            turned["pack_current_a"] = "turned round: a ride takes from the pack"
    if current is not None and motor is not None:
        at = _correlation(_of(sheet, motor), _of(sheet, current)) * (-1.0 if turned else 1.0)
        if at < -SIGN_TOLD:
            turned["motor_current_a"] = "turned round: it falls where pack current rises"
    for each in columns:
        if each.quantity in turned:
            yield replace(each, sign=-1, why=f"{each.why}; {turned[each.quantity]}")
        else:
            yield each


def _charges(current: Array) -> bool:
    """Return whether a current charges the pack by far more than it takes: no ride does."""
    known = current[np.abs(current) < HUGE]
    return bool(-known[known < 0.0].sum() > CHARGED_TIMES * known[known > 0.0].sum()) and known.size > 10


CHARGED_TIMES = 3.0
"""A descent with regen alone charges more than it takes, but not by so much over its ends (guess)."""


def _of(sheet: Sheet, column: Column) -> Array:
    return sheet.numbers(column.number - 1)


HUGE = 1e12
"""No reading of a bike is so large, and its square is still a number."""


def _correlation(one: Array, other: Array) -> float:
    known = (np.abs(one) < HUGE) & (np.abs(other) < HUGE)
    if known.sum() < 10 or np.std(one[known]) == 0.0 or np.std(other[known]) == 0.0:
        return 0.0
    return float(np.corrcoef(one[known], other[known])[0, 1])


HEAD = """\
# Which column of a log holds what. Written by `ridesim log` for {name}; each line marked "guess" is one: look at it.
# quantity: {names},
#   time (unit: {clocks}), or ignore.
# reading = number in the file * scale * sign + offset, in the unit. sign = -1 turns a column round: pack current counts
# positive out of the pack, motor current positive when driving.
# motor_current_a may say what it reads: reading = "amplitude" (of the phase current), "dc" (DC-equivalent) or "rms" (of
# a phase); else it is read as the build's commutation says.
# A mapping fits every log of the same recorder: ridesim fit BUILD LOG --map {map_name}
"""


def mapping_text(mapping: Mapping, log_name: str, map_name: str) -> str:
    """Return a mapping as commented TOML, which `read_mapping` takes back."""
    from ridesim.schema.texts import folded

    names = "\n".join(folded(", ".join(each.name for each in QUANTITIES), "#   ")).removeprefix("#   ")
    lines = [HEAD.format(name=log_name, names=names, clocks=", ".join(TIME_UNITS), map_name=map_name)]
    for each in mapping.columns:
        lines.append("[[column]]")
        lines.append(f"number = {each.number}")
        lines.append(f"head = {toml_value(each.head)}")
        note = f"   # guess: {each.why}" if mapping.guessed and each.why else ""
        lines.append(f"quantity = {toml_value(each.quantity)}{note}")
        if each.quantity != IGNORED:
            lines.append(f"unit = {toml_value(each.unit)}")
            lines += [f"{name} = {toml_value(getattr(each, name))}" for name in _changed(each)]
        lines.append("")
    return "\n".join(lines)


def _changed(each: Column) -> list[str]:
    plain = Column(1, "", "")
    return [name for name in ("scale", "offset", "sign", "reading") if getattr(each, name) != getattr(plain, name)]


def read_mapping(path: str | Path, sheet: Sheet, *, timed: bool = True) -> Mapping:
    """Return a mapping file, fitted to a sheet: columns by their head, else by their number; `timed`: one of them must
    be the clock. Raises LogError."""
    where = str(path)
    raw = read_whole(Path(path), MOST_BYTES, LogError, "name a mapping that `ridesim log` wrote")
    try:
        data = tomllib.loads(raw.decode("utf-8-sig"))
    except (ValueError, RecursionError) as fault:
        raise LogError(where, f"is not valid TOML ({str(fault).splitlines()[0]})", "correct the file there") from None
    tables = data.get("column")
    if not isinstance(tables, list) or not tables or set(data) - {"column"}:
        raise LogError(
            where, "has no [[column]] tables, or other ones", "write it with `ridesim log LOG --mapping-only`"
        )
    columns = tuple(_column(table, sheet, f"{where}, column {at + 1}") for at, table in enumerate(tables))
    _refuse_twice(columns, where, timed)
    return Mapping(columns, False, where)


LARGEST_FACTOR = 1e12
"""Of a scale or an offset; beyond it no unit lies (guess)."""
_KINDS: dict[str, type | tuple[type, ...]] = {
    "number": int, "head": str, "quantity": str, "unit": str, "scale": (int, float), "offset": (int, float),
    "sign": int, "reading": str,
}  # fmt: skip


def _column(table: Any, sheet: Sheet, where: str) -> Column:
    if not isinstance(table, dict) or "quantity" not in table:
        raise LogError(where, "has no quantity", f"name one, or {IGNORED}")
    for name, value in table.items():
        if name not in _KINDS:
            near = difflib.get_close_matches(name, _KINDS, 1)
            raise LogError(
                where, f"{name!r} is not known", f"did you mean {near[0]}?" if near else f"use {', '.join(_KINDS)}"
            )
        if not isinstance(value, _KINDS[name]) or isinstance(value, bool):
            raise LogError(where, f"{name} = {repr(value)[:60]} is of the wrong kind", "see the head of the file")
    quantity = table["quantity"]
    if quantity not in (TIME, IGNORED, *BY_NAME):
        near = difflib.get_close_matches(quantity, [TIME, IGNORED, *BY_NAME], 1)
        hint = f"did you mean {near[0]}?" if near else f"use {TIME}, {IGNORED} or {', '.join(BY_NAME)}"
        raise LogError(where, f"quantity {quantity!r} is not known", hint)
    number = _place(table, sheet, where)
    unit = table.get("unit", "")
    allowed = TIME_UNITS if quantity == TIME else BY_NAME[quantity].units if quantity != IGNORED else ("",)
    if quantity != IGNORED and unit not in allowed:
        raise LogError(where, f"unit {unit!r} of {quantity} is not known", f"use {', '.join(allowed)}")
    for name in ("scale", "offset"):
        if not abs(table.get(name, 1.0)) <= LARGEST_FACTOR:
            what = f"{name} = {repr(table[name])[:30]} is out of range (up to {LARGEST_FACTOR:g} either way)"
            raise LogError(where, what, "mend it")
    if table.get("sign", 1) not in (-1, 1) or table.get("scale", 1.0) == 0:
        raise LogError(where, "sign is neither 1 nor -1, or scale is 0", "mend it")
    if table.get("reading", "") not in ("", *READINGS):
        raise LogError(where, f"reading {table['reading']!r} is not known", f"use {', '.join(READINGS)}")
    return Column(
        number, sheet.heads[number - 1], quantity, unit, float(table.get("scale", 1.0)),
        float(table.get("offset", 0.0)), int(table.get("sign", 1)), table.get("reading", ""), "mapping", True,
    )  # fmt: skip


def _place(table: dict[str, Any], sheet: Sheet, where: str) -> int:
    head, number = table.get("head"), table.get("number")
    if head is not None:
        places = [at + 1 for at, name in enumerate(sheet.heads) if name == head]
        if number in places or len(places) == 1:
            return int(number) if number in places else places[0]
        if not places and table["quantity"] != IGNORED:
            near = difflib.get_close_matches(head, sheet.heads, 1)
            hint = f"did you mean {near[0]!r}?" if near else f"the log has: {', '.join(sheet.heads[:12])}"
            raise LogError(where, f"the log lacks a column {head!r}", hint)
    if number is None or not 1 <= number <= len(sheet.heads):
        if table["quantity"] == IGNORED:
            return 1
        raise LogError(where, f"has no number of a column (1 to {len(sheet.heads)})", "give head or number")
    return int(number)


def _refuse_twice(columns: tuple[Column, ...], where: str, timed: bool) -> None:
    seen: set[str] = set()
    for each in columns:
        if each.quantity != IGNORED and each.quantity in seen:
            raise LogError(where, f"two columns hold {each.quantity}", f"set one of them to {IGNORED}")
        seen.add(each.quantity)
    if timed and TIME not in seen:
        raise LogError(where, "no column holds the time", f'set quantity = "{TIME}" for the clock')
