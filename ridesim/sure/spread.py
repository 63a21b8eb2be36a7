"""spread(build, road): how far an answer may be off, how likely each limit is passed, and who carries it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from time import perf_counter
from typing import cast

import numpy as np
from numpy.typing import NDArray

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.errors import RideError
from ridesim.ride.drives import FIRST
from ridesim.ride.drives import SECOND as SECOND_DRIVE
from ridesim.ride.limits import FINE, LIMITS, LOOK_AGAIN, STOP, Word
from ridesim.ride.quantities import SECOND
from ridesim.ride.running import RideOptions, checked
from ridesim.ride.simulate import as_loaded
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.sure.batch import ANSWERS, BANDS, Done, Outcomes, places_along, ride_draws
from ridesim.sure.draws import columns_of, cube, leaving, mapped
from ridesim.sure.indices import Indices, evaluated, exchanged, indices, shares
from ridesim.sure.packing import Packer, packer
from ridesim.sure.scores import normal_score
from ridesim.sure.uncertain import Doubts, doubts_of

Array = NDArray[np.float64]

DRAWS = 256
"""Draws of a span beside an answer."""
LEAST_DRAWS, MOST_DRAWS = 16, 2**20
INDEX_SHARE = 8
"""One pair of points for indices in so many draws."""
SPAN = (0.1, 0.9)
OF_A_WHOLE_ROAD = ("total_time_s", "net_energy_wh", "charge_left_fraction", "pack_energy_returned_wh")
"""Answers that are only told of draws that arrive."""
LEAST_FOR_A_SPAN = 8
"""Draws below which their tenth and their nine tenths are single bikes (guess)."""
PERCENTILES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
STOP_CHANCE, LOOK_CHANCE = 0.5, 0.05
"""A limit passed more likely than not says stop; passed in more than one of twenty bikes, look again (guess)."""
SURE = 0.95
"""Confidence of the sampling error of a percentile or a chance."""
PLACES = 200
"""Places along the road at which a band is kept."""
TIMED_DRAWS = 64
"""Draws that are timed to say how long all will take."""
SECOND_SEED = 7_919
"""Sets the points for indices apart from the draws."""


@dataclass(frozen=True)
class Percentile:
    """One percentile of an answer, with an interval that holds the true one in 95 of 100 cases or more."""

    share: float
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Chance:
    """How often a limit is passed, with its sampling error."""

    limit: str
    words: str
    passed: int
    count: int

    @property
    def chance(self) -> float:
        """Share of the draws that passed the limit."""
        return self.passed / self.count

    @property
    def standard_error(self) -> float:
        """Binomial standard error of the chance."""
        return math.sqrt(self.chance * (1.0 - self.chance) / self.count)

    @property
    def interval(self) -> tuple[float, float]:
        """Ends of the exact 95 % interval. Source: Clopper and Pearson (1934), Biometrika 26:404-413."""
        from scipy.special import betaincinv  # slow to import: only when the interval is told

        passed, missed, tail = self.passed, self.count - self.passed, 0.5 * (1.0 - SURE)
        low = float(betaincinv(passed, missed + 1, tail)) if passed else 0.0
        return low, float(betaincinv(passed + 1, missed, 1.0 - tail)) if missed else 1.0

    def plain(self) -> dict[str, str | float]:
        """Return the chance as plain values for JSON."""
        low, high = self.interval
        figures = {"chance": self.chance, "standard_error": self.standard_error, "low": low, "high": high}
        return {"limit": self.limit, "words": self.words, **figures}


@dataclass(frozen=True, eq=False, repr=False)
class Spread(Answer):
    """The spread of one ride's answers. `nominal`: the build as it stands, beside the draws and never inside them."""

    loaded: LoadedBuild
    road: Road
    options: RideOptions
    doubts: Doubts
    seed: int
    nominal: Outcomes
    drawn: Outcomes
    scores: Array
    inputs: Array
    """What was drawn of the uncertain numbers, (draws, numbers), and its `scores` as independent standard normals."""
    indices: Indices | None
    notes: tuple[str, ...]
    range_km: tuple[float, float | None] | None = None
    """The 10 to 90 % span of the range, where it was ridden too (`beside.range_beside`)."""

    @property
    def samples(self) -> int:
        """Number of draws that were ridden."""
        return int(self.drawn.ridden.sum())

    @property
    def factors(self) -> list[list[int]]:
        """Columns of the uncertain numbers that are drawn together, as the columns of `indices`."""
        return columns_of(self.doubts)

    def values(self, answer: str) -> Array:
        """Return an answer of every draw that has it, in the order of the draws. Raises RideError for another name."""
        found = self.told(answer)
        return found[np.isfinite(found)]

    def told(self, answer: str) -> Array:
        """Return an answer of every draw, nan where it tells nothing: what a whole road takes, of one that ended early.

        Raises RideError for another name.
        """
        if answer not in self.drawn.names:
            known = ", ".join(self.drawn.names)
            raise RideError("--answer", f"there is no answer {answer!r}", f"choose one of {known}")
        found = self.drawn.of(answer)
        return np.where(self.drawn.stops == "finished", found, np.nan) if answer in OF_A_WHOLE_ROAD else found

    @property
    def arrived(self) -> int:
        """Number of draws that arrive: those of which what a whole road takes is told."""
        return int((self.drawn.stops[self.drawn.ridden] == "finished").sum())

    def as_built(self, answer: str) -> float | None:
        """Return an answer of the build as it stands; None of what a whole road takes where it does not arrive."""
        whole = answer not in OF_A_WHOLE_ROAD or str(self.nominal.stops[0]) == "finished"
        return float(self.nominal.of(answer)[0]) if whole else None

    def percentiles(self, answer: str, at: tuple[float, ...] = PERCENTILES) -> tuple[Percentile, ...]:
        """Return percentiles of an answer with their sampling error; none where no draw has the answer."""
        ordered = np.sort(self.values(answer))
        return tuple(percentile(ordered, share) for share in at) if len(ordered) else ()

    def span(self, answer: str) -> tuple[float, float] | None:
        """Return the 10 to 90 % span of an answer; None where too few bikes tell it, as where hardly one arrives."""
        found = self.values(answer)
        if len(found) < LEAST_FOR_A_SPAN:
            return None
        low, high = np.quantile(found, SPAN)
        return float(low), float(high)

    def shares(self, answer: str) -> Array:
        """Return the share of an answer's variance that each uncertain number carries alone, (numbers,)."""
        return shares(self.scores, self.told(answer))

    def shares_of_chance(self, limit: str) -> Array:
        """Return the share that each uncertain number carries of whether a limit is passed, (numbers,)."""
        return shares(self.scores, self.drawn.past(limit).astype(np.float64))

    def shares_of_brakes(self) -> Array:
        """Return the share that each uncertain number carries of how hot the brakes get, (numbers,)."""
        over = self.drawn.brakes_over_k
        return shares(self.scores, np.where(np.isfinite(over), over, np.nan))

    @cached_property
    def chances(self) -> tuple[Chance, ...]:
        """How likely each limit is passed, the likeliest first."""
        found = [
            chance_of(name, int(self.drawn.past(name)[self.drawn.ridden].sum()), self.samples, self.drawn.limits)
            for name in self.drawn.limits
            if name != "brake_heat" or self.loaded.build.brakes.stated
        ]
        return tuple(sorted(found, key=lambda each: -each.chance))

    @property
    def verdict(self) -> Word:
        """Stop where a limit is more likely passed than not, or by the bike as it stands; look again above 5 %."""
        return STOP if self.passed_as_built else word_of(self.chances)

    @property
    def passed_as_built(self) -> tuple[str, ...]:
        """The limits that the bike as it stands passes, by name."""
        flags = zip(self.nominal.limits, self.nominal.passed[0].tolist(), strict=True)
        return tuple(name for name, passed in flags if passed)

    @cached_property
    def ends(self) -> dict[str, int]:
        """How many draws ended how, the most frequent first."""
        words, counts = np.unique(self.drawn.stops[self.drawn.ridden], return_counts=True)
        pairs = zip(words.tolist(), counts.tolist(), strict=True)
        return dict(sorted(pairs, key=lambda pair: -pair[1]))

    def band(self, name: str) -> tuple[Array, Array, Array, Array]:
        """Return places [m] and the 10, 50 and 90 % lines there, of the draws that came so far. Raises KeyError."""
        with np.errstate(invalid="ignore"):
            low, middle, high = _quantiles(self.drawn.band[name], (SPAN[0], 0.5, SPAN[1]))
        return self.drawn.places_m, low, middle, high


