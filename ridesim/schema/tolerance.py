"""How uncertain a number is: the little language of tolerances, and what a key carries of them by whose value it is.

"5 %": one standard deviation, log-normal. "x/ 1.3": log-normal, from value / 1.3 to value x 1.3 in 10 to 90 % of cases.
0.03: one standard deviation in the key's unit, normal. "within 0.1", "within 5 %": anywhere inside, evenly. "exact".
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

Kind = Literal["log-normal", "normal", "uniform", "around", "exact"]

TEN_TO_NINETY = 1.2815515655446004
"""The standard normal quantile at 90 % (any table of the normal distribution)."""
MOST_PERCENT = 100.0
"""A standard deviation larger than the value says nothing about it."""
MOST_FACTOR = 10.0

_NUMBER = r"([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?)"
_SHARE = re.compile(rf"(within\s+)?{_NUMBER}\s*%")
_FACTOR = re.compile(rf"x\s*/\s*{_NUMBER}")
_WITHIN = re.compile(rf"within\s+{_NUMBER}")
WAYS = 'write "5 %", a number in the key\'s unit, "x/ 1.3", "within 5 %", "measured" or "exact"'


@dataclass(frozen=True)
class Tolerance:
    """How one number is spread. `size`: of the logarithm (log-normal), in the key's unit (normal, around a circle), or
    half a width (uniform; `relative`: as a share of the value)."""

    kind: Kind
    size: float = 0.0
    relative: bool = False
    said: str = "exact"

    def standard_deviation(self, value: float) -> float:
        """Return one standard deviation around a value, in its unit; of a log-normal by first order."""
        if self.kind == "uniform":
            return self.size * (abs(value) if self.relative else 1.0) / math.sqrt(3.0)
        return self.size * abs(value) if self.kind == "log-normal" else self.size


EXACT = Tolerance("exact")


def parse_tolerance(given: object) -> Tolerance:
    """Return a tolerance as a file writes it. Raises ValueError with `what is wrong; what to do`."""
    if isinstance(given, bool) or not isinstance(given, int | float | str):
        raise ValueError(f"is not a tolerance; {WAYS}")
    if isinstance(given, str):
        return _of_text(given.strip())
    if not (math.isfinite(given) and given > 0.0):
        raise ValueError('is no spread (allowed: more than 0); write "exact" for a number without any')
    return Tolerance("normal", float(given), said=f"{given:g}")


def _of_text(text: str) -> Tolerance:
    if text == "exact":
        return EXACT
    if found := _SHARE.fullmatch(text):
        return _of_share(float(found[2]), bool(found[1]), text)
    if found := _FACTOR.fullmatch(text):
        factor = float(found[1])
        if not 1.0 < factor <= MOST_FACTOR:
            raise ValueError(f"is no factor of a spread (allowed: more than 1, up to {MOST_FACTOR:g}); {WAYS}")
        return Tolerance("log-normal", math.log(factor) / TEN_TO_NINETY, said=text)
    if found := _WITHIN.fullmatch(text):
        half = float(found[1])
        if not (math.isfinite(half) and half > 0.0):
            raise ValueError(f"is no width (allowed: more than 0); {WAYS}")
        return Tolerance("uniform", half, said=text)
    raise ValueError(f"is not a tolerance; {WAYS}")


def _of_share(percent: float, even: bool, text: str) -> Tolerance:
    if not 0.0 < percent <= MOST_PERCENT:
        to_do = 'write "exact" for a number without any' if percent == 0.0 else 'write "x/ 2" for a number hardly known'
        raise ValueError(f"is out of range (more than 0, up to {MOST_PERCENT:g} %); {to_do}")
    share = percent / MOST_PERCENT
    if even:
        return Tolerance("uniform", share, relative=True, said=text)
    # The log-normal whose relative standard deviation is the share: variance of the logarithm ln(1 + s^2).
    return Tolerance("log-normal", math.sqrt(math.log1p(share * share)), said=text)


@dataclass(frozen=True)
class Tolerances:
    """What a key carries: how uncertain it is as a default or estimate, as given by a file, as the builder's own
    measurement, and why. None: as the one before it."""

    guess: Tolerance
    given: Tolerance
    measured: Tolerance
    why: str


def by_source(
    guess: str | float, given: str | float | None, measured: str | float | None, why: str, *, circle: bool = False
) -> Tolerances:
    """Return the tolerances of a key by whose value it is; None: as sure as the column before. `circle`: of a bearing,
    which goes round."""
    first = _circled(parse_tolerance(guess), circle)
    second = first if given is None else _circled(parse_tolerance(given), circle)
    third = second if measured is None else _circled(parse_tolerance(measured), circle)
    return Tolerances(first, second, third, why)


def _circled(tolerance: Tolerance, circle: bool) -> Tolerance:
    return Tolerance("around", tolerance.size, said=tolerance.said) if circle else tolerance
