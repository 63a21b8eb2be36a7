"""How many digits a figure is told with: as many as its span supports, and three where nobody asked for its span.

What lies within a span of 8 of 10 bikes is not told to its hundredth: JSON keeps every digit.
"""

from __future__ import annotations

import math

from ridesim.units import for_people

STEPS_IN_A_SPAN = 5.0
"""A span is at least so many steps of its last digit wide; 54 to 79 km in kilometres, 220 to 340 Wh in tens (guess)."""
STEPS_IN_AN_END = 2.0
"""Nor is a step more than half of the nearer end: 2 to 57 km is told in kilometres (guess)."""
TO_THE_DEGREE = ("c",)
"""Temperatures stand beside limits that are told to the degree."""
TIME_STEPS_IN_A_SPAN = 3.0
TIME_STEPS_S = (5.0, 10.0, 30.0, 60.0, 300.0, 600.0)
WITHOUT_A_SPAN = 3
"""Significant digits of a figure whose span was not asked for."""


def span_digits(low: float, high: float, unit: str, units: str, most: int) -> int:
    """Return the digits after the point that a span supports (-1: tens), never more than `most`."""
    ends = (for_people(low, unit, units)[0], for_people(high, unit, units)[0]) if unit else (low, high)
    step, nearer = abs(ends[1] - ends[0]) / STEPS_IN_A_SPAN, min(abs(end) for end in ends) / STEPS_IN_AN_END
    if not (math.isfinite(step) and step > 0.0):
        return most
    if unit in TO_THE_DEGREE:
        return most
    return min(most, -math.floor(math.log10(min(step, nearer) if nearer > 0.0 else step)))


def significant_digits(value: float, unit: str, units: str, most: int, figures: int = WITHOUT_A_SPAN) -> int:
    """Return the digits after the point that show so many significant figures, between none and `most`."""
    number = abs(for_people(value, unit, units)[0] if unit else value)
    if not (math.isfinite(number) and number > 0.0):
        return most
    return max(min(most, figures - 1 - math.floor(math.log10(number))), 0)


def time_step_s(low_s: float, high_s: float) -> float:
    """Return the step to which a time with such a span is told [s]."""
    room = abs(high_s - low_s) / TIME_STEPS_IN_A_SPAN
    return max((step for step in TIME_STEPS_S if step <= room), default=1.0)


FIGURES_OF_AN_ERROR = 2
"""Significant figures of an error; its value ends at the same place. Source: JCGM 100:2008 (GUM), 7.2.6."""
MOST_DECIMALS = 5
"""Beyond so many a small number is told with its power of ten."""


def to_error(value: float, error: float) -> str:
    """Return a value to the last digit of its error, without the error; to four figures where it has none."""
    if not (math.isfinite(value) and math.isfinite(error) and error > 0.0):
        return f"{value:.4g}"
    decimals = FIGURES_OF_AN_ERROR - 1 - math.floor(math.log10(error))
    if decimals <= MOST_DECIMALS:
        rounded = round(value, decimals)
        return f"{rounded + 0.0:.{max(decimals, 0)}f}"
    if value == 0.0:
        return "0"
    return f"{value:.{max(math.floor(math.log10(abs(value))) + decimals, 0)}e}"


def with_error(value: float, error: float) -> str:
    """Return a value and its error, both to the same place: `0.921 ± 0.032`."""
    return f"{to_error(value, error)} ± {to_error(error, error)}"
