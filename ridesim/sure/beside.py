"""The spread beside one ride: what the ride's own answer says of how sure it is."""

from __future__ import annotations

from collections.abc import Sequence

from ridesim.ride.judge import Verdict, worst
from ridesim.ride.result import Ridden
from ridesim.sure.batch import Done
from ridesim.sure.spread import DRAWS, LOOK_CHANCE, Chance, Spread, spread, word_of
from ridesim.sure.uncertain import is_certain

FEWER_BEYOND_KM, NONE_BEYOND_KM = 60.0, 240.0
"""A long ride is drawn less often, a very long one not at all: an answer is not to wait for its spread."""
FEWER = 64


def beside(ride: Ridden, seed: int = 1, done: Done | None = None) -> Spread | None:
    """Return the spread of a ride under its own options, without band and indices.

    None where nothing is uncertain, or the ride is so long that its spread wants to be asked for.
    """
    ridden_km = ride.figures.distance_km
    if ridden_km > NONE_BEYOND_KM or is_certain(ride.loaded, ride.road):
        return None
    samples = FEWER if ridden_km > FEWER_BEYOND_KM else DRAWS
    return spread(
        ride.loaded, ride.road, ride.options, samples=samples, seed=seed, with_indices=False, band=False, done=done
    )  # fmt: skip


def judged(verdict: Verdict, told: Spread | None) -> Verdict:
    """Return a ride's verdict with the chances: never milder than that of the bike as it stands.

    A limit more likely passed than not stops; one passed in more than one of twenty bikes is worth a look.
    """
    return verdict if told is None else heeding(verdict, told.chances)


def heeding(verdict: Verdict, chances: Sequence[Chance]) -> Verdict:
    """Return a verdict that heeds the chances of limits passed, never milder than it was."""
    word = worst((verdict.word, word_of(chances)))
    if word == verdict.word:
        return verdict
    likely = [each for each in chances if each.chance > LOOK_CHANCE]
    reasons = tuple(f"In {each.chance:.0%} of bikes like it: {each.words}." for each in likely)
    return Verdict(word, (*reasons, *verdict.reasons), verdict.findings)
