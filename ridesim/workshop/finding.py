"""One line of a check sheet: a figure, what it is held against, a verdict, and why."""

from __future__ import annotations

from dataclasses import dataclass

from ridesim.workshop.limits import Verdict


@dataclass(frozen=True)
class Finding:
    """One thing checked. `figure` and `limit` are in the unit of the suffix `unit` ("" for a plain number).

    `limit` None: nothing to hold the figure against. `at_least`: the figure should be at or above the limit.
    """

    name: str
    verdict: Verdict
    figure: float | None
    limit: float | None
    unit: str
    reason: str
    at_least: bool = False


def verdict_below(figure: float, limit: float, near_share: float = 1.0) -> Verdict:
    """Return `stop` above a limit, `look again` above `near_share` of it, else `fine`."""
    if figure > limit:
        return "stop"
    return "look again" if figure > near_share * limit else "fine"
