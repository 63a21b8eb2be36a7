"""Which pulleys fit: the wheel pulley between its neighbours, and pulley pairs for a wanted ratio.

Sources: outside diameter = pitch diameter minus twice the pitch-line offset (ISO 13050 form; offsets from memory);
teeth in mesh after SDP/SI, Handbook of Timing Belts, section 13.3. The clearances asked for are guesses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.units import from_si
from ridesim.workshop.belt.geometry import drive_geometry, pitch_diameter_mm
from ridesim.workshop.belt.strength import FULL_MESH_TEETH
from ridesim.workshop.belt.tables import BeltType, belt_type
from ridesim.workshop.limits import Verdict, held, require_not_negative, require_positive, worst_verdict

FLANGE_ABOVE_BACK_MM = 1.0
"""How far a flange stands above the back of the belt (guess)."""

GROUND_CLEARANCE_LEAST_MM = 20.0
"""Below this the belt meets the road's first stone (guess)."""


@dataclass(frozen=True)
class WheelPulleyFit:
    """A pulley on the wheel's axle with its belt on it, against the room it has."""

    pitch_diameter_mm: float
    outside_diameter_mm: float
    outermost_diameter_mm: float
    clearance_mm: float
    ground_clearance_mm: float
    largest_teeth_that_fits: int
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class PulleyPair:
    """Two pulleys that give nearly the wanted ratio at the given centre distance."""

    teeth_driver: int
    teeth_driven: int
    ratio: float
    ratio_error_percent: float
    belt_length_mm: float
    belt_teeth: float
    teeth_in_mesh: float
    outside_diameter_driven_mm: float


def outside_diameter_mm(teeth: int, belt: str) -> float:
    """Return a pulley's diameter over its teeth [mm]. Source: ISO 13050 form, offset from memory. Raises BuildError."""
    kind = belt_type(belt)
    return pitch_diameter_mm(teeth, kind.pitch_mm) - 2.0 * kind.rim_below_pitch_mm


def _belt_and_flange_mm(kind: BeltType, flange_above_back_mm: float) -> float:
    return kind.back_above_rim_mm + flange_above_back_mm


def largest_teeth_in(radius_mm: float, belt: str, flange_above_back_mm: float = FLANGE_ABOVE_BACK_MM) -> int:
    """Return the most teeth whose pulley, with belt and flange, stays inside a radius. Raises BuildError."""
    require_positive("belt", radius_mm=radius_mm)
    require_not_negative("belt", flange_above_back_mm=flange_above_back_mm)
    kind = belt_type(belt)
    pitch_radius = radius_mm - _belt_and_flange_mm(kind, flange_above_back_mm) + kind.rim_below_pitch_mm
    return max(0, math.floor(math.tau * pitch_radius / kind.pitch_mm))


def wheel_pulley_fit(
    teeth: int,
    belt: str,
    *,
    free_radius_mm: float,
    wheel_radius_mm: float,
    flange_above_back_mm: float = FLANGE_ABOVE_BACK_MM,
) -> WheelPulleyFit:
    """Say whether the wheel's pulley fits: room to `free_radius_mm` around the axle, and to the ground.

    `free_radius_mm` is the distance from the axle to the nearest chainstay, tyre or rim in the pulley's plane.
    Source: geometry; sizes of belt and flange from memory; clearances are guesses. Raises BuildError.
    """
    require_positive("belt", free_radius_mm=free_radius_mm, wheel_radius_mm=wheel_radius_mm)
    require_not_negative("belt", flange_above_back_mm=flange_above_back_mm)
    kind = belt_type(belt)
    outside = outside_diameter_mm(teeth, belt)
    outermost = outside + 2.0 * _belt_and_flange_mm(kind, flange_above_back_mm)
    clearance, ground = free_radius_mm - outermost / 2.0, wheel_radius_mm - outermost / 2.0
    frame_words, ground_words = f"{clearance:.1f} mm to the frame or rim", f"{ground:.0f} mm to the ground"
    findings = [
        held("pulley_room", clearance, 0.0, frame_words),
        held("pulley_ground", ground, GROUND_CLEARANCE_LEAST_MM, ground_words),
    ]
    verdict, reason = worst_verdict(findings, f"{frame_words}, {ground_words}")
    largest = largest_teeth_in(free_radius_mm, belt, flange_above_back_mm)
    diameter = pitch_diameter_mm(teeth, kind.pitch_mm)
    return WheelPulleyFit(diameter, outside, outermost, clearance, ground, largest, verdict, reason)


def pulley_pairs(
    teeth_small: range,
    teeth_large: range,
    pitch_mm: float,
    *,
    ratio: float,
    centre_mm: float,
    ratio_tolerance_percent: float = 5.0,
    least_teeth_in_mesh: float = FULL_MESH_TEETH,
    largest_outside_diameter_mm: float | None = None,
    rim_below_pitch_mm: float = 0.0,
) -> tuple[PulleyPair, ...]:
    """Return every pair near a wanted ratio (driven over driver), the closest ratio first.

    A pair counts when the pulleys do not overlap, enough teeth mesh and the large one fits. `rim_below_pitch_mm`
    turns pitch into outside diameters (`BeltType.rim_below_pitch_mm`). Source: exact geometry; six teeth in mesh
    after SDP/SI section 13.3. Raises BuildError for bad numbers; an empty tuple says that nothing fits.
    """
    require_positive("belt", ratio=ratio, centre_mm=centre_mm, pitch_mm=pitch_mm)
    require_not_negative("belt", ratio_tolerance_percent=ratio_tolerance_percent)
    found: list[PulleyPair] = []
    for small in teeth_small:
        for large in teeth_large:
            error = from_si(large / small / ratio - 1.0, "percent")
            if abs(error) > ratio_tolerance_percent:
                continue
            pair = _pair(small, large, pitch_mm, centre_mm, error, rim_below_pitch_mm)
            if pair is None or pair.teeth_in_mesh < least_teeth_in_mesh:
                continue
            if largest_outside_diameter_mm is None or pair.outside_diameter_driven_mm <= largest_outside_diameter_mm:
                found.append(pair)
    return tuple(sorted(found, key=lambda each: (abs(each.ratio_error_percent), -each.teeth_driver)))


def _pair(small: int, large: int, pitch_mm: float, centre_mm: float, error: float, rim_mm: float) -> PulleyPair | None:
    """One pair, or None where the pulleys overlap at this centre distance."""
    if centre_mm <= (small + large) * pitch_mm / math.tau:
        return None
    shape = drive_geometry(small, large, pitch_mm, centre_mm)
    outside = shape.pitch_diameter_driven_mm - 2.0 * rim_mm
    return PulleyPair(
        small, large, shape.ratio, error, shape.belt_length_mm, shape.belt_teeth, shape.teeth_in_mesh, outside
    )
