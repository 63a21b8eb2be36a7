"""Any table of text as columns: separator, decimal sign, preamble, header, units row and broken lines found by looking.

Nothing here knows what a column means; that is `guess` and `mapping`.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
import warnings
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import LogError
from ridesim.schema.source import read_whole

if TYPE_CHECKING:
    import pandas as pd

MOST_BYTES = 600 * 1024 * 1024
"""Six hours at 50 Hz of twenty columns take 150 MB; four times that still fits into the memory of a small machine."""
MOST_COLUMNS = 400
LOOKED_AT_BYTES = 256 * 1024
LOOKED_AT_LINES = 400
LONGEST_LINE = 20_000
SEPARATORS = (";", "\t", "|", ",")
"""In the order in which they win where two fit alike: a comma may be the decimal sign."""
NOTHING = ("", "nan", "na", "n/a", "null", "none", "-", "--", "---", "inf", "-inf", "#n/a", "#div/0!")
LEAST_ROWS = 10
MOST_STRANGE = 0.5
"""Share of lines that may be broken before the file counts as no table (guess)."""

_NUMBER = r"[-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?"
_IS_NUMBER = re.compile(rf"\s*{_NUMBER}\s*")
_LEADING = re.compile(rf"^\s*({_NUMBER})")
_DECIMAL_COMMA = re.compile(r"\s*[-+]?\d*,\d+[^\d,.]*")
_THOUSANDS = re.compile(r"\s*[-+]?\d{1,3}(\.\d{3})+(,\d+)?\s*")
_CLOCK = re.compile(r"\d{1,4}[-/.:]\d{1,2}[-/.:T ]\d{1,4}|\d{1,3}:\d{2}")
_UNIT_WORD = re.compile(r"[\[(]?[a-zA-Z°µ%Ω/²·:^0-9]{0,9}[\])]?")
_WITH_UNIT = re.compile(rf"\s*{_NUMBER}\s?[a-zA-Z°µ%Ω/²]{{1,6}}\s*")

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Sheet:
    """A table as it stands in a file: heads, units (of a row of their own, else ""), and columns of text or numbers."""

    path: str
    sha256: str
    heads: tuple[str, ...]
    units: tuple[str, ...]
    frame: pd.DataFrame
    decimal_comma: bool
    rows: int
    notes: tuple[str, ...]

    def numbers(self, at: int) -> Array:
        """Return a column as numbers; what is none is nan. A unit behind the number is read over."""
        return as_numbers(self.frame.iloc[:, at], self.decimal_comma)


@dataclass(frozen=True)
class _Shape:
    separator: str
    decimal_comma: bool
    columns: int
    skipped: int
    heads: tuple[str, ...]
    units: tuple[str, ...]


def read_sheet(path: str | Path, least_rows: int = LEAST_ROWS) -> Sheet:
    """Return a table of readings as text and numbers. Raises LogError for what is none, or is too large or short."""
    place, where = Path(path), str(path)
    raw = read_whole(place, MOST_BYTES, LogError, "check the name")
    if not raw.strip():
        raise LogError(where, "is empty", "give a recording as CSV")
    text, encoding = _decoded(raw, where)
    shape = _shape(where, text[:LOOKED_AT_BYTES].decode(encoding, errors="replace"))
    frame, broken = _parsed(where, text, encoding, shape)
    notes = list(_told(shape))
    if broken:
        notes.append(f"{broken} lines ({broken / (broken + len(frame)):.2%}) are broken and were left out")
    repeated = _repeated_heads(frame, shape.heads)
    if repeated.any():
        notes.append(f"{int(repeated.sum())} lines repeat the head and were left out")
        frame = frame[~repeated].reset_index(drop=True)
    if len(frame) < least_rows:
        what = f"has {len(frame)} rows of readings, at least {least_rows} needed"
        raise LogError(where, what, "give a longer recording")
    digest = hashlib.sha256(raw).hexdigest()
    return Sheet(where, digest, shape.heads, shape.units, frame, shape.decimal_comma, len(frame), tuple(notes))


def _decoded(raw: bytes, where: str) -> tuple[bytes, str]:
    """Return the bytes to read and their encoding. Raises LogError for what is no text."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return raw.decode("utf-16").encode(), "utf-8"
        except UnicodeError:
            raise LogError(where, "is no text", "export the recording as CSV") from None
    if b"\0" in raw[:LOOKED_AT_BYTES]:
        raise LogError(where, "is no text (it holds zero bytes)", "export the recording as CSV")
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw, "cp1252"
    return raw.removeprefix(b"\xef\xbb\xbf"), "utf-8"


