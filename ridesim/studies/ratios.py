"""Which ratio? One road ridden with each candidate reduction, the trade-off, and a recommendation with its reason.

The rule of thumb shown beside each: Kv / ratio, the motor's Kv as the wheel sees it. Values around 10 rpm/V are said
to suit a 26 to 28 inch wheel and a pack near 44 to 48 V (common practice, no source); other wheels and packs by the
same unloaded speed. A higher ratio (more motor turns a wheel turn) is called slower gearing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.rough import usual_wheel_kv_rpm_per_v, wheel_kv_rpm_per_v
from ridesim.bike.schema import Build
from ridesim.bike.second import geared_drive, seen_by_second
from ridesim.engine.gears import fastest_motor
from ridesim.errors import BuildError, RideError
from ridesim.ride.drives import each_drive, with_motor_of
from ridesim.ride.judge import judge
from ridesim.ride.kept import foldback_s, stops
from ridesim.ride.simulate import Ride, RideOptions, as_loaded
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.studies.many import Done, Wish, ride_many
from ridesim.studies.ratio_choice import (
    MOST_TURNS,
    THUMB_KV,
    Ceilings,
    Choice,
    RatioCase,
    Reduction,
    at_edge,
    ceilings_for,
    choose,
    rivals,
)
from ridesim.studies.run_up import level_road, run_up_wish, steepest_start_percent, time_to_s
from ridesim.studies.top_speed import TopSpeed, top_speeds
from ridesim.studies.way_out import Question, WayOut, way_out, with_sensor
from ridesim.sure.common import Candidate, Common, in_common
from ridesim.units import from_si, to_si

ACCELERATE_TO_KM_H = 25.0
"""Speed to which a start is timed (guess)."""
LEAST_RATIO, MOST_RATIO = 0.05, MOST_TURNS
MOST_CANDIDATES = 1000
PRESENT_SPREAD = (0.6, 1.7)
PRESENT_COUNT = 23
"""Ratios tried where none are named: this many, evenly between these parts of the present one (guess)."""
WIDENINGS, WIDENING = 4, 1.6
"""How often, and by what factor, the band is widened while the best lies at its edge or all break the rule (guess)."""


@dataclass(frozen=True, eq=False, repr=False)
class Ratios(Answer):
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
    ways: tuple[WayOut, ...] = ()
    """Where no candidate is good: what else would let the least bad one through."""
    common: Common | None = None
    """The recommended candidate and its rivals in the same bikes, where it was asked how sure the choice is."""
    drive: int = 1
    """Which of two different drives is varied: 1 or 2. Motor and heat of the cases are that drive's."""

    @property
    def seen(self) -> Build:
        """The build as the drive sees it whose ratio is varied."""
        return geared_drive(self.loaded.build, self.drive)[1]


BeltJudge = Callable[[Build, float, float], tuple[str, str]]
"""(build, peak motor torque [N m], motor speed [rpm]) -> verdict and reason; an empty verdict: nothing is known."""


def ratios(
    build: str | Path | Build | LoadedBuild,
    road: str | Path | Road,
    candidates: Sequence[Reduction | float] | None = None,
    *,
    stage: int | None = None,
    drive: int | None = None,
    max_winding_c: float | None = None,
    min_top_speed_km_h: float | None = None,
    max_time_s: float | None = None,
    accelerate_to_km_h: float = ACCELERATE_TO_KM_H,
    cruise_speed_km_h: float | None = None,
    notes: Sequence[str] = (),
    belts: BeltJudge | None = None,
    how_sure: bool = False,
    threads: int | None = None,
    done: Done | None = None,
) -> Ratios:
    """Return how each candidate ratio of one stage rides a road, and the one to take under the given ceilings.

    `stage` counts from 1 at the motor; None is the last one before a pedal chain. Candidates are ratios (motor-side
    turns per wheel-side turn) or `Reduction`s; None spreads ratios around the present one, and further where the best
    lies at the edge. `belts` judges a build's belts at a peak motor torque [N m] and speed [rpm]. `how_sure`: whether
    the choice can be told from its rivals, by rides of them in the same bikes drawn from the tolerances. A hub motor is
    answered in words. `drive`: of two different ones the first (1) or the second (2) is varied; None: the first that
    has a reduction. Raises RideError for candidates or ceilings out of range, BuildError for a drive that is not there.
    """
    loaded = as_loaded(build)
    ridden = road if isinstance(road, Road) else load_road(road)
    prefix, seen = geared_drive(loaded.build, drive)
    stages, number = seen.drive.stage, 2 if prefix else 1
    cruise = cruise_speed_km_h or loaded.build.rider.cruise_speed_km_h
    if not stages:
        return Ratios(loaded, ridden, HUB_WORDS, 0, (), 1.0, None, None, accelerate_to_km_h, cruise, (), drive=number)
    varied = _stage_index(stage, len(stages)) if stage is not None else seen.drive.motors_last_stage
    present = stages[varied].turns
    study = Study(loaded, ridden, varied, cruise_speed_km_h, accelerate_to_km_h, belts, threads, done, prefix)
    wanted = (max_winding_c, min_top_speed_km_h, max_time_s)
    tried = _checked(candidates if candidates is not None else spread_around(present))
    cases, ceilings, choice = study.chosen(tried, cruise, wanted, WIDENINGS if candidates is None else 0)
    return Ratios(
        loaded=loaded,
        road=ridden,
        impossible=None,
        stage=varied + 1,
        cases=cases,
        present_ratio=present,
        ceilings=ceilings,
        choice=choice,
        accelerate_to_km_h=accelerate_to_km_h,
        cruise_speed_km_h=cruise,
        notes=(*notes, *loaded.warnings, *ridden.warnings),
        ways=() if choice.keeps_all else study.ways(cases[choice.index], cruise, ceilings.max_winding_c),
        common=study.common([cases[at] for at in rivals(cases, choice, present)]) if how_sure else None,
        drive=number,
    )


