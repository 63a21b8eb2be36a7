"""The pack's years: capacity and resistance year by year, and the worst winter day ridden with each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ridesim.bike.schema import Build
from ridesim.engine.halting import on_all_cores
from ridesim.ride.judge import worst
from ridesim.sure.packing import laid_in
from ridesim.workshop.pack.ageing import AGEING_SPREAD
from ridesim.workshop.season.history import charge_knots, cycles_of, rests_of, temperature_by_hour
from ridesim.workshop.season.legs import (
    Bike,
    Commute,
    Done,
    Leg,
    arrives,
    bike_of,
    day_word,
    least_left,
    rested_pack_c,
    ride_day,
)
from ridesim.workshop.season.wear import Kind, NoLaw, Wear, kind_of, refuse_beyond, worn_by

LEAST_CAPACITY, MOST_RESISTANCE = 0.1, 10.0
"""What a build's [pack] allows."""


@dataclass(frozen=True)
class YearRow:
    """The pack after so many years, and its worst days ridden with it; None where they were not.

    `capacity_left_fraction` and `resistance_factor` are of the new pack, `loss_*` shares of its capacity.
    """

    year: int
    capacity_left_fraction: float
    resistance_factor: float
    loss_by_rest_fraction: float
    loss_by_cycles_fraction: float
    second_opinion_loss_fraction: float | None
    arrives: bool | None = None
    worst_day_charge_left_fraction: float | None = None
    worst_day_verdict: str | None = None


@dataclass(frozen=True)
class Years:
    """The pack's years from new on, and the first year in which one of the worst days does not arrive (None: none).

    `fails_early`, `fails_late`: the same if the pack ages twice, or half, as fast as the law has it, where `spanned`.
    `no_law`: why the rows end.
    """

    rows: tuple[YearRow, ...]
    fails_in_year: int | None
    fails_early: int | None
    fails_late: int | None
    wear: Wear | None
    no_law: str = ""
    spanned: bool = False

    @property
    def last(self) -> YearRow | None:
        """The last year told."""
        return self.rows[-1] if self.rows else None


def wears(
    c: Commute, bike: Bike, days: Sequence[tuple[Leg, ...]], dates: Sequence[int], years: int, start: Wear | None = None
) -> tuple[list[Wear], str]:
    """Return the wear after 0, 1, ... years of the same weather and rides, and why it ends early where it does.

    As the pack shrinks the same ampere-hours reach deeper. `start`: what it has been through already.
    """
    try:
        kind: Kind = kind_of(bike.build.pack.cell.max_voltage_v)
    except NoLaw as end:
        return [], str(end)
    warmth = temperature_by_hour(c, bike, days, dates)
    found = [start or Wear(kind)]
    whole = [days[at] for at in range(len(days))]
    for _ in range(years):
        shrink = 1.0 - found[-1].loss
        knots = charge_knots(c, whole, dates, shrink)
        try:
            more = found[-1].plus(worn_by(kind, rests_of(knots, warmth), cycles_of(c, bike, knots, whole, shrink)))
            refuse_beyond(more)
        except NoLaw as end:
            return found, str(end)
        found.append(more)
    return found, ""


def aged(c: Commute, build: Build, wear: Wear, pace: float = 1.0) -> Bike:
    """Return a bike with its pack worn; `pace` times as fast as the law has it."""
    pack = build.pack
    return bike_of(c, laid_in(build, {
        "pack.capacity_fraction": max(pack.capacity_fraction * (1.0 - pace * wear.loss), LEAST_CAPACITY),
        "pack.resistance_factor": min(pack.resistance_factor * (1.0 + pace * wear.resistance_growth), MOST_RESISTANCE),
    }))  # fmt: skip


def ride_years(
    c: Commute, build: Build, worn: Sequence[Wear], worst_days: Sequence[int], no_law: str = "", *,
    charges: Sequence[float] | None = None, spans: bool = True, threads: int | None = None, done: Done | None = None,
) -> Years:  # fmt: skip
    """Ride the worst days with the pack of every year; with `spans` also where it ages half or twice as fast.

    `charges`: what each of these days starts with where nothing is charged at home.
    """
    paces = (1.0, *AGEING_SPREAD) if spans else (1.0,)
    starts = charges or [c.plan.home_share or c.plan.top_share] * len(worst_days)
    bikes = {(pace, year): aged(c, build, wear, pace) for pace in paces for year, wear in enumerate(worn)}
    if not bikes:
        return Years((), None, None, None, None, no_law)
    rested = rested_pack_c(c, bikes[1.0, 0])
    jobs = [(key, day, charge) for key in bikes for day, charge in zip(worst_days, starts, strict=True)]
    legs = on_all_cores(
        lambda job: ride_day(c, bikes[job[0]], job[1], job[2], rested), jobs, threads, done
    )  # fmt: skip
    by_key: dict[tuple[float, int], list[tuple[Leg, ...]]] = {key: [] for key in bikes}
    for (key, _, _), ridden in zip(jobs, legs, strict=True):
        by_key[key].append(ridden)
    fails = {
        pace: next((year for year in range(len(worn)) if not all(map(arrives, by_key[pace, year]))), None)
        for pace in paces
    }
    rows = tuple(_row(year, wear, by_key[1.0, year]) for year, wear in enumerate(worn))
    slow, fast = (fails.get(pace, fails[1.0]) for pace in AGEING_SPREAD)
    return Years(rows, fails[1.0], fast, slow, worn[-1], no_law, spans)


def _row(year: int, wear: Wear, days: Sequence[tuple[Leg, ...]]) -> YearRow:
    return YearRow(
        year, 1.0 - wear.loss, 1.0 + wear.resistance_growth, wear.rest_loss, wear.cycle_loss, wear.second_loss,
        all(map(arrives, days)), min(map(least_left, days)), worst(map(day_word, days)),
    )  # fmt: skip
