"""One figure held against one limit of the list: the only place that compares."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from ridesim.ride.limits import FINE, LIMITS, LOOK_AGAIN, Rule, Word


@dataclass(frozen=True)
class Finding:
    """One limit held against one figure, both in the unit of the suffix `unit` ("" for a plain number).

    `name`: the limit's in `LIMITS`; `subject`: which of several (a bound, a stage, a lead). `limit` None: nothing to
    hold the figure against. `at_least`: the figure should be at or above the limit.
    """

    name: str
    verdict: Word
    figure: float | None
    limit: float | None
    unit: str
    reason: str
    at_least: bool = False
    subject: str = ""
    cure: str = ""

    @property
    def title(self) -> str:
        """What is judged, in words."""
        return f"{LIMITS[self.name].words}, {self.subject}" if self.subject else LIMITS[self.name].words


def hold(
    name: str,
    figure: float | None,
    limit: float | None,
    reason: str = "",
    *,
    calm: str | None = None,
    subject: str = "",
    cure: str | None = None,
) -> Finding:
    """Hold a figure against a limit of the list, both in the limit's unit; without either there is nothing to judge.

    calm: the reason where it is fine, if another than of a limit that is near or passed. Raises KeyError for a name
    that is not on the list.
    """
    rule = LIMITS[name]
    word = FINE if figure is None or limit is None else _word(rule, figure, limit)
    helps = "" if word == FINE else rule.cure if cure is None else cure
    why = calm if word == FINE and calm is not None else reason
    return Finding(name, word, figure, limit, rule.unit, why, rule.floor, subject, helps)


def look_again(name: str, reason: str, figure: float | None = None, *, subject: str = "") -> Finding:
    """Return a finding on a limit whose value nobody stated: worth a look, and why."""
    rule = LIMITS[name]
    return Finding(name, LOOK_AGAIN, figure, None, rule.unit, reason, rule.floor, subject, rule.cure)


def as_judged(
    name: str,
    word: Word,
    figure: float | None,
    limit: float | None,
    reason: str,
    *,
    subject: str = "",
    cure: str | None = None,
) -> Finding:
    """Return the finding of a part that its own room judged by several limits at once, with what helps."""
    rule = LIMITS[name]
    helps = "" if word == FINE else rule.cure if cure is None else cure
    return Finding(name, word, figure, limit, rule.unit, reason, rule.floor, subject, helps)


def _word(rule: Rule, figure: float, limit: float) -> Word:
    """Return the verdict: beyond the limit by more than rounding, near it, or neither. Not a number is no pass."""
    if math.isnan(figure) or math.isnan(limit):
        return rule.passed
    if is_passed(rule, figure, limit):
        return rule.passed
    beyond = limit - figure if rule.floor else figure - limit
    near = max(rule.near, rule.near_share * abs(limit))
    return LOOK_AGAIN if near > 0.0 and beyond > -near else FINE


def is_passed(rule: Rule, figure: Any, limit: Any) -> Any:
    """Return whether a figure lies beyond a limit by more than rounding; of columns row by row."""
    beyond = limit - figure if rule.floor else figure - limit
    return (beyond > rule.tolerance) & (beyond > rule.tolerance_share * abs(limit))
