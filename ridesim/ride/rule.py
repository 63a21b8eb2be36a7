"""What a limit of the one list consists of: the verdicts' words, and a rule with its tolerance and its cure."""

from __future__ import annotations

from typing import Literal, NamedTuple

Word = Literal["fine", "look again", "stop"]
FINE: Word = "fine"
LOOK_AGAIN: Word = "look again"
STOP: Word = "stop"
ORDER: tuple[Word, ...] = (FINE, LOOK_AGAIN, STOP)

NEAR_LIMIT_K = 15.0
"""A winding or magnet this close to its limit is worth a look (guess)."""
TEMPERATURE_TOLERANCE_K = 0.1
"""What the default step promises of a temperature: a limit passed by less is met [K]."""
RATING_TOLERANCE = 0.01
"""A current limit set to a rating is met to rounding only: a rating counts as passed by more than this share."""
ROUNDING = 1.0 + RATING_TOLERANCE
"""A figure over its rating up to which it counts as met."""
SPEED_TOLERANCE = 0.01
"""A wanted speed counts as reached within this share: 24.9 km/h is 25."""


class Rule(NamedTuple):
    """One limit. `near` and `tolerance` in its unit, `near_share` and `tolerance_share` as shares of the limit.

    `passed`: the verdict beyond it, `broken`: the same in three words. `floor`: the figure should be at or above the
    limit. `cure`: what helps.
    """

    words: str
    unit: str
    protects: str
    cure: str
    source: str
    passed: Word = STOP
    floor: bool = False
    near: float = 0.0
    near_share: float = 0.0
    tolerance: float = 0.0
    tolerance_share: float = 0.0
    broken: str = ""
