"""Tables of readings (CSV), read within bounds: bytes, lines, columns, and numbers that are finite."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING

from ridesim.errors import LogError
from ridesim.schema.source import read_whole
from ridesim.units import from_si, to_si

if TYPE_CHECKING:
    import pandas as pd

MOST_BYTES = 64 * 1024 * 1024
MOST_LINES = 1_000_000
"""A reading a second for eleven days (guess)."""
MOST_COLUMNS = 200
LONGEST_LINE = 20_000
LONGEST_SPAN_S = to_si(168.0, "h")
"""No recording of one ride lasts longer than a week (guess)."""


LONGEST_NUMBER = 300
"""A text of so many characters is taken for no number."""


def read_table(path: str | Path) -> pd.DataFrame:
    """Return a CSV as a table of texts and numbers. Raises LogError for what is none, or is too large."""
    import pandas as pd

    place, where = Path(path), str(path)
    text = read_whole(place, MOST_BYTES, LogError, "check the name")
    _refuse_shape(where, text)
    try:
        return pd.read_csv(io.BytesIO(text), skipinitialspace=True)
    except (ValueError, UnicodeError, OverflowError):  # pandas' own errors are ValueErrors
        raise LogError(where, "is no table of comma-separated values", "export the recording as CSV") from None


def numbers(table: pd.DataFrame, names: list[str]) -> pd.DataFrame:
    """Return those columns as numbers; what is none, or not finite, is nan."""
    import numpy as np

    found = table[names].apply(_column_of_numbers).astype(np.float64)
    return found.where(np.isfinite(found))


def _column_of_numbers(column: pd.Series) -> pd.Series:
    import pandas as pd

    try:
        return pd.to_numeric(column, errors="coerce")
    except OverflowError:  # an integer of hundreds of digits stays Python's own, and no float holds it
        return pd.to_numeric(column.astype(str).where(column.astype(str).str.len() < LONGEST_NUMBER), errors="coerce")


def refuse_span(where: str, first_s: float, last_s: float, most_s: float = LONGEST_SPAN_S) -> None:
    """Raise LogError for times that no recording has."""
    if last_s - first_s > most_s:
        what = f"time_s spans {from_si(last_s - first_s, 'h'):.3g} h, at most {from_si(most_s, 'h'):g} h"
        raise LogError(where, what, "mend the times, or give one ride at a time")


def _refuse_shape(where: str, text: bytes) -> None:
    lines = text.count(b"\n") + 1
    if lines > MOST_LINES:
        raise LogError(where, f"has {lines} lines, at most {MOST_LINES}", "split the recording")
    longest = max(map(len, text.splitlines()), default=0)
    if longest > LONGEST_LINE:
        raise LogError(where, f"has a line of {longest} characters, at most {LONGEST_LINE}", "export it as CSV")
    columns = text.split(b"\n", 1)[0].count(b",") + 1
    if columns > MOST_COLUMNS:
        raise LogError(where, f"has {columns} columns, at most {MOST_COLUMNS}", "drop those that are not read")
