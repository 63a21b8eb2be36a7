"""What helps a bike that a ride stops: the cures of what stops it, and the command that rides them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.ride.judge import STOP, Verdict
from ridesim.ride.limits import LIMITS
from ridesim.sure.spread import STOP_CHANCE

if TYPE_CHECKING:
    from ridesim.ride.simulate import Ride
    from ridesim.sure.spread import Spread

TOLD_ALREADY = "What helps:"
"""A reason with these words says itself what helps."""
RIDDEN = "`ridesim climb BUILD ROAD --find speed` (current, load, ratio) rides which values do"


def helps_words(ride: Ride, verdict: Verdict, told: Spread | None) -> tuple[str, ...]:
    """Return in one line what helps a bike that is stopped; nothing for another, or where its reasons say so."""
    if verdict.word != STOP:
        return ()
    stopped = [each for each in verdict.findings if each.verdict == STOP]
    cures = [each.cure for each in stopped if TOLD_ALREADY not in each.reason]
    if not stopped and told is not None:
        cures = [LIMITS[each.limit].cure for each in told.chances if each.chance > STOP_CHANCE]
    found = "; ".join(dict.fromkeys(filter(None, cures)))
    by_riding = "" if ride.road.cycle is not None else f". {RIDDEN}"
    return (f"{found}{by_riding}.",) if found else ()
