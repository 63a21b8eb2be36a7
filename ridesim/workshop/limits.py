"""Verdict words and input guards that the calculators share."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from numbers import Integral

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ridesim.errors import BuildError, RideError
from ridesim.ride.judge import hold
from ridesim.ride.limits import ORDER, Word
from ridesim.schema.problems import shown_value
from ridesim.units import symbol_of

Verdict = Word
"""The judge's words: fine, look again, stop."""


LEAST, MOST = 1e-12, 1e12
"""In SI or in a builder's units: what is beyond is a slip, and its square or fourth power would leave the numbers."""
MOST_COUNTED = 1_000_000


def worst_verdict(findings: Iterable[tuple[Verdict, str]], all_fine: str) -> tuple[Verdict, str]:
    """Return the gravest of some findings and every reason that shares it; (`fine`, `all_fine`) without any."""
    listed = [finding for finding in findings if finding[0] != "fine"]
    if not listed:
        return "fine", all_fine
    worst = max((verdict for verdict, _ in listed), key=ORDER.index)
    return worst, "; ".join(reason for verdict, reason in listed if verdict == worst)


def held(name: str, figure: float | None, limit: float | None, words: str) -> tuple[Verdict, str]:
    """Hold a figure against a limit of the one list; return the verdict with its words. Raises KeyError."""
    return hold(name, figure, limit, words).verdict, words


def _unit_hint(name: str) -> str:
    symbol = symbol_of(name)
    return f"give a number in {symbol}" if symbol else "give a plain number"


def require_positive(where: str, **values: float) -> None:
    """Raise BuildError for the first value that is not above zero, or is of no workshop on earth."""
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise BuildError(f"{where}.{name}", f"must be above 0 (got {value:g})", _unit_hint(name))
        require_between(where, name, value, LEAST, MOST)


def require_not_negative(where: str, **values: float) -> None:
    """Raise BuildError for the first value that is below zero, or is of no workshop on earth."""
    for name, value in values.items():
        if not (math.isfinite(value) and value >= 0.0):
            raise BuildError(f"{where}.{name}", f"must be 0 or above (got {value:g})", _unit_hint(name))
        require_between(where, name, value, 0.0, MOST)


def require_whole(where: str, **values: int) -> None:
    """Raise BuildError for the first value that is not a whole number of 1 or more, up to a million."""
    for name, value in values.items():
        if not isinstance(value, Integral) or not 1 <= value <= MOST_COUNTED:
            shown = shown_value(value)
            raise BuildError(f"{where}.{name}", f"must be whole, 1 to {MOST_COUNTED} (got {shown})", "count again")


def require_between(where: str, name: str, value: float, low: float, high: float) -> None:
    """Raise BuildError when `value` is not within `low` to `high`, both allowed."""
    if not low <= value <= high:
        raise BuildError(f"{where}.{name}", f"{value:g} is out of range ({low:g} to {high:g})", _unit_hint(name))


def require_finite_load(where: str, **values: float) -> None:
    """Raise RideError for the first load that is not a finite number; either sign is allowed."""
    for name, value in values.items():
        if not math.isfinite(value):
            raise RideError(f"{where}.{name}", f"is not finite (got {value})", "give the load of a finished ride")


def require_known(where: str, value: str, known: Sequence[str]) -> None:
    """Raise BuildError with the known names when `value` is none of them."""
    if value not in known:
        raise BuildError(where, f"{value!r} is not known", f"choose one of: {', '.join(known)}")


def load_profile(where: str, **columns: ArrayLike) -> tuple[NDArray[np.float64], ...]:
    """Return columns as 1-D float arrays of one length. Raises RideError when they are not, or not finite."""
    arrays = tuple(np.asarray(column, dtype=np.float64) for column in columns.values())
    for name, array in zip(columns, arrays, strict=True):
        if array.ndim != 1 or array.size == 0:
            raise RideError(f"{where}.{name}", f"needs one column of numbers (shape {array.shape})", "pass a 1-D array")
        if array.size != arrays[0].size:
            lengths = ", ".join(f"{key} {each.size}" for key, each in zip(columns, arrays, strict=True))
            raise RideError(where, f"columns differ in length ({lengths})", "take all columns from one ride")
        if not np.all(np.isfinite(array)):
            first = int(np.flatnonzero(~np.isfinite(array))[0])
            raise RideError(f"{where}.{name}", f"sample {first} is not finite", "leave out the broken samples")
    return arrays


def load_time(where: str, time_s: NDArray[np.float64]) -> None:
    """Raise RideError when times do not rise from sample to sample or are fewer than two."""
    if time_s.size < 2 or not np.all(np.diff(time_s) > 0.0):
        raise RideError(f"{where}.time_s", "times must rise, two samples or more", "sort the samples by time")
