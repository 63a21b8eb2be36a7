"""Rows of the published store as test cases that carry source and inputs in their id."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from ridesim.evidence.store import table


def rows_of(place: str) -> Callable[[Any], Any]:
    """Run a test for every row of a table, as its argument `row`."""
    found = table(place)
    cases = [pytest.param(row, id=name) for row, name in zip(found.rows, found.ids(), strict=True)]
    return pytest.mark.parametrize("row", cases)


def near(printed: Any) -> Any:
    """Compare with a printed number to half a unit of its last digit."""
    return pytest.approx(float(printed), abs=printed.half_unit)
