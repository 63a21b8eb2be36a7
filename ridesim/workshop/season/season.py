"""A year on the commute: every day out and back, what it costs, and how long the pack lasts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.state import Stop
from ridesim.errors import Interrupted, RideError
from ridesim.ride.bounds import STOP_WORDS
from ridesim.ride.judge import ARRIVAL_CURES, Word, worst
from ridesim.ride.limits import LIMITS
from ridesim.ride.running import RideOptions, checked
from ridesim.ride.simulate import as_loaded
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.road.turned import turned_round
from ridesim.sure.batch import CHANCES
from ridesim.units import from_si, shown
from ridesim.workshop.season import worth as worth_of
from ridesim.workshop.season.air import WeatherYear
from ridesim.workshop.season.energy import bought_wh, kwh
from ridesim.workshop.season.history import Knots, charge_knots
from ridesim.workshop.season.legs import (
    Bike,
    Commute,
    Done,
    Leg,
    arrives,
    bike_of,
    commute,
    day_word,
    least_left,
    ride_season,
    riding_days,
    worse,
)
from ridesim.workshop.season.plan import CHARGER_C_RATE, Plan, plan_for
from ridesim.workshop.season.spans import DRAWS, DaySpan, drawn_days
from ridesim.workshop.season.typical import load_typical, typical_year
from ridesim.workshop.season.wear import Wear
from ridesim.workshop.season.weather_file import load_weather
from ridesim.workshop.season.worth import Worth, worths
from ridesim.workshop.season.years import Years, ride_years, wears

WORST_DAYS = 3
"""Of the year that are ridden again with each year's pack."""
MONTHS = range(1, 13)
MOST_YEARS = 30
COLD_CHARGE_C = 0.0
APART_M = 50.0
"""Two ends of a commute that differ more in height are hardly the same place (guess)."""
MORE_CHARGE = "charge at work (--charge home,work), or take a larger pack or a shorter road"
SHARES = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class Day:
    """One day of the year: its legs, and what they came to together; nan where it does not come home."""

    day: int
    date: str
    legs: tuple[Leg, ...]
    arrives: bool
    word: Word
    time_s: float
    net_wh: float
    charge_left: float


@dataclass(frozen=True)
class Month:
    """The days of a month: 10, 50 and 90 % of time and energy of those that come home."""

    month: int
    days: int
    not_home: int
    time_s: tuple[float, float, float] | None
    net_wh: tuple[float, float, float] | None
    least_charge_left: float


@dataclass(frozen=True, eq=False, repr=False)
class Season(Answer):
    """One year and the pack's years after it. `passed`: days on which each limit stops the ride."""

    commute: Commute
    bike: Bike
    days: tuple[Day, ...]
    months: tuple[Month, ...]
    worst: Day
    typical: Day
    passed: dict[str, int]
    bought_kwh: float
    cold_charges: int
    late_charges: int
    years: Years
    worths: tuple[Worth, ...]
    spans: tuple[DaySpan, ...]
    verdict: Word
    notes: tuple[str, ...]
    years_asked: int

    @property
    def price(self) -> float | None:
        """What the energy costs, in the plan's money."""
        each = self.commute.plan.price_per_kwh
        return None if each is None else each * self.bought_kwh

    @property
    def net_kwh(self) -> float:
        """Energy out of the pack over the year."""
        return kwh(sum(leg.net_wh for day in self.days for leg in day.legs))

    @property
    def looked(self) -> dict[str, int]:
        """Days on which each limit is worth a second look, the most often first."""
        names = Counter(name for day in self.days for name in {each for leg in day.legs for each in leg.looked})
        return dict(names.most_common())

    @property
    def not_home(self) -> int:
        """Days that do not come home."""
        return sum(not day.arrives for day in self.days)


