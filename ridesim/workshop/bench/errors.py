"""Errors of bench readings, and what they leave of a result.

Error of a result: first order, readings independent (JCGM 100:2008, eq. 10, from memory), each term taken as
half the change of the result when one reading moves by plus and minus its error (ibid. 5.1.3, note 2, from
memory). A fault that all readings share, such as the gain of one meter, is not in it. Where more readings were taken
than numbers are asked for, their scatter about the line is a second witness, widened for the few spare readings by
Student's factor (ibid. G.3, from memory); the larger of the two is told.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.workshop.limits import Verdict, held, require_not_negative

Floats = NDArray[np.float64]
FINE: Verdict = "fine"
LOOK: Verdict = "look again"
STOP: Verdict = "stop"
WIDE_ERROR = 0.05
"""Relative error of a result above which the measurement is worth repeating; common practice, no source."""

NOTHING_TOLD = 1e-6
"""Relative error below which no meter can be: none was told, and the readings lie on the line to rounding."""
LEAST_TOLD = 1e-3
"""Relative error that is told as it is: two readings may agree better by chance."""
ONE_SIGMA = 0.6826894921370859
"""Share of a normal spread within one standard deviation."""


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


def scatter_errors(columns: Floats, misfit: Floats) -> Floats | None:
    """Standard errors of least-squares coefficients by the scatter `misfit` about the fit; None without spare readings.

    `s sqrt(diag (X'X)^-1)`, `s^2` the squared misfit over the spare readings, times Student's factor for them, so that
    plus and minus one error holds the truth in two of three tests however few they are.
    Source: JCGM 100:2008, H.3 and G.3, from memory.
    """
    freedom = len(misfit) - columns.shape[1]
    if freedom < 1:
        return None
    scatter = float(misfit @ misfit) / freedom
    return student_factor(freedom) * np.sqrt(scatter * np.diag(np.linalg.inv(columns.T @ columns)))


def student_factor(freedom: int, probability: float = ONE_SIGMA) -> float:
    """Student's t at a two-sided probability: by how much few spare readings widen an interval."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.5 * (1.0 + probability)))


def larger(told: Sequence[float], scattered: Floats | None) -> list[float]:
    """Return the larger of each error by the readings' errors and by their scatter, if that is known."""
    return list(told) if scattered is None else np.maximum(told, scattered).tolist()


def judge_error(relative: float, what: str) -> tuple[Verdict, str]:
    """Judge a result by its relative error, however that was found; 0 where nothing tells it."""
    wide = held(
        "bench_error", relative, WIDE_ERROR, f"reading errors or scatter leave {what} uncertain by {relative:.1%}"
    )
    if wide[0] != FINE:
        return wide
    if relative < NOTHING_TOLD:
        return FINE, f"how certain {what} is, nobody said: give reading errors, or more readings than it takes"
    certain = f"to {relative:.1%}" if relative >= LEAST_TOLD else f"to better than {LEAST_TOLD:.1%}"
    return FINE, f"reading errors and scatter leave {what} certain {certain}, before the meters' own gain"
