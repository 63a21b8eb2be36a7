"""Errors of bench readings, and what they leave of a result.

Error of a result: first order, readings independent (JCGM 100:2008, eq. 10, from memory), each term taken as
half the change of the result when one reading moves by plus and minus its error (ibid. 5.1.3, note 2, from
memory). A fault that all readings share, such as the gain of one meter, is not in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.workshop.limits import Verdict, require_not_negative

Floats = NDArray[np.float64]
FINE: Verdict = "fine"
LOOK: Verdict = "look again"
STOP: Verdict = "stop"
WIDE_ERROR = 0.05
"""Relative error of a result above which the measurement is worth repeating; common practice, no source."""


@dataclass(frozen=True)
class ReadingErrors:
    """Standard error of one reading of each kind, same units as the readings."""

    voltage_v: float = 0.0
    current_a: float = 0.0
    speed_rpm: float = 0.0
    temperature_c: float = 0.0
    resistance_mohm: float = 0.0

    def __post_init__(self) -> None:
        require_not_negative("reading errors", **vars(self))


NO_ERRORS = ReadingErrors()


def propagate(
    solution: Callable[[Floats], Floats], readings: Floats, spread: Floats
) -> tuple[list[float], list[float]]:
    """Every result of `solution` and its standard error; see the head of this module."""
    results = solution(readings)
    variance = np.zeros_like(results)
    for index in np.flatnonzero(spread):
        step = np.zeros_like(readings)
        step[index] = spread[index]
        variance += ((solution(readings + step) - solution(readings - step)) / 2.0) ** 2
    return results.tolist(), np.sqrt(variance).tolist()


def judge_error(relative: float, what: str) -> tuple[Verdict, str]:
    if relative > WIDE_ERROR:
        return LOOK, f"the reading errors alone leave {what} uncertain by {relative:.1%}"
    return FINE, f"the reading errors leave {what} certain to {relative:.1%}"