def season(
    build: str | Path | Build | LoadedBuild, road: str | Path | Road, weather: str | Path | WeatherYear | None = None,
    *, back: str | Path | Road | None = None, plan: Plan | None = None,
    options: RideOptions | None = None, years: int = 10, quick: bool = False, seed: int = 1, start: Wear | None = None,
    threads: int | None = None, done: Done | None = None,
) -> Season:  # fmt: skip
    """Ride every day of a year out and back (`back`: another road; else the same turned round) and age the pack.

    `weather`: a year, or a CSV of one; None invents a typical one by `seed`. `plan`: see `plan_for`.
    `quick` leaves out spans and changes; `start`: what the pack has been through. Raises RideError where not one day
    comes home, or for a plan or options that cannot be ridden.
    """
    if not 0 <= years <= MOST_YEARS:
        raise RideError("--years", f"{years} (allowed 0 to {MOST_YEARS})", "ask for fewer")
    loaded, way = as_loaded(build), _road(road)
    home = turned_round(way) if back is None else _road(back)
    c = commute(loaded, way, home, _air(weather, seed), plan or plan_for(loaded), checked(options or RideOptions()))
    counted = Counted(done)
    try:
        return _lived(c, years, start, quick, seed, threads, counted)
    except KeyboardInterrupt:
        raise Interrupted(f"{counted.days} days") from None


class Counted:
    """Counts the days that were ridden, and passes the word on."""

    def __init__(self, done: Done | None) -> None:
        self.days, self._done = 0, done

    def __call__(self, count: int) -> None:
        """Count some more."""
        self.days += count
        if self._done is not None:
            self._done(count)


def _lived(
    c: Commute, years: int, start: Wear | None, quick: bool, seed: int, threads: int | None, done: Done
) -> Season:
    """Ride the year, then the pack's years and what else is asked for."""
    dates = riding_days(c)
    bike = bike_of(c, c.build)
    ridden = ride_season(c, bike, dates, threads=threads, done=done)
    _refuse_hopeless(c, ridden)
    days = tuple(_day(c, legs) for legs in ridden)
    order = sorted(range(len(days)), key=lambda at: worse(ridden[at]))
    worst_at, typical = _worst_places(days, order), _typical(days)
    worst_days = [dates[at] for at in worst_at]
    worn, no_law = wears(c, bike, ridden, dates, years, start)
    charges = [ridden[at][0].charge_start for at in worst_at]
    lived = ride_years(
        c, c.build, worn, worst_days, no_law, charges=charges, spans=not quick, threads=threads, done=done
    )
    spans: tuple[DaySpan, ...] = ()
    tried: tuple[Worth, ...] = ()
    if not quick:
        pair = (days[order[0]], typical)
        starts = [day.legs[0].charge_start for day in pair]
        spans = drawn_days(c, [day.day for day in pair], starts, seed=seed, threads=threads, done=done)
        tried = worths(c, worst_days, years, threads=threads, done=done) if worn and years else ()
    knots = charge_knots(c, ridden, dates)
    return Season(
        commute=c, bike=bike, days=days, months=_months(c, days), worst=days[order[0]], typical=typical,
        passed=_passed(days), bought_kwh=kwh(bought_wh(bike.dry, knots, c.plan.top_share)),
        cold_charges=cold_charges(c, ridden), late_charges=late_charges(c, knots, ridden, dates), years=lived,
        worths=tried, spans=spans, verdict=worst(day.word for day in days),
        notes=(*c.loaded.warnings, *c.out.warnings, *_ends_apart(c), *c.weather.notes), years_asked=years,
    )  # fmt: skip


def _ends_apart(c: Commute) -> tuple[str, ...]:
    """Say so where the way home does not begin, or end, as high as the way out ends and begins."""
    steps = (c.back.altitude_m[0] - c.out.altitude_m[-1], c.back.altitude_m[-1] - c.out.altitude_m[0])
    if max(map(abs, steps)) <= APART_M:
        return ()
    begins, ends = (f"{shown(abs(step), 'm', digits=0)} {'above' if step > 0.0 else 'below'}" for step in steps)
    return (
        f"The way home begins {begins} where the way out ends, and ends {ends} where it began: is it the right one?",
    )


def _road(road: str | Path | Road) -> Road:
    return road if isinstance(road, Road) else load_road(road)


def _air(weather: str | Path | WeatherYear | None, seed: int) -> WeatherYear:
    if isinstance(weather, WeatherYear):
        return weather
    return typical_year(load_typical(), seed) if weather is None else load_weather(weather)


