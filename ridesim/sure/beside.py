"""The spread beside one ride: what the ride's own answer says of how sure it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.bike.second import drives_of
from ridesim.engine.loop import ENDLESS_LAPS
from ridesim.ride.judge import LOOK_AGAIN, Verdict, worst
from ridesim.ride.result import Ridden
from ridesim.ride.running import RANGE_LIMIT_H, RideOptions
from ridesim.road.profile import Road
from ridesim.sure.batch import Done
from ridesim.sure.foretold import ranges_foretold
from ridesim.sure.spread import DRAWS, LOOK_CHANCE, SPAN, Chance, Spread, spread, word_of
from ridesim.sure.uncertain import is_certain

FEWER_BEYOND_KM, NONE_BEYOND_KM = 60.0, 240.0
"""A long ride is drawn less often, a very long one not at all: an answer is not to wait for its spread."""
FEWER = 64
TWO_DRIVES, TWO_DRIVES_BY_VOLTAGE, TWO_DRIVES_WITH_FIELD = 2.5, 15.0, 15.0
"""Two different drives are asked in turn in each step: a kilometre of theirs takes so many times as long, measured."""
AT_LEAST_KM_H = 3.0
"""A bike that still rides when it would have made its range at this pace goes on and on."""
OTHERS_KM = 60.0
"""Where this bike gets stuck early, others do not: they are given the time for so many kilometres (guess)."""
LONGEST_RANGE_KM = 150.0
"""Up to this far the span of a range is ridden unasked."""


def beside(ride: Ridden, seed: int = 1, done: Done | None = None) -> Spread | None:
    """Return the spread of a ride under its own options, without band and indices; bikes like it are ridden as drafts.

    A draft moves an end of a span by some hundredths of its width (`tests/sure/test_beside.py`), 256 draws by a tenth.
    None where nothing is uncertain, or the ride is so long that its spread wants to be asked for.
    """
    ridden_km = ride.figures.distance_km
    if ridden_km > NONE_BEYOND_KM or is_certain(ride.loaded, ride.road):
        return None
    samples = FEWER if ridden_km * _slowness(ride.build, ride.options) > FEWER_BEYOND_KM else DRAWS
    return spread(
        ride.loaded, ride.road, replace(ride.options, accuracy="draft"), samples=samples, seed=seed, with_indices=False,
        band=False, done=done,
    )  # fmt: skip


def _slowness(build: Build, options: RideOptions) -> float:
    """Return how much longer a kilometre takes to ride than one of a bike of one drive, roughly."""
    if build.second is None:
        return 1.0
    if _two_weaken(build):
        return TWO_DRIVES_WITH_FIELD
    law = options.throttle_law or build.controller.throttle_law
    return TWO_DRIVES_BY_VOLTAGE if law == "voltage" else TWO_DRIVES


def _two_weaken(build: Build) -> bool:
    """Two drives of which one weakens its field: a range's span of 50 km took 90 s, and the ride's answer waited."""
    return build.second is not None and any(d.controller.field_weakening_current_a > 0.0 for d in drives_of(build))


def beside_with_range(ride: Ridden, range_km: float | None, done: Done | None = None) -> Spread | None:
    """Return the spread of a ride with the span of its range, which is ridden to its end in a few of the bikes."""
    told = beside(ride, done=done)
    if told is None:
        return None
    return replace(told, range_km=range_beside(ride.loaded, ride.road, ride.options, range_km, told=told))


def range_beside(
    loaded: LoadedBuild, road: Road, options: RideOptions, range_km: float | None, seed: int = 1,
    told: Spread | None = None,
) -> tuple[float, float | None] | None:  # fmt: skip
    """Return the 10 to 90 % span of a range [km]: bikes like it, ridden until their pack, or a hill, ends it.

    `told`: what one ride of each came to, by which few of them need to be ridden to their end.
    An upper end of None: more than one in ten ride on and on. None where the range has no end or is so long that its
    span wants to be asked for, or nothing is uncertain.
    """
    if range_km is None or is_certain(loaded, road):
        return None
    slower = TWO_DRIVES_WITH_FIELD if _two_weaken(loaded.build) else 1.0
    if slower * range_km > LONGEST_RANGE_KM:
        return None
    hours = min(max(range_km, OTHERS_KM) / AT_LEAST_KM_H + 1.0, RANGE_LIMIT_H)
    # A draft is right to 1 %, a tenth of what such a span is wide.
    endless = replace(options, laps=ENDLESS_LAPS, time_limit_h=hours, accuracy="draft")
    foretold = None if told is None else ranges_foretold(told, endless)
    far = np.sort(_ranges_ridden(loaded, road, endless, seed) if foretold is None else foretold)
    low, high = (float(far[round(share * (len(far) - 1))]) for share in SPAN)
    return (low, high if np.isfinite(high) else None) if np.isfinite(low) else None


def _ranges_ridden(loaded: LoadedBuild, road: Road, endless: RideOptions, seed: int) -> NDArray[np.float64]:
    """Return the ranges of some bikes [km], each ridden to its end; infinite where it goes on and on."""
    drawn = spread(loaded, road, endless, samples=FEWER, seed=seed, with_indices=False, band=False).drawn
    return np.where(drawn.stops == "time_limit", np.inf, drawn.of("distance_km"))


def judged(verdict: Verdict, told: Spread | None) -> Verdict:
    """Return a ride's verdict with the chances: never milder than that of the bike as it stands.

    A limit more likely passed than not stops; one passed in more than one of twenty bikes is worth a look.
    """
    return verdict if told is None else heeding(verdict, told.chances)


def heeding(verdict: Verdict, chances: Sequence[Chance]) -> Verdict:
    """Return a verdict that heeds the chances of limits passed, never milder than it was.

    What stops one bike in twenty is said before what merely comes near in this one; a stop has its own reason.
    """
    word = worst((verdict.word, word_of(chances)))
    if word == verdict.word != LOOK_AGAIN:
        return verdict
    likely = [each for each in chances if each.chance > LOOK_CHANCE]
    reasons = tuple(f"In {each.chance:.0%} of bikes like it: {each.words}." for each in likely)
    return Verdict(word, (*reasons, *verdict.reasons), verdict.findings)
