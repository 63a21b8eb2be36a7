"""Rewinding as a question: today's winding, one new winding or all that give a wanted Kv, and the heat at one torque.

Where a build is named, every winding that is proposed is ridden first, and the ride judges its heat.
Sources stand in `rewind`, `motor` and `joining`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.motor import Motor
from ridesim.bike.second import geared_drive
from ridesim.road.profile import Road
from ridesim.workshop.limits import Verdict, worst_verdict
from ridesim.workshop.winding.joining import joining_lines
from ridesim.workshop.winding.motor import Winding, WoundMotor
from ridesim.workshop.winding.rewind import USUAL_SLOT_FILL, Candidate, Rewind, rewind, windings_for_kv
from ridesim.workshop.winding.ridden import RiddenWinding, ride_winding

MOST_RIDDEN = 10
"""Windings near a wanted Kv that are ridden and shown."""
_ORDER: tuple[Verdict, ...] = ("fine", "look again", "stop")
Asked = Literal["this winding", "this Kv", "the other connection"]

CAUTIONS: tuple[str, ...] = (
    "A rewound motor is as good as its insulation: test every phase against the iron before it sees a pack.",
    "Measure Kv, resistance and no-load current again after winding (ridesim bench); the numbers here are a plan.",
    "Magnets pull fingers and tools; hot varnish and glue give off fumes; a motor at its limit burns skin.",
)
"""Common practice, no source."""


@dataclass(frozen=True, eq=False, repr=False)
class RewindPlan(Answer):
    """Today's winding, and what was asked for; `candidates` are the windings that give a wanted Kv, nearest first.

    `judged` is the reason without the winding's own words. Rides are None where no build was named.
    """

    motor: WoundMotor
    asked: Asked
    torque_nm: float | None
    today: Rewind
    new: Rewind
    candidates: tuple[Candidate, ...]
    wanted_kv_rpm_per_v: float | None
    verdict: Verdict
    reason: str
    today_ridden: RiddenWinding | None = None
    new_ridden: RiddenWinding | None = None
    joining: tuple[str, ...] = ()
    judged: str = ""
    cautions: tuple[str, ...] = CAUTIONS


@dataclass(frozen=True, eq=False)
class Rider:
    """The build whose ride judges a winding; without a road the climb that stands in for one is ridden."""

    loaded: LoadedBuild
    road: Road | None = None
    drive: int | None = None
    """Of two different drives the one whose motor is wound: 1 or 2."""

    @property
    def motor(self) -> Motor:
        """The motor that is wound, as the build has it."""
        return geared_drive(self.loaded.build, self.drive or 1)[1].motor

    def ride(self, made: Rewind) -> RiddenWinding:
        """Ride the build with this winding."""
        return ride_winding(self.loaded, made.kv_rpm_per_v, made.resistance_mohm, self.road, self.drive)


def plan_rewind(
    motor: WoundMotor,
    new: Winding | None = None,
    *,
    wanted_kv_rpm_per_v: float | None = None,
    wire_diameter_mm: float | None = None,
    max_slot_fill: float = USUAL_SLOT_FILL,
    torque_nm: float | None = None,
    rider: Rider | None = None,
) -> RewindPlan:
    """Plan a rewind: to the winding `new`, to a wanted Kv, or (neither given) the other connection of today's wire.

    `torque_nm` is the sustained torque at which heat and current density are compared. With a `rider` the windings are
    ridden: of those that come near a wanted Kv the nearest with the gentlest verdict is proposed. Raises RidesimError.
    """
    ridden = rider is not None
    today = rewind(motor, motor.winding, torque_nm, ridden=ridden)
    if wanted_kv_rpm_per_v is not None:
        wire = motor.winding.wire_diameter_mm if wire_diameter_mm is None else wire_diameter_mm
        found = windings_for_kv(
            motor, wanted_kv_rpm_per_v, wire, max_slot_fill=max_slot_fill, sustained_torque_nm=torque_nm, ridden=ridden
        )  # fmt: skip
        if rider is not None:
            nearest = tuple(replace(each, ridden=rider.ride(each.result)) for each in found[:MOST_RIDDEN])
            found = nearest + found[MOST_RIDDEN:]
        best = min(found[:MOST_RIDDEN], key=lambda each: _ORDER.index(_judged(each.result, each.ridden)[0]))
        plan = RewindPlan(
            motor, "this Kv", torque_nm, today, best.result, found, wanted_kv_rpm_per_v, "fine", "", None, best.ridden
        )  # fmt: skip
    else:
        asked: Asked = "this winding"
        if new is None:
            other: Literal["star", "delta"] = "delta" if motor.winding.connection == "star" else "star"
            new, asked = replace(motor.winding, connection=other), "the other connection"
        result = rewind(motor, new, torque_nm, ridden=ridden)
        after = rider.ride(result) if rider is not None else None
        plan = RewindPlan(motor, asked, torque_nm, today, result, (), None, "fine", "", None, after)
    return _judge_plan(plan, rider)


def _judge_plan(plan: RewindPlan, rider: Rider | None) -> RewindPlan:
    """Return the plan with its verdict, today's ride beside the new one's, and what to mind when joining the leads."""
    verdict, reason = _judged(plan.new, plan.new_ridden)
    pairs = None if rider is None else rider.motor.pole_pairs
    return replace(
        plan,
        verdict=verdict,
        judged=reason,
        reason=f"{words_of(plan.new.winding)}: {plan.new.kv_rpm_per_v:.1f} rpm/V; {reason}",
        today_ridden=None if rider is None else rider.ride(plan.today),
        joining=joining_lines(plan.motor.winding, plan.new.winding, pairs),
    )


def _judged(made: Rewind, ridden: RiddenWinding | None) -> tuple[Verdict, str]:
    """The gravest of what the wire and what the ride say; both reasons where neither is worse."""
    if ridden is None:
        return made.verdict, made.reason
    both = f"{made.reason}; {ridden.reason}"
    return worst_verdict([(made.verdict, made.reason), (ridden.verdict, ridden.reason)], both)


def words_of(winding: Winding) -> str:
    """Return a winding in words: `7 turns of 5 x 0.50 mm, star`."""
    paths = "" if winding.parallel_paths == 1 else f", {winding.parallel_paths} paths"
    strands = f"{winding.strands} x " if winding.strands > 1 else ""
    return f"{winding.turns} turns of {strands}{winding.wire_diameter_mm:.3g} mm, {winding.connection}{paths}"
