"""Rewinding as a question: today's winding, one new winding or all that give a wanted Kv, and the heat at one torque.

Sources stand in `winding` and `wound_motor`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from ridesim.workshop.limits import Verdict
from ridesim.workshop.winding.motor import Winding, WoundMotor
from ridesim.workshop.winding.rewind import USUAL_SLOT_FILL, Candidate, Rewind, rewind, windings_for_kv

Asked = Literal["this winding", "this Kv", "the other connection"]

CAUTIONS: tuple[str, ...] = (
    "A rewound motor is as good as its insulation: test every phase against the iron before it sees a pack.",
    "Measure Kv, resistance and no-load current again after winding (ridesim bench); the numbers here are a plan.",
    "Magnets pull fingers and tools; hot varnish and glue give off fumes; a motor at its limit burns skin.",
)
"""Common practice, no source."""


@dataclass(frozen=True)
class RewindPlan:
    """Today's winding, and what was asked for; `candidates` are the windings that give a wanted Kv, nearest first."""

    motor: WoundMotor
    asked: Asked
    torque_nm: float | None
    today: Rewind
    new: Rewind
    candidates: tuple[Candidate, ...]
    wanted_kv_rpm_per_v: float | None
    verdict: Verdict
    reason: str
    cautions: tuple[str, ...] = CAUTIONS


def plan_rewind(
    motor: WoundMotor,
    new: Winding | None = None,
    *,
    wanted_kv_rpm_per_v: float | None = None,
    wire_diameter_mm: float | None = None,
    max_slot_fill: float = USUAL_SLOT_FILL,
    torque_nm: float | None = None,
) -> RewindPlan:
    """Plan a rewind: to the winding `new`, to a wanted Kv, or (neither given) the other connection of today's wire.

    `torque_nm` is the sustained torque at which heat and current density are compared. Raises RidesimError.
    """
    today = rewind(motor, motor.winding, torque_nm)
    if wanted_kv_rpm_per_v is not None:
        wire = motor.winding.wire_diameter_mm if wire_diameter_mm is None else wire_diameter_mm
        found = windings_for_kv(
            motor, wanted_kv_rpm_per_v, wire, max_slot_fill=max_slot_fill, sustained_torque_nm=torque_nm
        )  # fmt: skip
        best = found[0].result
        reason = f"{words_of(best.winding)}: {best.kv_rpm_per_v:.1f} rpm/V; {best.reason}"
        return RewindPlan(motor, "this Kv", torque_nm, today, best, found, wanted_kv_rpm_per_v, best.verdict, reason)
    asked: Asked = "this winding"
    if new is None:
        other: Literal["star", "delta"] = "delta" if motor.winding.connection == "star" else "star"
        new, asked = replace(motor.winding, connection=other), "the other connection"
    result = rewind(motor, new, torque_nm)
    reason = f"{words_of(new)}: {result.kv_rpm_per_v:.1f} rpm/V; {result.reason}"
    return RewindPlan(motor, asked, torque_nm, today, result, (), None, result.verdict, reason)


def words_of(winding: Winding) -> str:
    """Return a winding in words: `7 turns of 5 x 0.50 mm, star`."""
    paths = "" if winding.parallel_paths == 1 else f", {winding.parallel_paths} paths"
    strands = f"{winding.strands} x " if winding.strands > 1 else ""
    return f"{winding.turns} turns of {strands}{winding.wire_diameter_mm:.3g} mm, {winding.connection}{paths}"
