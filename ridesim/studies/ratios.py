"""Which ratio? One road ridden with each candidate reduction, the trade-off, and a recommendation with its reason.

The rule of thumb shown beside each: Kv / ratio, the motor's Kv as the wheel sees it. Values around 10 rpm/V are said
to suit a 26 to 28 inch wheel and a pack near 44 to 48 V (common practice, no source); other wheels and packs by the
same unloaded speed. A higher ratio (more motor turns a wheel turn) is called slower gearing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.rough import usual_wheel_kv_rpm_per_v
from ridesim.bike.schema import Build
from ridesim.engine.params import current_scale
from ridesim.engine.state import Limit, Total
from ridesim.errors import RideError
from ridesim.ride.simulate import Ride, RideOptions, as_loaded
from ridesim.ride.verdict import STOP_WORDS
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.studies.many import Done, Wish, ride_many
from ridesim.studies.ratio_choice import Ceilings, Choice, RatioCase, Reduction, ceilings_for, choose
from ridesim.studies.run_up import level_road, run_up_wish, steepest_start_percent, time_to_s
from ridesim.studies.top_speed import TopSpeed, top_speeds
from ridesim.units import from_si

ACCELERATE_TO_KM_H = 25.0
LEAST_RATIO, MOST_RATIO = 0.05, 100.0
MOST_CANDIDATES = 1000
PRESENT_SPREAD = (0.6, 1.7)
PRESENT_COUNT = 23
"""Ratios tried where none are named: this many, evenly between these parts of the present one."""


@dataclass(frozen=True, eq=False)
class Ratios:
    """The candidates in the order of their ratio, and which one to take. `impossible` says why a build has none."""

    loaded: LoadedBuild
    road: Road
    impossible: str | None
    stage: int
    cases: tuple[RatioCase, ...]
    present_ratio: float
    ceilings: Ceilings | None
    choice: Choice | None
    accelerate_to_km_h: float
    cruise_speed_km_h: float
    notes: tuple[str, ...]


def ratios(
    build: str | Path | Build | LoadedBuild,
    road: str | Path | Road,
    candidates: Sequence[Reduction | float] | None = None,
    *,
    stage: int | None = None,
    max_winding_c: float | None = None,
    min_top_speed_km_h: float | None = None,
    max_time_s: float | None = None,
    accelerate_to_km_h: float = ACCELERATE_TO_KM_H,
    cruise_speed_km_h: float | None = None,
    notes: Sequence[str] = (),
    threads: int | None = None,
    done: Done | None = None,
) -> Ratios:
    """Return how each candidate ratio of one stage rides a road, and the one to take under the given ceilings.

    `stage` counts from 1 at the motor; None is the last one, at the wheel. Candidates are ratios (motor-side turns per
    wheel-side turn) or `Reduction`s; None spreads ratios around the present one. A hub motor is answered in words.
    Raises RideError for candidates or ceilings out of range.
    """
    loaded = as_loaded(build)
    ridden = road if isinstance(road, Road) else load_road(road)
    stages = loaded.build.drive.stage
    cruise = cruise_speed_km_h or loaded.build.rider.cruise_speed_km_h
    if not stages:
        return Ratios(loaded, ridden, HUB_WORDS, 0, (), 1.0, None, None, accelerate_to_km_h, cruise, ())
    varied = _stage_index(stage, len(stages))
    present = stages[varied].turns
    tried = _checked(candidates if candidates is not None else spread_around(present))
    builds = [_with_reduction(loaded, varied, each) for each in tried]
    wishes = _wishes(builds, ridden, cruise_speed_km_h)
    rides = ride_many(wishes, threads=threads, done=done)
    tops = top_speeds(builds, float(ridden.altitude_m[0]), threads)
    each_of = zip(tried, rides[: len(tried)], rides[len(tried) :], tops, strict=True)
    cases = tuple(_case(each, ride, run_up, two, accelerate_to_km_h) for each, ride, run_up, two in each_of)
    ceilings = ceilings_for(loaded.build, cases, cruise, max_winding_c, min_top_speed_km_h, max_time_s)
    return Ratios(
        loaded=loaded,
        road=ridden,
        impossible=None,
        stage=varied + 1,
        cases=cases,
        present_ratio=present,
        ceilings=ceilings,
        choice=choose(cases, ceilings),
        accelerate_to_km_h=accelerate_to_km_h,
        cruise_speed_km_h=cruise,
        notes=(*notes, *loaded.warnings, *ridden.warnings),
    )


HUB_WORDS = (
    "This motor sits in the wheel and turns with it: there is no reduction, its ratio is 1 and cannot be varied. What "
    "changes its gearing is the winding (its Kv: motor.kv_rpm_per_v with motor.resistance_mohm) or a smaller wheel "
    "(tyre.circumference_mm)."
)


def spread_around(present: float) -> tuple[float, ...]:
    """Return ratios evenly around the present one."""
    low, high = (share * present for share in PRESENT_SPREAD)
    return tuple(float(ratio) for ratio in np.linspace(low, high, PRESENT_COUNT))


def _stage_index(stage: int | None, count: int) -> int:
    if stage is None:
        return count - 1
    if not 1 <= stage <= count:
        what = f"there is no stage {stage} (this drive has {count})"
        raise RideError("stage", what, f"count from 1 at the motor to {count} at the wheel")
    return stage - 1


def _checked(candidates: Sequence[Reduction | float]) -> tuple[Reduction, ...]:
    """Return the candidates as reductions, lowest ratio first. Raises RideError."""
    tried = [each if isinstance(each, Reduction) else Reduction(float(each)) for each in candidates]
    if not 1 <= len(tried) <= MOST_CANDIDATES:
        what = f"{len(tried)} candidates (allowed 1 to {MOST_CANDIDATES})"
        raise RideError("ratios", what, "name some" if not tried else "narrow the range")
    for each in tried:
        if not LEAST_RATIO <= each.ratio <= MOST_RATIO:
            what = f"a ratio of {each.ratio:g} is out of range (allowed {LEAST_RATIO:g} to {MOST_RATIO:g})"
            raise RideError("ratios", what, "choose a ratio inside it")
    return tuple(sorted(tried, key=lambda each: (each.ratio, each.driver_teeth or 0)))


def _with_reduction(loaded: LoadedBuild, varied: int, each: Reduction) -> LoadedBuild:
    at = f"drive.stage.{varied}."
    plain = each.driver_teeth is None
    return replace_keys(
        loaded,
        {
            f"{at}driver_teeth": each.driver_teeth,
            f"{at}driven_teeth": each.driven_teeth,
            f"{at}ratio": each.ratio if plain else None,
        },
    )


def _wishes(builds: Sequence[LoadedBuild], road: Road, cruise_km_h: float | None) -> list[Wish]:
    """Return every build's ride over the road, then every build's run-up."""
    level = level_road(float(road.altitude_m[0]))
    once = RideOptions(cruise_speed_km_h=cruise_km_h)
    return [*(Wish(each, road, once) for each in builds), *(run_up_wish(each, level) for each in builds)]


def _case(each: Reduction, ride: Ride, run_up: Ride, tops: tuple[TopSpeed, TopSpeed], to_km_h: float) -> RatioCase:
    raw, scale = ride.raw, current_scale(ride.build)
    net = raw.total(Total.TERMINAL_OUT) - raw.total(Total.TERMINAL_IN)
    distance = raw.total(Total.DISTANCE)
    turns = ride.build.drive.turns
    return RatioCase(
        reduction=each,
        total_ratio=turns,
        wheel_kv_rpm_per_v=ride.build.motor.kv_rpm_per_v / turns,
        usual_wheel_kv_rpm_per_v=usual_wheel_kv_rpm_per_v(ride.build),
        finished=ride.finished,
        stop_reason=STOP_WORDS[raw.stop],
        distance_km=from_si(distance, "km"),
        time_s=raw.total(Total.TIME),
        net_wh=from_si(net, "wh"),
        net_wh_per_km=from_si(net / max(distance, 1.0), "wh_per_km"),
        peak_motor_current_a=raw.total(Total.PEAK_DRIVE_CURRENT) / scale,
        sustained_motor_current_a=math.sqrt(raw.total(Total.SUSTAINED_MOTOR_SQUARE)) / scale,
        peak_pack_current_a=raw.total(Total.PEAK_PACK_CURRENT),
        sustained_pack_current_a=math.sqrt(raw.total(Total.SUSTAINED_PACK_SQUARE)),
        peak_winding_temp_c=raw.total(Total.PEAK_WINDING),
        peak_body_temp_c=raw.total(Total.PEAK_BODY),
        peak_controller_temp_c=raw.total(Total.PEAK_CONTROLLER),
        foldback_s=float(raw.limit_seconds[Limit.MOTOR_TEMPERATURE] + raw.limit_seconds[Limit.CONTROLLER_TEMPERATURE]),
        over_speed_s=float(raw.limit_seconds[Limit.OVER_SPEED]),
        top_speed_cold_pedalled_start_charge_km_h=tops[0].speed_km_h,
        top_speed_cold_pedalled_half_charge_km_h=tops[1].speed_km_h,
        accelerate_s=time_to_s(run_up, to_km_h),
        steepest_start_percent=steepest_start_percent(run_up),
    )