def _shape(where: str, text: str) -> _Shape:
    lines = [line for line in text.splitlines()[:LOOKED_AT_LINES] if line.strip()]
    if max(map(len, lines), default=0) > LONGEST_LINE:
        raise LogError(where, f"has a line of more than {LONGEST_LINE} characters", "export the recording as CSV")
    best: tuple[float, str, list[list[str]], int] | None = None
    for separator in SEPARATORS:
        rows = [_split(line, separator) for line in lines]
        count, width = _common_width(rows)
        if width < 2 or width > MOST_COLUMNS:
            continue
        told = sum(_counts(cell) for row in rows if len(row) == width for cell in row)
        score = count * told / max(1, sum(len(row) for row in rows if len(row) == width))
        if best is None or score > 1.02 * best[0]:
            best = (score, separator, rows, width)
    if best is None or best[0] <= 0.0:
        raise LogError(where, "is no table of readings (no separator gives columns of numbers)", "export it as CSV")
    return _headed(where, text, *best[1:])


def _split(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    except csv.Error:
        return []


def _common_width(rows: Sequence[Sequence[str]]) -> tuple[int, int]:
    """Return how many rows have the commonest number of cells, and that number."""
    counts = Counter(len(row) for row in rows if len(row) > 1)
    if not counts:
        return 0, 0
    width, count = counts.most_common(1)[0]
    return count, width


def _counts(cell: str) -> bool:
    """Whether a cell is what a table of readings holds: a number, nothing, or a time."""
    shape = _IS_NUMBER.fullmatch(cell) or _CLOCK.search(cell) or _WITH_UNIT.fullmatch(cell)
    return bool(shape) or cell.strip().lower() in NOTHING


def _is_reading(row: Sequence[str]) -> bool:
    """Whether a row holds readings: most of what is not empty are numbers or times."""
    filled = [cell for cell in row if cell.strip()]
    return bool(filled) and sum(_counts(cell) for cell in filled) > 0.5 * len(filled)


def _headed(where: str, text: str, separator: str, rows: list[list[str]], width: int) -> _Shape:
    """Find the first row of readings; the head is the last row before it that has cells enough."""
    all_lines = text.splitlines()[:LOOKED_AT_LINES]
    all_rows = [_split(line, separator) if line.strip() else [] for line in all_lines]
    first = next(
        (at for at, row in enumerate(all_rows) if len(row) >= 2 and abs(len(row) - width) <= 1 and _is_reading(row)),
        None,
    )
    if first is None:
        raise LogError(where, "is no table of readings (no row of numbers is found in it)", "export it as CSV")
    before = [at for at in range(first) if len(all_rows[at]) >= max(2, width - 1)]
    units: tuple[str, ...] = ()
    head: list[str] = []
    if before:
        head = all_rows[before[-1]]
        if len(before) > 1 and _is_units(head) and before[-1] == first - 1:
            units, head = tuple(cell.strip() for cell in head), all_rows[before[-2]]
    width = max(width, *(len(row) for row in all_rows[first : first + 50]))
    heads = tuple(
        (head[at].strip().lstrip("#").strip() if at < len(head) else "") or f"column {at + 1}" for at in range(width)
    )
    units = tuple(units[at] if at < len(units) else "" for at in range(width))
    sample = [cell for row in rows for cell in row]
    commas = sum(bool(_DECIMAL_COMMA.fullmatch(cell)) for cell in sample)
    points = sum(bool(re.fullmatch(r"\s*[-+]?\d*\.\d+[^\d,.]*", cell)) for cell in sample)
    return _Shape(separator, commas > points, width, first, heads, units)


def _is_units(row: Sequence[str]) -> bool:
    """Whether a row between head and readings holds units: short words, none longer than a unit's."""
    filled = [cell.strip() for cell in row if cell.strip()]
    return bool(filled) and all(_UNIT_WORD.fullmatch(cell) for cell in filled) and sum(map(len, filled)) <= 5 * len(row)


def _parsed(where: str, text: bytes, encoding: str, shape: _Shape) -> tuple[pd.DataFrame, int]:
    """Return the table, and how many lines are broken: longer than the table is wide."""
    import pandas as pd

    plain_comma = shape.decimal_comma and shape.separator != ","
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        try:
            frame = pd.read_csv(
                io.BytesIO(text),
                sep=shape.separator,
                decimal="," if plain_comma else ".",
                header=None,
                names=list(range(shape.columns)),
                skiprows=shape.skipped,
                skipinitialspace=True,
                index_col=False,
                na_values=list(NOTHING),
                on_bad_lines="warn",
                low_memory=False,
                encoding=encoding,
                encoding_errors="replace",
            )
        except (ValueError, UnicodeError, OverflowError) as fault:  # pandas' own errors are ValueErrors
            raise LogError(where, "is no table of separated values", "export the recording as CSV") from fault
    broken = sum(str(each.message).count("Skipping line") for each in told)
    if broken > MOST_STRANGE * max(len(frame), 1):
        raise LogError(where, "is no table of readings (most of its lines differ in length)", "export it as CSV")
    return frame[~frame.isna().all(axis=1)].reset_index(drop=True), broken


def _repeated_heads(frame: pd.DataFrame, heads: Sequence[str]) -> NDArray[np.bool_]:
    """Return the rows that repeat the head: a recorder that was switched on again writes it anew."""
    repeated = np.zeros(len(frame), dtype=bool)
    for at, head in enumerate(heads):
        if frame.iloc[:, at].dtype == object:
            repeated |= np.asarray(frame.iloc[:, at].astype(str).str.strip().str.lstrip("# ") == head)
    return repeated


def as_numbers(column: pd.Series, decimal_comma: bool) -> Array:
    """Return a column as numbers, nan where there is none; units behind numbers and decimal commas are read over."""
    import pandas as pd

    if column.dtype != object and not str(column.dtype).startswith("str"):
        found = np.asarray(column, dtype=np.float64)
        return np.where(np.isfinite(found), found, np.nan)
    text = column.astype(str).str.strip()
    if decimal_comma:
        dotted = text.str.fullmatch(_THOUSANDS.pattern)
        text = text.where(~dotted, text.str.replace(".", "", regex=False)).str.replace(",", ".", regex=False)
    values = pd.to_numeric(text, errors="coerce")
    left = values.isna() & column.notna()
    if left.any():
        lead = text[left].str.extract(_LEADING, expand=False)
        clocks = text[left].str.contains(_CLOCK)
        values[left] = pd.to_numeric(lead.where(~clocks), errors="coerce")
    found = np.asarray(values, dtype=np.float64)
    return np.where(np.isfinite(found), found, np.nan)


def _told(shape: _Shape) -> list[str]:
    names = {";": "semicolons", "\t": "tabs", "|": "upright strokes", ",": "commas"}
    notes = []
    if shape.separator != "," or shape.decimal_comma:
        sign = ", numbers with decimal commas" if shape.decimal_comma else ""
        notes.append(f"columns are parted by {names[shape.separator]}{sign}")
    if any(shape.units):
        notes.append("a row of units stands under the head")
    repeated = [name for name, count in Counter(shape.heads).items() if count > 1]
    if repeated:
        notes.append(f"columns named more than once: {', '.join(repeated)}; they are told apart by their number")
    if all(head.startswith("column ") for head in shape.heads):
        notes.append("the table has no head: columns are told apart by their number")
    return notes
