"""Words that the workshop's pages share: figures with their units, verdict rows."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

from ridesim.report.text import shown
from ridesim.report.view import TEXT_WIDTH, Table
from ridesim.ride.judge import Finding
from ridesim.units import UNITS

DIGITS = {"rpm": 0, "w": 0, "n": 0, "c": 0, "km_h": 1, "km": 2, "a": 1, "v": 1, "rpm_per_v": 1}
"""Digits after the point by unit; one where none is named."""


def figure(value: float | None, unit: str, system: str = "metric") -> str:
    """Return a figure with its unit as the workshop prints it; None reads as a dash."""
    if value is None:
        return "-"
    if unit == "fraction":
        return f"{value:.0%}" if value < 0.95 else f"{value:.1%}"
    if unit not in UNITS:
        return f"{value:.2f}"
    return shown(value, unit, system, DIGITS.get(unit, 1))


def finding_row(each: Finding, system: str) -> tuple[str, str, str, str]:
    """Return one line of a check sheet: name, verdict, figure, limit."""
    sign = "" if each.limit is None else "at least " if each.at_least else "at most "
    held = figure(each.figure, each.unit, system)
    return each.title, each.verdict, held, sign + figure(each.limit, each.unit, system)


def list_table(title: str, head: str, texts: Sequence[str], *, wrapped: bool) -> Table:
    """Return a table of one column, a text a row; `wrapped` breaks them into lines for a terminal."""
    rows = [wrap(text, TEXT_WIDTH, subsequent_indent="  ") if wrapped else [text] for text in texts]
    return Table(title, (head,), tuple((line,) for lines in rows for line in lines))
