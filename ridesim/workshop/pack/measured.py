"""A text file of measured cells: capacities, perhaps resistances, however commas and points are written.

What can be read in two ways is refused or told, never guessed in silence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.errors import RideError
from ridesim.units import convert
from ridesim.workshop.pack.grouping import MAH_FROM

CURE = "write 2.5 with a point, or part columns with ; under a head such as cell;capacity_ah;resistance_mohm"
CAPACITY_WORDS, RESISTANCE_WORDS = ("mah", "ah", "capacity"), ("ohm", "resistance", "mΩ")


@dataclass(frozen=True)
class MeasuredCells:
    """Cells in the order of the file; `notes` say how it was read where that was not plain."""

    capacities_ah: tuple[float, ...]
    resistances_mohm: tuple[float, ...] | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Line:
    number: int
    text: str


def read_cells(text: str, where: str) -> MeasuredCells:
    """Return the cells of a text: a capacity a line, or a table with a head; `#` begins a remark. Raises RideError.

    Columns are parted by `;`, tabs, spaces or commas. Milliampere-hours are known by the head or by their size.
    """
    lines = [_Line(number, line.split("#")[0].strip()) for number, line in enumerate(text.splitlines(), start=1)]
    lines = [line for line in lines if line.text]
    if not lines:
        raise RideError(where, "holds no capacities", "write one measured capacity in Ah a line")
    separator, notes = _separator(where, lines)
    rows = [[piece.strip() for piece in _pieces(line.text, separator)] for line in lines]
    head = None if all(_is_number(piece, separator) for piece in rows[0]) else [piece.lower() for piece in rows[0]]
    body = list(zip(lines, rows, strict=True))[0 if head is None else 1 :]
    if not body:
        raise RideError(where, "holds a head and no cells", "write one measured cell a line")
    width = len(rows[0])
    odd = next((line for line, row in body if len(row) != width), None)
    if odd is not None:
        raise RideError(
            f"{where}, line {odd.number}", f"{odd.text!r} has not the {width} columns of the first line", CURE
        )
    at, resistance_at = _columns(where, head, width)
    values = [_number(f"{where}, line {line.number}", row[at], separator) for line, row in body]
    unit = head[at] if head is not None else ""
    capacities, more = _ampere_hours(where, [line.number for line, _ in body], values, unit)
    resistances = None
    if resistance_at is not None and head is not None:
        factor = (
            1.0 if "mohm" in head[resistance_at] or "mω" in head[resistance_at] else _ohm_factor(head[resistance_at])
        )
        resistances = tuple(
            factor * _number(f"{where}, line {line.number}", row[resistance_at], separator) for line, row in body
        )
    return MeasuredCells(capacities, resistances, (*notes, *more))


def _separator(where: str, lines: list[_Line]) -> tuple[str, list[str]]:
    """Return what parts the columns: `;`, tab, space, comma, or nothing (a decimal comma or none). Raises RideError."""
    texts = [line.text for line in lines]
    for mark in (";", "\t"):
        if any(mark in text for text in texts):
            return mark, []
    commas = [text for text in texts if "," in text]
    if commas and all(text.replace(", ", "").count(",") == 0 for text in commas):
        return ",", []
    if any(" " in text for text in texts):
        return " ", []
    if not commas:
        return "", []
    if not _is_number(texts[0], "") or any("." in text for text in commas):
        return ",", []  # a head with commas, or points within the pieces
    if any(text.count(",") > 1 for text in commas):
        line = next(line for line in lines if line.text.count(",") > 1)
        raise RideError(f"{where}, line {line.number}", f"{line.text!r} can be read in several ways", CURE)
    firsts = [text.split(",")[0] for text in texts]
    if len(texts) > 1 and any(firsts == [str(number + start) for number in range(len(texts))] for start in (0, 1)):
        first, second = texts[1].split(",")[:2]
        what = f"{texts[1]!r} can be {first}.{second} Ah, or cell {first} with {second}"
        raise RideError(f"{where}, line {lines[1].number}", what, CURE)
    whole, share = commas[0].split(",")
    return "", [f"commas were read as decimal marks: {commas[0]} is {whole}.{share}"]


def _pieces(text: str, separator: str) -> list[str]:
    if separator == "":
        return [text]
    return text.split() if separator == " " else text.split(separator)


def _plain(piece: str, separator: str) -> str:
    """Return a number's text with a point; a comma in it is a decimal one, for it parts no columns."""
    return piece if separator == "," or "." in piece else piece.replace(",", ".", 1)


def _is_number(piece: str, separator: str) -> bool:
    try:
        float(_plain(piece, separator).split(",")[0] or "x")
    except ValueError:
        return False
    return True


def _number(where: str, piece: str, separator: str) -> float:
    try:
        value = float(_plain(piece, separator))
    except ValueError:
        raise RideError(where, f"{piece!r} is not a number", CURE) from None
    if not (math.isfinite(value) and value > 0.0):
        raise RideError(where, f"{piece} is no measurement (above 0)", "measure the cell again, or leave it out")
    return value


def _columns(where: str, head: list[str] | None, width: int) -> tuple[int, int | None]:
    """Return the columns of capacity and resistance; without a head the last of one or two is the capacity."""
    if head is None:
        if width > 2:
            raise RideError(where, f"has {width} columns without a head", CURE)
        return width - 1, None
    resistance = next((at for at, name in enumerate(head) if any(word in name for word in RESISTANCE_WORDS)), None)
    named = (at for at, name in enumerate(head) if at != resistance and any(word in name for word in CAPACITY_WORDS))
    at = next(named, None)
    if at is None:
        if width > 2 or resistance is not None:
            raise RideError(where, f"has the columns {', '.join(head)}", "name one of them capacity_ah or capacity_mah")
        at = width - 1
    return at, resistance


def _ohm_factor(name: str) -> float:
    """Milliohms of a resistance column's unit: ohms where the head says ohm, else milliohms."""
    return 1e3 if "ohm" in name else 1.0


def _ampere_hours(
    where: str, numbers: list[int], values: list[float], unit: str
) -> tuple[tuple[float, ...], tuple[str, ...]]:
    """Return capacities in Ah; milliampere-hours by the head, or by their size, which is told. Raises RideError."""
    if "mah" in unit:
        return tuple(convert(value, "mah", "ah") for value in values), ()
    large = [number for number, value in zip(numbers, values, strict=True) if value >= MAH_FROM]
    if not large:
        return tuple(values), ()
    if len(large) < len(values):
        at = numbers.index(large[0])
        what = f"{values[at]:g} among capacities such as {min(values):g}: Ah and mAh are mixed"
        raise RideError(f"{where}, line {large[0]}", what, "give all in one unit")
    told = f"capacities were read as mAh: {values[0]:g} mAh is {convert(values[0], 'mah', 'ah'):g} Ah"
    return tuple(convert(value, "mah", "ah") for value in values), (told,)
