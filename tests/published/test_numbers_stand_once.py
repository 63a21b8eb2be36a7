"""A published number stands once, in the store of `ridesim.evidence`; checks and tests read it there."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ridesim.evidence.store import Kind, Printed, sheet, subjects, table
from ridesim.units import UNITS

ROOT = Path(__file__).parents[2]
HERE = Path(__file__)
READERS = sorted({*HERE.parent.glob("*.py"), *(ROOT / "ridesim" / "evidence").glob("*.py")} - {HERE})
LEAST_DIGITS = 3
"""Shorter numbers meet by chance."""
BY_CHANCE = {
    ("test_air_and_geodesy.py", "1.01"): "1 % on half a digit",
    ("test_heat.py", "105"): "two powers of 100 and 5 W in one sum",
}
TABLES = [(subject, name) for subject, tables in subjects().items() for name in tables]


def digits(text: str) -> str:
    """The significant digits of a number, without zeros at either end; "" for a text that is none."""
    try:
        value = float(text)
    except ValueError:
        return ""
    return f"{abs(value):.15e}".split("e")[0].replace(".", "").strip("0")


def decimals_of(value: Any) -> Iterator[str]:
    """Every number of a part of the store, as its digits' text."""
    if isinstance(value, dict):
        for key, each in value.items():
            if key not in ("source", "kind", "kinds", "columns"):
                yield from decimals_of(each)
    elif isinstance(value, list):
        for each in value:
            yield from decimals_of(each)
    elif isinstance(value, float | str) and len(digits(str(value))) >= LEAST_DIGITS:
        yield f"{abs(float(value)):.12g}"


def literals_of(path: Path) -> Iterator[tuple[int, str]]:
    """Every decimal typed in a file of Python, whether bare or as a text."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, float | str):
            text = str(node.value)
            if "." in text and len(digits(text)) >= LEAST_DIGITS:
                yield node.lineno, f"{abs(float(text)):.12g}"


STORED = Counter(decimals_of(subjects()))


@pytest.mark.parametrize("path", READERS, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_no_published_decimal_is_typed_again(path: Path) -> None:
    known = {text for name, text in BY_CHANCE if name == path.name}
    again = [f"line {line}: {text}" for line, text in literals_of(path) if text in STORED and text not in known]
    assert not again, f"{path.relative_to(ROOT)} types what the store has: {again}"


def test_the_walk_sees_numbers_typed_again(tmp_path: Path) -> None:
    known = max(STORED, key=len)
    file = tmp_path / "made.py"
    file.write_text(f'LENGTH = {known}\nSAME = ("{known}", -0.0{known.replace(".", "")}, 1.5)\n')
    assert [found for _, found in literals_of(file) if found in STORED] == [known, known]
    assert len(STORED) > 300


def test_no_long_result_stands_in_two_tables() -> None:
    """Five digits and a unit do not meet by chance; a row's equal neighbours may."""
    places: dict[str, set[str]] = {}
    for subject, name in TABLES:
        found = subjects()[subject][name]
        rows = table(f"{subject}.{name}").rows if "rows" in found else [sheet(f"{subject}.{name}")]
        for value in (value for row in rows for value in row if isinstance(value, Printed)):
            if len(digits(value.text)) >= 5:
                places.setdefault(f"{value:.12g} {value.about.unit}", set()).add(f"{subject}.{name}")
    assert {value: where for value, where in places.items() if len(where) > 1} == {}


@pytest.mark.parametrize(("subject", "name"), TABLES, ids=[".".join(each) for each in TABLES])
def test_every_table_says_source_kind_and_units(subject: str, name: str) -> None:
    found = subjects()[subject][name]
    assert len(found["source"]) > 3
    assert Kind(found["kind"])
    rows = table(f"{subject}.{name}").rows if "rows" in found else (sheet(f"{subject}.{name}"),)
    assert rows
    for value in (value for row in rows for value in row if isinstance(value, Printed)):
        assert value == float(value.text)
        assert value.about.unit in ("", *UNITS)
        assert value.about.source


@pytest.mark.parametrize("path", READERS, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_what_is_read_is_in_the_store(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("table", "sheet", "rows_of"):
            place = node.args[0]
            if isinstance(place, ast.Constant):
                assert tuple(str(place.value).split(".")) in TABLES, place.value


def test_no_table_is_idle() -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in READERS)
    idle = [f"{subject}.{name}" for subject, name in TABLES if f'"{subject}.{name}"' not in text]
    assert idle == []
