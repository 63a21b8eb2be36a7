"""Columns in place of numbers: one build whose changed keys are arrays, (rows,), stands for a build a row.

The formulas of `params` and `estimates` take both, so that they stand once; what branches goes row by row, here.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np


def is_column(value: Any) -> bool:
    """Return whether a value has one entry a row."""
    return isinstance(value, np.ndarray) and value.ndim > 0


def by_row(function: Callable[..., float], *given: Any) -> Any:
    """Return function(*given), of columns row by row."""
    columns = [each for each in given if is_column(each)]
    if not columns:
        return function(*given)
    rows = len(columns[0])
    whole = [each.tolist() if is_column(each) else [each] * rows for each in given]
    return np.array(list(map(function, *whole)), dtype=np.float64)
