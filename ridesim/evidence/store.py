"""The one store of published numbers: tables with source, unit and printed digits, read by the checks and the tests.

A file of `published/` is a subject; each of its tables has a source, a kind (`kinds` names those of single columns) and
either `columns` with `rows` or keys of its own (a sheet). A number stands as a string where the source prints it as a
result (its digits tell how well it is known) and bare where it is given. A name's suffix is its unit, as everywhere;
"" is a value that the source leaves out.
"""

from __future__ import annotations

import tomllib
from collections import namedtuple
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from ridesim.units import suffix_of

FOLDER = Path(__file__).parent / "published"
_ABOUT = ("source", "kind", "kinds", "columns", "rows")


class Kind(StrEnum):
    """Where a value comes from."""

    PUBLISHED = "published"
    CLOSED_FORM = "closed form"
    LIBRARY = "library"
    MEASURED = "measured"
    FROM_MEMORY = "from memory"
    TRADE = "common practice, no source"


class About(NamedTuple):
    """What a printed number is: suffix of its unit, who printed it, and how it was come by."""

    unit: str
    source: str
    kind: Kind


class Printed(float):
    """A number that remembers the digits, unit and source that it was printed with."""

    text: str
    about: About

    def __new__(cls, text: str, about: About) -> Printed:
        """Return the number of a printed text. Raises ValueError for one that is no number."""
        number = super().__new__(cls, text)
        number.text, number.about = text, about
        return number

    @property
    def last_digit(self) -> float:
        """One unit of the last printed digit: 0.001 of "1.225", 1e-8 of "1.789e-5"."""
        mantissa, _, power = self.text.lower().partition("e")
        return float(10.0 ** (int(power or 0) - len(mantissa.partition(".")[2])))

    @property
    def half_unit(self) -> float:
        """Half of the last digit: how far off the printed number may be, and 1e-9 of it for rounding in binary."""
        return 0.5 * self.last_digit * (1.0 + 1e-9)


@dataclass(frozen=True)
class Table:
    """Published rows; a row's fields are named as the columns."""

    name: str
    source: str
    kind: Kind
    columns: tuple[str, ...]
    rows: tuple[Any, ...]

    def ids(self) -> list[str]:
        """Return a name for each row that tells source and inputs."""
        told = [[str(value) for value in row if not isinstance(value, Printed | None)] for row in self.rows]
        return [f"{self.source}: {' '.join(words)}" for words in told]


def table(place: str) -> Table:
    """Return a table by subject and name ("belt.pitch_diameter"). Raises KeyError for one that is not there."""
    subject, name = place.split(".")
    found = _subject(subject)[name]
    columns = tuple(found["columns"])
    row_of = namedtuple("Row", columns)  # type: ignore[misc]
    rows = tuple(row_of(*_read(dict(zip(columns, row, strict=True)), found)) for row in found["rows"])
    return Table(place, found["source"], Kind(found["kind"]), columns, rows)


def sheet(place: str) -> Any:
    """Return single numbers of one source as named fields ("motor.servo"). Raises KeyError if it is not there."""
    subject, name = place.split(".")
    found = _subject(subject)[name]
    values = {key: value for key, value in found.items() if key not in _ABOUT}
    sheet_of = namedtuple("Sheet", values)  # type: ignore[misc]
    return sheet_of(*_read(values, found))


def subjects() -> dict[str, dict[str, Any]]:
    """Return everything as the files have it, by subject."""
    return {path.stem: _subject(path.stem) for path in sorted(FOLDER.glob("*.toml"))}


@cache
def _subject(name: str) -> dict[str, Any]:
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


def _read(values: dict[str, Any], found: dict[str, Any]) -> list[Any]:
    """Return values as numbers and words; a row's own source goes before that of its table."""
    source, kinds = values.get("source", found["source"]), found.get("kinds", {})
    return [_value(name, value, source, Kind(kinds.get(name, found["kind"]))) for name, value in values.items()]


def _value(name: str, value: Any, source: str, kind: Kind) -> Any:
    """Return a printed number, None for a value left out, and anything else as it stands."""
    if isinstance(value, list):
        return tuple(_value(name, each, source, kind) for each in value)
    if not isinstance(value, str):
        return value
    if value == "":
        return None
    try:
        return Printed(value, About(suffix_of(name), source, kind))
    except ValueError:
        return value
