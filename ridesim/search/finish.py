"""The last looks at what would be shown: loaded as a file, checked as `ridesim check` does, drawn for certainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.second import drives_of
from ridesim.engine.gears import fastest_motor
from ridesim.errors import RidesimError
from ridesim.ride.drives import each_drive
from ridesim.ride.limits import LIMITS
from ridesim.ride.quantities import SECOND
from ridesim.ride.result import Ridden
from ridesim.ride.running import RideOptions
from ridesim.ride.simulate import simulate
from ridesim.road.profile import Road
from ridesim.search.judged import Study
from ridesim.search.space import Rows
from ridesim.search.wanted import OF_BELTS
from ridesim.sure.batch import Outcomes, ride_draws
from ridesim.sure.draws import cube, mapped
from ridesim.sure.packing import packer
from ridesim.sure.uncertain import Doubts, doubts_of, is_certain
from ridesim.units import from_si, to_si
from ridesim.workshop.check.drive import StageVerdict, judge_belts
from ridesim.workshop.check.sheet import CheckSheet, check_build
from ridesim.workshop.law.bike import classify_build
from ridesim.workshop.loads import stages_at_peak

Array = NDArray[np.float64]

STOPS_HALF = 0.45
"""A limit passed in more than half of the draws is a stop of `ridesim ride`; less, for its draws are others (guess)."""


@dataclass(frozen=True)
class Look:
    """What the last look found. `fault` says why a candidate is not shown; empty: it may be."""

    fault: str
    loaded: LoadedBuild | None = None
    word: str = ""
    reason: str = ""
    belt_pull_fraction: float | None = None
    is_torn: bool = False
    """Whether a belt is what fails: the same belts fail under more current too."""


def look_at(study: Study, row: Rows) -> Look:
    """Load a candidate as a file is loaded, and check belts, every road and the law. Rides each road again."""
    try:
        loaded = study.space.loaded_of(row)
    except RidesimError as error:
        return Look(error.what)
    judged = [each for road in study.roads for each in _belts(loaded, road)]
    pull = _belt_pull(judged)
    torn = next((each for each in judged if each.check.verdict == "stop"), None)
    if torn is not None:
        return Look(f"belt of stage {torn.load.number}: {torn.check.reason}", loaded, "", "", pull, True)
    for bound in study.bounds:
        if bound.what in OF_BELTS and pull is not None and float(bound.excess(np.array(pull))) > 0.0:
            return Look(f"belt pull is {pull:.2f} of what is allowed", loaded, belt_pull_fraction=pull, is_torn=True)
    sheets = [check_build(loaded, road) for road in study.roads]
    worst = max(sheets, key=lambda sheet: ("fine", "look again", "stop").index(sheet.verdict))
    if worst.verdict == "stop":
        return Look(_stops(worst), loaded, belt_pull_fraction=pull)
    fault = _law(study, loaded)
    return Look(fault, loaded, worst.verdict, worst.reason, pull)


def _belts(loaded: LoadedBuild, road: Road) -> tuple[StageVerdict, ...]:
    """Judge the belts at the peak torque of a ride, of each drive."""
    if not any(drive.drive.stage for drive in drives_of(loaded.build)):
        return ()
    ride = simulate(loaded, road, trace=False)
    return tuple(each for drive in each_drive(ride) or (ride,) for each in _belts_of(drive))


def _belts_of(ride: Ridden) -> tuple[StageVerdict, ...]:
    f = ride.figures
    torque = max(f.peak_shaft_torque_nm, f.peak_brake_torque_nm)
    rpm = from_si(fastest_motor(ride.params, to_si(f.top_speed_km_h, "km_h")), "rpm")
    return judge_belts(stages_at_peak(ride.build, torque, rpm)) if ride.build.drive.stage else ()


def _belt_pull(judged: list[StageVerdict]) -> float | None:
    pulls = [each.check.tensions.effective_pull_n / each.check.capacity.allowed_pull_n for each in judged]
    return max(pulls, default=None)


def _stops(sheet: CheckSheet) -> str:
    names = dict.fromkeys(each.title for each in sheet.findings if each.verdict == "stop")
    return f"check says stop: {', '.join(names)}"


def _law(study: Study, loaded: LoadedBuild) -> str:
    wanted = study.asked.goals.bicycle_under
    if wanted is None:
        return ""
    law = classify_build(loaded, jurisdictions=wanted)
    fails = [each.jurisdiction for each in law.report.findings if each.rule is None or not each.rule.as_bicycle]
    return f"no bicycle under the rules of {', '.join(fails)}" if fails else ""


@dataclass(frozen=True)
class Certainty:
    """How sure a member keeps each bound that a ride tells, and that nothing stops it; shares of the draws."""

    draws: int
    holds: dict[int, float]
    not_stopped: float
    likeliest_stop: tuple[str, float]
    """The limit that is passed most often, and in what share of the draws."""
    values: dict[str, Array]
    """What matters of every draw, by name, nan where a draw does not tell it."""


def common_doubts(loaded: list[LoadedBuild], study: Study) -> list[list[Doubts]]:
    """Return what is uncertain of each bike on each road."""
    return [
        [Doubts(()) if is_certain(each, road) else doubts_of(each, road) for road in study.roads] for each in loaded
    ]


def certainties(study: Study, bikes: list[LoadedBuild], samples: int, seed: int) -> list[Certainty]:
    """Ride draws of every bike, the same draws for all: a key that two share is drawn alike in both."""
    doubts = common_doubts(bikes, study)
    keys = list(dict.fromkeys(key for one in doubts for each in one for key in each.keys))
    points = cube(samples, max(len(keys), 1), seed)
    place = {key: at for at, key in enumerate(keys)}
    found = []
    for loaded, one in zip(bikes, doubts, strict=True):
        outcomes = []
        for road, each in zip(study.roads, one, strict=True):
            values = mapped(points[:, [place[key] for key in each.keys]], each)
            outcomes.append(ride_draws(packer(loaded, road, RideOptions(), each), values))
        found.append(_certainty(study, outcomes, samples))
    return found


def _certainty(study: Study, outcomes: list[Outcomes], samples: int) -> Certainty:
    holds = {}
    for at, bound in enumerate(study.bounds):
        if bound.what in outcomes[0].names:
            kept = np.ones(samples, dtype=bool)
            for each in outcomes:
                kept &= (bound.excess(each.of(bound.what)) <= 0.0) & (each.stops == "finished")
            holds[at] = float(kept.mean())
    passed = np.logical_or.reduce([each.passed for each in outcomes])
    chances = passed.mean(axis=0)
    worst = int(np.argmax(chances))
    weights = study.weights / study.weights.sum()
    values = {
        quantity.key: np.asarray(sum(w * each.of(quantity.key) for w, each in zip(weights, outcomes, strict=True)))
        for quantity in study.matters
        if quantity.key in outcomes[0].names
    }
    not_stopped = float(1.0 - passed.any(axis=1).mean())
    return Certainty(samples, holds, not_stopped, (outcomes[0].limits[worst], float(chances[worst])), values)


def not_certain(study: Study, found: Certainty) -> str:
    """Return in words what a member does not keep as surely as asked, or what stops half of such bikes; "": neither."""
    for at, bound in enumerate(study.bounds):
        if bound.certainty is not None and found.holds.get(at, 1.0) < bound.certainty:
            return f"{bound.quantity.words} holds in {found.holds[at]:.0%} of such bikes only"
    name, chance = found.likeliest_stop
    return f"{LIMITS[name.removeprefix(SECOND)].broken} in {chance:.0%} of such bikes" if chance > STOPS_HALF else ""