def word_of(chances: Sequence[Chance]) -> Word:
    """Return the word of the likeliest limit: stop where it is more likely passed than not, look again above 5 %."""
    likeliest = max((each.chance for each in chances), default=0.0)
    return STOP if likeliest > STOP_CHANCE else LOOK_AGAIN if likeliest > LOOK_CHANCE else FINE


def _quantiles(rows: Array, at: tuple[float, ...]) -> Array:
    """Quantiles of the columns over their finite values; nan where a column has none."""
    found = np.full((len(at), rows.shape[1]), np.nan)
    reached = np.isfinite(rows).any(axis=0)
    found[:, reached] = np.nanquantile(rows[:, reached], at, axis=0)
    return found


def spread(
    build: str | Path | Build | LoadedBuild, road: str | Path | Road, options: RideOptions | None = None, *,
    samples: int = 512, seed: int = 1,
    only: tuple[str, ...] = (), with_indices: bool = True, band: bool = True, threads: int | None = None,
    done: Done | None = None,
) -> Spread:  # fmt: skip
    """Ride draws from a build's tolerances over a road, names or loaded.

    The same seed gives the same answer. Raises BuildError, RoadError or RideError for input that cannot be ridden, and
    Interrupted, whose `left` is the Spread of the rides so far.
    """
    from ridesim.errors import Interrupted

    loaded, chosen = as_loaded(build), checked(options or RideOptions())
    road = road if isinstance(road, Road) else load_road(road)
    count = whole_samples(samples)
    doubts = doubts_of(loaded, road, only)
    pack = packer(loaded, road, chosen, doubts)
    places = places_along(road.length_m, PLACES) if band else None
    nominal = ride_draws(pack, np.empty((1, 0)), places_m=places, threads=1)
    points = cube(count, len(doubts.numbers), seed)
    places = places if road.cycle is None else None
    made = partial(
        Spread, loaded, road, chosen, doubts, seed, nominal, scores=scores_of(points), inputs=mapped(points, doubts),
        notes=(*doubts.notes, *leaving(doubts)),
    )  # fmt: skip
    try:
        drawn = ride_draws(pack, made.keywords["inputs"], places_m=places, threads=threads, done=done)
    except Interrupted as end:
        raise Interrupted(end.done, made(drawn=cast(Outcomes, end.left), indices=None)) from None
    try:
        found = _indices(pack, count // INDEX_SHARE, seed, threads, done) if with_indices else None
    except Interrupted as end:
        raise Interrupted(f"all draws, and {end.done} for the indices", made(drawn=drawn, indices=None)) from None
    return made(drawn=drawn, indices=found)


def whole_samples(samples: int) -> int:
    """Return the number of draws as a power of two, at least as many as asked for. Raises RideError."""
    if not LEAST_DRAWS <= samples <= MOST_DRAWS:
        what = f"{samples} is out of range (allowed {LEAST_DRAWS} to {MOST_DRAWS})"
        raise RideError("--samples", what, "256 tell a span, 4096 a rare chance")
    return 2 ** math.ceil(math.log2(samples))


def expected_rides(loaded: LoadedBuild, road: Road, samples: int, only: tuple[str, ...] = ()) -> int:
    """Return how many rides a spread with its indices takes."""
    count = whole_samples(samples)
    factors = len(columns_of(doubts_of(loaded, road, only)))
    return count + max(count // INDEX_SHARE, 1) * (factors + 2)


def expected_seconds(
    loaded: LoadedBuild, road: Road, options: RideOptions, samples: int, only: tuple[str, ...] = ()
) -> float:
    """Return about how long a spread takes [s], from a few of its rides on all cores."""
    doubts = doubts_of(loaded, road, only)
    pack = packer(loaded, road, checked(options), doubts)
    few = mapped(cube(TIMED_DRAWS, len(doubts.numbers), SECOND_SEED), doubts)
    ride_draws(pack, few[:1])
    begun = perf_counter()
    ride_draws(pack, few)
    return (perf_counter() - begun) / TIMED_DRAWS * expected_rides(loaded, road, samples, only)


def scores_of(points: Array) -> Array:
    """Return points of the unit cube as independent standard normal scores."""
    return normal_score(points)


def _indices(pack: Packer, count: int, seed: int, threads: int | None, done: Done | None) -> Indices:
    """Ride the exchanged points and return the indices of every answer; a factor is a key, or keys drawn together."""
    width = len(pack.doubts.numbers)
    both = cube(max(count, 2), 2 * width, seed + SECOND_SEED)
    a, b = both[:, :width], both[:, width:]

    def ride(points: Array) -> Array:
        """Return what rides of these points of the doubts come to, a row an answer."""
        outcomes = ride_draws(pack, mapped(points, pack.doubts), threads=threads, done=done)
        return filled(outcomes.answers).T

    f_a, f_b, *f_ab = evaluated(ride, [a, b, *exchanged(a, b, columns_of(pack.doubts))])
    return indices(f_a, f_b, np.array(f_ab))


def filled(answers: Array) -> Array:
    """Return answers with what a ride did not have (no speed, no energy a km) in the middle of what the others had."""
    found = answers.copy()
    for column in range(found.shape[1]):
        missing = ~np.isfinite(found[:, column])
        known = found[~missing, column]
        found[missing, column] = np.median(known) if known.size else 0.0
    return found


def percentile(ordered: Array, share: float) -> Percentile:
    """Return a percentile of ordered draws; its interval lies between two of them, by the binomial distribution.

    It takes draws as independent: Sobol points do better, so that the interval is no narrower than it should be.
    Source: David and Nagaraja (2003), Order Statistics, section 7.1.
    """
    from scipy.stats import binom

    count = len(ordered)
    low, high = (float(binom.ppf(tail, count, share)) for tail in (0.5 - SURE / 2.0, 0.5 + SURE / 2.0))
    ends = ordered[[int(np.clip(low - 1, 0, count - 1)), int(np.clip(high, 0, count - 1))]]
    return Percentile(share, float(np.quantile(ordered, share)), float(ends[0]), float(ends[1]))


def chance_of(limit: str, passed: int, count: int, limits: Sequence[str] = ()) -> Chance:
    """Return the chance that a limit is passed from how often it was; `limits`: those of the same bike.

    Where each of two drives has the limit for itself, the words say whose it is.
    """
    own = limit.removeprefix(SECOND)
    words = LIMITS[own].broken if own in LIMITS else limit
    if f"{SECOND}{own}" in limits:
        words = f"{FIRST if own == limit else SECOND_DRIVE}: {words}"
    return Chance(limit, words, passed, count)


__all__ = [
    "ANSWERS", "BANDS", "Chance", "Percentile", "Spread", "chance_of", "expected_rides", "expected_seconds",
    "percentile", "spread",
]  # fmt: skip
