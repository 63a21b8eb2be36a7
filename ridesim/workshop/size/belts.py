"""Belts for a proposed reduction: teeth, pitch and width of each stage, asked of the belt's own judge.

Widths commonly stocked and the order of trying are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from ridesim.bike.schema import STAGE_EFFICIENCY
from ridesim.errors import RidesimError
from ridesim.ride.limits import ORDER
from ridesim.workshop.belt.design import judge_fit
from ridesim.workshop.belt.geometry import pitch_diameter_mm
from ridesim.workshop.belt.layout import check_stage
from ridesim.workshop.belt.strength import BeltStage
from ridesim.workshop.belt.tables import belt_type
from ridesim.workshop.check.drive import CENTRES_PER_DRIVEN_DIAMETER
from ridesim.workshop.limits import Verdict, held, worst_verdict

WIDTHS_MM = {"5M": (15.0, 25.0), "8M": (20.0, 30.0, 50.0)}
"""Belts to try, light to heavy, in widths commonly stocked (common practice, no source)."""
TEETH_STEPS = (0, 2, 4, 6, 8, 10, 12)
"""Teeth above the least of a profile that are tried on the motor side."""
MOST_TEETH = 400


@dataclass(frozen=True)
class StageBelt:
    """One stage with its belt, and what the belt's judge says."""

    driver_teeth: int
    driven_teeth: int
    pitch_mm: float
    width_mm: float
    verdict: Verdict
    reason: str
    safety_factor: float
    """Allowed pull over the pull times the service factor."""

    @property
    def keys(self) -> dict[str, Any]:
        """The stage as a build has it."""
        return {
            "driver_teeth": self.driver_teeth,
            "driven_teeth": self.driven_teeth,
            "pitch_mm": self.pitch_mm,
            "width_mm": self.width_mm,
        }


def belts_for(
    stages: int, ratio: float, peak_torque_nm: float, top_rpm: float, wheel_radius_mm: float
) -> tuple[StageBelt, ...]:
    """Return a belt for each stage, motor side first: the lightest that is fine, else the least bad there is.

    Empty where no pulleys give the ratio in the wheel's room.
    """
    each, found = ratio ** (1.0 / stages), []
    torque, rpm = peak_torque_nm, top_rpm
    for number in range(1, stages + 1):
        room = wheel_radius_mm if number == stages else None
        best = _least_bad(_options(each, torque, rpm, room))
        if best is None:
            return ()
        found.append(best)
        turns = best.driven_teeth / best.driver_teeth
        torque, rpm = torque * turns * STAGE_EFFICIENCY["belt"], rpm / turns
    return tuple(found)


def _least_bad(options: Iterator[StageBelt]) -> StageBelt | None:
    """Return the first that is fine, else the strongest of the least bad ones."""
    seen = []
    for each in options:
        if each.verdict == "fine":
            return each
        seen.append(each)
    return min(seen, key=lambda one: (ORDER.index(one.verdict), -one.safety_factor), default=None)


def verdict_on(belts: tuple[StageBelt, ...], stages: int) -> tuple[Verdict, str]:
    """Return the gravest verdict on the belts of so many stages, with its reason."""
    found = held("belt_stages", len(belts), stages, "no pulleys give this ratio in the wheel's room")
    findings = (
        [found]
        if found[0] != "fine"
        else [(each.verdict, f"belt of stage {number}: {each.reason}") for number, each in enumerate(belts, 1)]
    )
    return worst_verdict(findings, "the belts carry it")


def _options(ratio: float, torque_nm: float, rpm: float, wheel_radius_mm: float | None) -> Iterator[StageBelt]:
    for kind, widths in WIDTHS_MM.items():
        pitch, least = belt_type(kind).pitch_mm, belt_type(kind).least_teeth
        for width in widths:
            for driver in (least + step for step in TEETH_STEPS):
                driven = round(driver * ratio)
                if driven > MOST_TEETH or not _fits(driven, kind, wheel_radius_mm):
                    continue
                centre = CENTRES_PER_DRIVEN_DIAMETER * pitch_diameter_mm(max(driver, driven), pitch)
                try:
                    check = check_stage(BeltStage(driver, driven, centre, width, kind), torque_nm, rpm)
                except RidesimError:
                    continue
                yield StageBelt(driver, driven, pitch, width, check.verdict, check.reason, check.safety_factor)


def _fits(driven: int, kind: str, wheel_radius_mm: float | None) -> bool:
    return wheel_radius_mm is None or judge_fit(driven, kind, None, wheel_radius_mm).verdict != "stop"