@dataclass(frozen=True, eq=False)
class Study:
    """What stays the same while candidates are ridden. `varied`: the stage that is, from 0; gears need none."""

    loaded: LoadedBuild
    road: Road
    varied: int
    cruise_km_h: float | None
    to_km_h: float
    belts: BeltJudge | None
    threads: int | None
    done: Done | None
    prefix: str = ""
    """How the keys of the drive begin that is varied."""
    ridden: list[Ride] = field(default_factory=list)
    """What was ridden by now: candidates may come in several waves."""

    def cases(self, tried: Sequence[Reduction]) -> tuple[RatioCase, ...]:
        """Return every candidate ridden."""
        builds = [with_reduction(self.loaded, self.varied, each, self.prefix) for each in tried]
        rides = ride_many(
            _wishes(builds, self.road, self.cruise_km_h), threads=self.threads, done=self.done, before=self.ridden
        )
        self.ridden.extend(rides)
        tops = top_speeds(builds, float(self.road.altitude_m[0]), self.threads)
        each_of = zip(tried, rides[: len(tried)], rides[len(tried) :], tops, strict=True)
        return tuple(_case(each, ride, run_up, two, self) for each, ride, run_up, two in each_of)

    def chosen(
        self,
        tried: Sequence[Reduction],
        cruise_km_h: float,
        wanted: tuple[float | None, float | None, float | None],
        widenings: int,
    ) -> tuple[tuple[RatioCase, ...], Ceilings, Choice]:
        """Return the candidates ridden, the ceilings and the choice, the band widened so often where it should be.

        `wanted`: hottest winding [degC], top speed [km/h], longest time [s]; None: as `ceilings_for` has it.
        """
        cases = self.cases(tried)
        for left in range(widenings, -1, -1):
            ceilings = ceilings_for(self.seen(self.loaded.build), cases, cruise_km_h, *wanted)
            choice = choose(cases, ceilings)
            side = at_edge(cases, choice.index) or _side_of_thumb(cases, choice)
            more = self.cases(_beyond(self, cases, side)) if left else ()
            if not more:
                break
            cases = tuple(sorted((*cases, *more), key=lambda case: case.reduction.ratio))
        return cases, ceilings, choice

    def ways(self, case: RatioCase, cruise_km_h: float, max_winding_c: float) -> tuple[WayOut, ...]:
        """Return what else would let the least bad candidate through, where its ride is what fails."""
        if not case.stops and case.figures.peak_winding_temp_c <= max_winding_c:
            return ()
        loaded = with_reduction(self.loaded, self.varied, case.reduction, self.prefix)
        asked = Question(loaded, self.road, cruise_km_h, max_winding_c=max_winding_c, threads=self.threads)
        sensor = with_sensor(asked)
        found = (*(way_out(find, asked) for find in ("speed", "current", "load")), sensor)
        return tuple(way for way in found if way is not None)

    def common(self, cases: Sequence[RatioCase]) -> Common | None:
        """Return some candidates ridden in the same bikes."""
        options = RideOptions(cruise_speed_km_h=self.cruise_km_h)
        each_of = [
            Candidate(
                case.reduction.words, with_reduction(self.loaded, self.varied, case.reduction, self.prefix), options
            )
            for case in cases
        ]
        return in_common(each_of, self.road, threads=self.threads) if len(each_of) > 1 else None

    def seen(self, build: Build) -> Build:
        """Return a build as the drive sees it that is varied."""
        return seen_by_second(build) if self.prefix else build


