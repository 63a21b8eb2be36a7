"""What readings at the bench say, as Python shows it: the command's own view and figures."""

from __future__ import annotations

from typing import Any

from ridesim.report.bench import view as page
from ridesim.report.plain import as_plain
from ridesim.report.view import View
from ridesim.workshop.asked import Benched


def view(result: Benched, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the view that terminal and page show."""
    return page.view(result.sheet, result.readings, units, pictures=pictures)


def figures(result: Benched) -> dict[str, Any]:
    """Return the figures of the command's JSON answer."""
    found: dict[str, Any] = as_plain(result.sheet)
    return found


def picture_names(result: Benched) -> tuple[str, ...]:
    """Return the names of its pictures, in order."""
    return tuple(page.picture_names(result.sheet, result.readings))