def expected_rides(loaded: LoadedBuild, weather: WeatherYear, plan: Plan, years: int, *, quick: bool) -> int:
    """Return about how many days of riding a season takes, for a progress bar."""
    days = sum(weather.date_of(day).weekday() in plan.weekdays for day in range(weather.days))
    again = WORST_DAYS * (years + 1)
    return days + again if quick else days + 3 * again + DRAWS + 7 * (days // worth_of.THINNED + WORST_DAYS + again)


def _refuse_hopeless(c: Commute, ridden: Sequence[tuple[Leg, ...]]) -> None:
    """Raise RideError where no day of the year comes home: nothing can be said of such a commute."""
    if not ridden:
        raise RideError("--days", "no day of the year is ridden", "name more days")
    if any(map(arrives, ridden)):
        return
    best = max(ridden, key=lambda legs: sum(leg.distance_km for leg in legs))
    far, whole = sum(leg.distance_km for leg in best), from_si(c.out.length_m + c.back.length_m, "km")
    stop = Stop[best[-1].stop.upper()]
    ended = f"ends after {shown(far, 'km')} of {shown(whole, 'km')} out and back: {STOP_WORDS[stop]}"
    what = f"no day of the year comes home: the best one {ended}"
    raise RideError(c.out.name, what, ARRIVAL_CURES.get(stop.name.lower(), "see what `ridesim ride` says of this road")
                    if stop not in (Stop.PACK_EMPTY, Stop.LOW_VOLTAGE) else MORE_CHARGE)  # fmt: skip


def _day(c: Commute, legs: tuple[Leg, ...]) -> Day:
    home = arrives(legs)
    nothing = float("nan")
    return Day(
        legs[0].day, c.weather.date_of(legs[0].day).isoformat(), legs, home, day_word(legs),
        sum(leg.time_s for leg in legs) if home else nothing, sum(leg.net_wh for leg in legs) if home else nothing,
        least_left(legs),
    )  # fmt: skip


def _worst_places(days: Sequence[Day], order: Sequence[int]) -> list[int]:
    """The places of the worst days, and of the coldest: an old pack may fail on another day than a new one."""
    coldest = min(range(len(days)), key=lambda at: min(leg.air.temperature_c for leg in days[at].legs))
    return list(dict.fromkeys((*order[:WORST_DAYS], coldest)))


def _typical(days: Sequence[Day]) -> Day:
    """The day whose energy lies in the middle of those that come home."""
    home = sorted((day for day in days if day.arrives), key=lambda day: (day.net_wh, day.day))
    return home[len(home) // 2]


def _months(c: Commute, days: Sequence[Day]) -> tuple[Month, ...]:
    found = []
    for month in MONTHS:
        mine = [day for day in days if c.weather.date_of(day.day).month == month]
        home = [day for day in mine if day.arrives]
        ends = lambda values: tuple(np.quantile(values, SHARES).tolist()) if values else None  # noqa: E731
        found.append(Month(
            month, len(mine), len(mine) - len(home), ends([day.time_s for day in home]),
            ends([day.net_wh for day in home]), min((day.charge_left for day in mine), default=float("nan")),
        ))  # fmt: skip
    return tuple(found)


def _passed(days: Sequence[Day]) -> dict[str, int]:
    counts = {name: sum(any(name in leg.passed for leg in day.legs) for day in days) for name in CHANCES}
    return {name: count for name, count in counts.items() if count}


def cold_charges(c: Commute, ridden: Sequence[tuple[Leg, ...]]) -> int:
    """Return on how many evenings a charge would begin with a pack that rests at or below freezing at home."""
    if c.plan.home_share is None:
        return 0
    from ridesim.workshop.season.air import HOURS
    from ridesim.workshop.season.legs import surroundings_c

    hours = np.array([legs[-1].day * HOURS + legs[-1].end_h for legs in ridden])
    pack = np.array([legs[-1].pack_end_c for legs in ridden])
    at_home = surroundings_c(c, hours, c.plan.home_c)
    if c.plan.charge_on == "leaving":
        pack = surroundings_c(c, np.array([legs[0].day * HOURS + legs[0].start_h for legs in ridden]), c.plan.home_c)
    return int(np.sum(np.minimum(pack, at_home) <= COLD_CHARGE_C))


def late_charges(c: Commute, knots: Knots, ridden: Sequence[tuple[Leg, ...]], dates: Sequence[int]) -> int:
    """Return how many charges would not be done in time with a charger of `CHARGER_C_RATE`."""
    rises = np.diff(knots.charge)
    spans = np.diff(knots.hours)
    return int(np.sum((rises > 0.0) & (rises / CHARGER_C_RATE > spans + 1e-6)))


def limit_words(name: str) -> str:
    """Return three words for a limit that was passed."""
    return LIMITS[name].broken or LIMITS[name].words
