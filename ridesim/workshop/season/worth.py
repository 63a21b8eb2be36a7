"""What it is worth to charge less, to rest warmer, to carry more cells or to ride gentler: each lived for years."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.second import PREFIX, drives_of
from ridesim.errors import RidesimError
from ridesim.ride.keyed import value_at
from ridesim.workshop.season.history import nearest_days
from ridesim.workshop.season.legs import Commute, Done, Leg, arrives, bike_of, ride_season, riding_days
from ridesim.workshop.season.plan import Plan
from ridesim.workshop.season.years import Years, ride_years, wears

LOWER_TOP, CELLAR_C, GENTLER = 0.85, 12.0, 0.75
"""Charge that is enough for most days, a cellar's temperature, and the share of the current limits (guesses)."""
THINNED = 7
"""One day in seven stands for the others where a change is tried."""


@dataclass(frozen=True)
class Worth:
    """One change and what it came to, beside `as planned`; ranked by the year that fails, then by what is left.

    `fails_in_year` None: arrives in all years asked about; `arrives_now`: the worst days arrive with the new pack.
    """

    name: str
    words: str
    fails_in_year: int | None
    arrives_now: bool
    worst_day_charge_left_new_fraction: float
    worst_day_charge_left_last_fraction: float
    capacity_left_fraction: float
    resistance_factor: float
    years_told: int
    year_energy_wh: float


def changes(c: Commute) -> dict[str, tuple[str, LoadedBuild, Plan]]:
    """Return what can be changed about this bike and plan: name -> words, build, plan."""
    plan, build = c.plan, c.build
    found = {"as_planned": ("as planned", c.loaded, plan)}
    if plan.home_share is not None and plan.home_share > LOWER_TOP:
        work = None if plan.work_share is None else min(plan.work_share, LOWER_TOP)
        lower = replace(plan, home_share=LOWER_TOP, work_share=work)
        found["lower_top_charge"] = (f"charge to {LOWER_TOP:.0%} only", c.loaded, lower)
    if plan.charge_on == "arrival" and plan.home_share is not None:
        timed = replace(plan, charge_on="leaving")
        found["charge_before_leaving"] = ("a timer: full when leaving, not all night", c.loaded, timed)
    if plan.home_c is None:
        found["cellar"] = (f"the pack rests in a cellar at {CELLAR_C:g} °C", c.loaded, replace(plan, home_c=CELLAR_C))
    if plan.work_share is None and plan.home_share is not None:
        found["charge_at_work"] = ("charge at work too", c.loaded, replace(plan, work_share=plan.home_share))
    parallel = build.pack.parallel + max(1, round(0.25 * build.pack.parallel))
    limits = (f"controller.{name}" for name in ("motor_current_limit_a", "pack_current_limit_a"))
    gentler: dict[str, object] = {
        f"{prefix}{key}": GENTLER * value_at(build, f"{prefix}{key}")
        for key in limits
        for prefix, _ in zip(("", PREFIX), drives_of(build), strict=False)
    }
    wishes: dict[str, tuple[str, dict[str, object]]] = {
        "larger_pack": (f"{parallel} cells in parallel, not {build.pack.parallel}", {"pack.parallel": parallel}),
        "gentler_limits": (
            f"three quarters of the current limits, cruising at {gentler_speed(c):.1f} km/h",
            gentler,
        ),
    }
    for name, (words, keys) in wishes.items():
        try:
            found[name] = (words, replace_keys(c.loaded, keys), plan)
        except RidesimError:  # a change that this bike cannot have is none to tell of
            continue
    return found


SLOWEST_KM_H = 15.0
"""Gentler limits slow nobody below it (guess)."""


def gentler_speed(c: Commute) -> float:
    """Return the cruise speed that goes with gentler limits [km/h]; one that is slow already stays as it is."""
    own = c.options.cruise_speed_km_h or c.build.rider.cruise_speed_km_h
    return own - (1.0 - GENTLER) * max(own - SLOWEST_KM_H, 0.0)


def worths(
    c: Commute, worst_days: Sequence[int], years: int, *, threads: int | None = None, done: Done | None = None
) -> tuple[Worth, ...]:
    """Live each change for these years, thinned to one day in seven, and return them, the best first."""
    days = riding_days(c)
    kept = days if c.chained else sorted({*days[::THINNED], *worst_days})
    found = [
        _lived(c, name, change, days, kept, worst_days, years, threads, done) for name, change in changes(c).items()
    ]
    return tuple(sorted(found, key=rank))


def rank(worth: Worth) -> tuple[bool, float, float]:
    """Return a key that puts the most useful change first."""
    fails = math.inf if worth.fails_in_year is None else worth.fails_in_year
    return not worth.arrives_now, -fails, -worth.worst_day_charge_left_last_fraction


def _lived(
    c: Commute, name: str, change: tuple[str, LoadedBuild, Plan], days: Sequence[int], kept: Sequence[int],
    worst_days: Sequence[int], years: int, threads: int | None, done: Done | None,
) -> Worth:  # fmt: skip
    from ridesim.workshop.season.legs import commute

    words, loaded, plan = change
    options = replace(c.options, cruise_speed_km_h=gentler_speed(c)) if name == "gentler_limits" else c.options
    here = commute(loaded, c.out, c.back, c.weather, plan, options)
    bike = bike_of(here, loaded.build)
    ridden = ride_season(here, bike, kept, threads=threads, done=done)
    whole: list[tuple[Leg, ...]] = [ridden[at] for at in nearest_days(kept, days)]
    worn, no_law = wears(here, bike, whole, days, years)
    worst = [ridden[list(kept).index(day)] for day in worst_days]
    charges = [legs[0].charge_start for legs in worst]
    lived: Years = ride_years(
        here, loaded.build, worn, worst_days, no_law, charges=charges, spans=False, threads=threads, done=done
    )
    last = lived.last
    new_left = min(leg.charge_end for legs in worst for leg in legs)
    return Worth(
        name, words, lived.fails_in_year, all(map(arrives, worst)),
        max(new_left, 0.0),
        max(new_left if last is None or last.worst_day_charge_left_fraction is None
            else last.worst_day_charge_left_fraction, 0.0),
        1.0 if last is None else last.capacity_left_fraction,
        1.0 if last is None else last.resistance_factor,
        0 if last is None else last.year,
        sum(leg.net_wh for legs in whole for leg in legs),
    )  # fmt: skip


def expected_rides(c: Commute, worst_days: int, years: int) -> int:
    """Return about how many days of riding the changes take, for a progress bar."""
    count = len(riding_days(c))
    kept = count if c.chained else count // THINNED + worst_days
    return len(changes(c)) * (kept + worst_days * (years + 1))