def _beyond(study: Study, cases: Sequence[RatioCase], side: str) -> tuple[Reduction, ...]:
    """Return as many ratios again on one side of those ridden; none where there is no side or no bike that starts."""
    if not side:
        return ()
    edge = cases[0 if side == "faster" else -1].reduction.ratio
    far = edge / WIDENING if side == "faster" else edge * WIDENING
    ratios = (float(each) for each in np.linspace(edge, far, PRESENT_COUNT // 2 + 1)[1:])
    found = [Reduction(ratio) for ratio in ratios if LEAST_RATIO <= ratio <= MOST_RATIO]
    return tuple(sorted((each for each in found if _starts(study, each)), key=lambda each: each.ratio))


def _side_of_thumb(cases: Sequence[RatioCase], choice: Choice) -> str:
    """Return where the rule of thumb lies, where no candidate is good and none comes near the rule."""
    if choice.keeps_all or choice.thumb_nearest is not None:
        return ""
    return "slower" if cases[choice.index].usual_wheel_kv_rpm_per_v > THUMB_KV else "faster"


def _starts(study: Study, each: Reduction) -> bool:
    try:
        with_reduction(study.loaded, study.varied, each, study.prefix)
    except BuildError:
        return False
    return True


HUB_WORDS = (
    "This motor sits in the wheel and turns with it: there is no reduction, its ratio is 1 and cannot be varied. What "
    "changes its gearing is the winding (its Kv: motor.kv_rpm_per_v with motor.resistance_mohm) or a smaller wheel "
    "(tyre.circumference_mm)."
)


def spread_around(present: float) -> tuple[float, ...]:
    """Return ratios evenly around the present one."""
    low, high = (share * present for share in PRESENT_SPREAD)
    return tuple(float(ratio) for ratio in np.linspace(low, high, PRESENT_COUNT))


def _stage_index(stage: int, count: int) -> int:
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


def with_reduction(loaded: LoadedBuild, varied: int, each: Reduction, prefix: str = "") -> LoadedBuild:
    """Return a build with a candidate in place of what it varies: a stage, or the gears behind all stages.

    `prefix`: how the keys of the drive begin.
    """
    if each.gears:
        return replace_keys(loaded, _gear_keys(loaded.build, each.gears))
    at = f"{prefix}drive.stage.{varied}."
    plain = each.driver_teeth is None
    return replace_keys(
        loaded,
        {
            f"{at}driver_teeth": each.driver_teeth,
            f"{at}driven_teeth": each.driven_teeth,
            f"{at}ratio": each.ratio if plain else None,
        },
    )


def _gear_keys(build: Build, gears: tuple[float, ...]) -> dict[str, object]:
    """A single gear is other teeth in a stage that is there anyway: it loses nothing more."""
    single, had = len(gears) == 1, bool(build.drive.gears.ratios)
    if gears == build.drive.gears.ratios:
        return {}
    keys: dict[str, object] = {
        "drive.gears.ratios": list(gears),
        "drive.gears.efficiencies": [1.0] if single else None,
        "drive.gears.down_rpm": None,
    }
    if single:
        keys["drive.gears.efficiency"] = None
    if not had:
        keys["drive.gears.kind"] = "gearbox" if build.drive.coupling == "fixed" else "hub"
    return keys


def _wishes(builds: Sequence[LoadedBuild], road: Road, cruise_km_h: float | None) -> list[Wish]:
    """Return every build's ride over the road, then every build's run-up."""
    level = level_road(float(road.altitude_m[0]))
    once = RideOptions(cruise_speed_km_h=cruise_km_h)
    rides = (Wish(each, road, once, trace=True) for each in builds)  # only a trace tells how hot the brakes get
    return [*rides, *(run_up_wish(each, level) for each in builds)]


def _case(each: Reduction, ride: Ride, run_up: Ride, tops: tuple[TopSpeed, TopSpeed], study: Study) -> RatioCase:
    own = (each_drive(ride) or (ride,))[1 if study.prefix else 0]
    f, turns, verdict = with_motor_of(ride.figures, own.figures), own.build.drive.turns, judge(ride)
    torque = max(f.peak_shaft_torque_nm, f.peak_brake_torque_nm)
    motor_rpm = from_si(fastest_motor(own.params, to_si(f.top_speed_km_h, "km_h")), "rpm")
    belts, reason = ("", "") if study.belts is None else study.belts(own.build, torque, motor_rpm)
    return RatioCase(
        reduction=each,
        total_ratio=turns,
        wheel_kv_rpm_per_v=wheel_kv_rpm_per_v(own.build),
        usual_wheel_kv_rpm_per_v=usual_wheel_kv_rpm_per_v(own.build),
        stops=stops(ride),
        belts=belts,
        belts_reason=reason,
        figures=f,
        verdict=verdict.word,
        reasons=verdict.reasons,
        foldback_s=foldback_s(ride),
        top_speed_cold_pedalled_start_charge_km_h=tops[0].speed_km_h,
        top_speed_cold_pedalled_half_charge_km_h=tops[1].speed_km_h,
        accelerate_s=time_to_s(run_up, study.to_km_h),
        steepest_start_percent=steepest_start_percent(run_up),
    )
