"""The figures of a ride as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ridesim.ride.range import Outlook
    from ridesim.ride.simulate import Ride
    from ridesim.sure.spread import Spread


def ride_figures(answer: Ride, outlook: Outlook) -> dict[str, Any]:
    """Return what a ride came to, how far it goes on, and how it compares with the recording."""
    from ridesim.ride.recorded import against_recording

    recorded = against_recording(answer)
    compared = {"against_recording": None if recorded is None else dict(vars(recorded))}
    return {**answer.summary, **outlook.plain(), **compared}


def sure_figures(answer: Ride, told: Spread | None) -> dict[str, Any]:
    """Return what the spread adds to the JSON answer: the verdict by the chances, and a block of its own."""
    from ridesim.report.spread.beside import plain
    from ridesim.ride.judge import judge
    from ridesim.sure.beside import judged

    verdict = judged(judge(answer), told)
    words = answer.summary["verdict"] | {"word": verdict.word, "reasons": list(verdict.reasons)}
    return {"verdict": words, "spread": plain(told)}
