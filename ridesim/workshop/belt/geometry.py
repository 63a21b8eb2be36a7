"""Where a toothed belt runs: pitch diameters, exact lengths, wrap, teeth in mesh, stock belts, many pulleys.

Sources: pitch diameter after ISO 13050 / ISO 5294; open-belt length in closed form (plane geometry, any handbook).
Lengths in mm, angles in degrees. Nothing here knows about loads.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ridesim.errors import BuildError
from ridesim.workshop.belt.tables import BELT_TYPES
from ridesim.workshop.limits import require_positive

LEAST_PULLEY_TEETH = 8
"""Below this a pulley of any standard pitch is a typing slip (guess)."""

PATH_TOLERANCE_RAD = 1e-9
"""Wraps of a closed loop sum to one turn; rounding of a few atan2 calls stays far below this."""


@dataclass(frozen=True)
class DriveGeometry:
    """Two pulleys and the belt around them."""

    ratio: float
    pitch_diameter_driver_mm: float
    pitch_diameter_driven_mm: float
    centre_mm: float
    belt_length_mm: float
    belt_teeth: float
    span_mm: float
    wrap_driver_deg: float
    wrap_driven_deg: float
    teeth_in_mesh_driver: float
    teeth_in_mesh_driven: float

    @property
    def teeth_in_mesh(self) -> float:
        """Teeth in mesh on the pulley that has fewer of them."""
        return min(self.teeth_in_mesh_driver, self.teeth_in_mesh_driven)

    @property
    def wrap_small_deg(self) -> float:
        """Wrap on the smaller pulley."""
        return min(self.wrap_driver_deg, self.wrap_driven_deg)


@dataclass(frozen=True)
class StockBelt:
    """A whole-tooth belt, and the centre distance at which it runs without slack."""

    teeth: int
    length_mm: float
    centre_mm: float
    centre_change_mm: float


@dataclass(frozen=True)
class PulleySpot:
    """A pulley of a belt loop and where its shaft stands, in one plane."""

    name: str
    teeth: int
    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class BeltPath:
    """A belt around several pulleys, all inside the loop; span `i` leaves pulley `i` for the next one."""

    length_mm: float
    belt_teeth: float
    span_mm: tuple[float, ...]
    wrap_deg: tuple[float, ...]
    teeth_in_mesh: tuple[float, ...]


def require_teeth(where: str, teeth: int) -> None:
    """Raise BuildError for a pulley with a broken or absurdly small number of teeth."""
    if teeth != int(teeth) or teeth < LEAST_PULLEY_TEETH:
        raise BuildError(where, f"{teeth} teeth (allowed: whole, {LEAST_PULLEY_TEETH} or more)", "count the teeth")


def pitch_diameter_mm(teeth: int, pitch_mm: float) -> float:
    """Return the pitch diameter `teeth * pitch / pi` [mm]. Source: ISO 13050 / ISO 5294. Raises BuildError."""
    require_teeth("pulley", teeth)
    require_positive("belt", pitch_mm=pitch_mm)
    return teeth * pitch_mm / math.pi


def _lean_rad(teeth_a: int, teeth_b: int, pitch_mm: float, centre_mm: float) -> float:
    """Angle between the span and the line of centres; raises BuildError where the pulleys would overlap."""
    first, second = pitch_diameter_mm(teeth_a, pitch_mm), pitch_diameter_mm(teeth_b, pitch_mm)
    require_positive("belt", centre_mm=centre_mm)
    least = (first + second) / 2.0
    if centre_mm <= least:
        what = f"{centre_mm:.2f} mm is too close for {teeth_a} and {teeth_b} teeth (above {least:.2f} mm)"
        raise BuildError("belt.centre_mm", what, "move the shafts apart or take smaller pulleys")
    return math.asin(abs(first - second) / (2.0 * centre_mm))


def belt_length_mm(teeth_a: int, teeth_b: int, pitch_mm: float, centre_mm: float) -> float:
    """Return the exact pitch length of an open belt [mm].

    `L = 2 C cos(a) + pi (D + d)/2 + a (D - d)`, `a = asin((D - d)/(2 C))`; valid while the pulleys do not overlap.
    Source: plane geometry. Raises BuildError.
    """
    lean = _lean_rad(teeth_a, teeth_b, pitch_mm, centre_mm)
    difference = abs(teeth_a - teeth_b) * pitch_mm / math.pi
    return 2.0 * centre_mm * math.cos(lean) + (teeth_a + teeth_b) * pitch_mm / 2.0 + lean * difference


def centre_distance_mm(teeth_a: int, teeth_b: int, pitch_mm: float, belt_teeth: int) -> float:
    """Return the centre distance [mm] at which a belt of `belt_teeth` runs, by solving the exact length.

    Length grows with the centre distance, so the root is unique. Source: inverse of `belt_length_mm`. Raises
    BuildError for a belt too short to clear both pulleys.
    """
    from scipy.optimize import brentq

    touching = (pitch_diameter_mm(teeth_a, pitch_mm) + pitch_diameter_mm(teeth_b, pitch_mm)) / 2.0
    lowest = touching * (1.0 + 1e-9)  # just clear of the overlap that belt_length_mm refuses
    shortest = belt_length_mm(teeth_a, teeth_b, pitch_mm, lowest)
    length = belt_teeth * pitch_mm
    if length <= shortest:
        what = f"{belt_teeth} teeth are too short for pulleys of {teeth_a} and {teeth_b}"
        raise BuildError("belt.belt_teeth", f"{what} (above {shortest / pitch_mm:.1f})", "take a longer belt")

    def surplus(centre: float) -> float:
        """Return by how much the belt about this centre distance is too long [mm]."""
        return belt_length_mm(teeth_a, teeth_b, pitch_mm, centre) - length

    return float(brentq(surplus, lowest, length, xtol=1e-12, rtol=1e-14))


def drive_geometry(teeth_driver: int, teeth_driven: int, pitch_mm: float, centre_mm: float) -> DriveGeometry:
    """Return diameters, belt length, wrap and teeth in mesh of a two-pulley drive.

    Teeth in mesh = `teeth * wrap / 360`. Source: SDP/SI Handbook of Timing Belts, section 13.3. Raises BuildError.
    """
    lean_deg = math.degrees(_lean_rad(teeth_driver, teeth_driven, pitch_mm, centre_mm))
    side = 1.0 if teeth_driver <= teeth_driven else -1.0
    wrap_driver, wrap_driven = 180.0 - 2.0 * side * lean_deg, 180.0 + 2.0 * side * lean_deg
    length = belt_length_mm(teeth_driver, teeth_driven, pitch_mm, centre_mm)
    return DriveGeometry(
        ratio=teeth_driven / teeth_driver,
        pitch_diameter_driver_mm=pitch_diameter_mm(teeth_driver, pitch_mm),
        pitch_diameter_driven_mm=pitch_diameter_mm(teeth_driven, pitch_mm),
        centre_mm=centre_mm,
        belt_length_mm=length,
        belt_teeth=length / pitch_mm,
        span_mm=centre_mm * math.cos(math.radians(lean_deg)),
        wrap_driver_deg=wrap_driver,
        wrap_driven_deg=wrap_driven,
        teeth_in_mesh_driver=teeth_driver * wrap_driver / 360.0,
        teeth_in_mesh_driven=teeth_driven * wrap_driven / 360.0,
    )


def _stock_for(pitch_mm: float) -> tuple[int, ...]:
    for known in BELT_TYPES.values():
        if known.pitch_mm == pitch_mm:
            return known.stock_teeth
    pitches = ", ".join(f"{known.pitch_mm:g}" for known in BELT_TYPES.values() if " " not in known.name)
    raise BuildError("belt.pitch_mm", f"no stock list for {pitch_mm:g} mm (known: {pitches})", "pass `stock_teeth`")


def nearest_stock_belts(
    teeth_a: int,
    teeth_b: int,
    pitch_mm: float,
    centre_mm: float,
    *,
    count: int = 3,
    stock_teeth: Sequence[int] | None = None,
) -> tuple[StockBelt, ...]:
    """Return the `count` stock belts whose centre distance lies closest to the wanted one, closest first.

    Without `stock_teeth` the list of `belt_tables` serves (from memory). Raises BuildError.
    """
    wanted = belt_length_mm(teeth_a, teeth_b, pitch_mm, centre_mm) / pitch_mm
    stock = _stock_for(pitch_mm) if stock_teeth is None else tuple(stock_teeth)
    found: list[StockBelt] = []
    for teeth in sorted(stock, key=lambda each: abs(each - wanted)):
        try:
            centre = centre_distance_mm(teeth_a, teeth_b, pitch_mm, teeth)
        except BuildError:
            continue  # too short for these pulleys
        found.append(StockBelt(teeth, teeth * pitch_mm, centre, centre - centre_mm))
        if len(found) > count:
            break
    if not found:
        raise BuildError("belt.stock_teeth", "no listed belt goes around these pulleys", "add longer belts to the list")
    return tuple(sorted(found, key=lambda belt: abs(belt.centre_change_mm))[:count])


def _span(start: PulleySpot, end: PulleySpot, pitch_mm: float) -> tuple[float, float]:
    """Length and outward-normal angle of the outer tangent from one pulley to the next, counter-clockwise."""
    across, up = end.x_mm - start.x_mm, end.y_mm - start.y_mm
    centre = math.hypot(across, up)
    start_radius = pitch_diameter_mm(start.teeth, pitch_mm) / 2.0
    end_radius = pitch_diameter_mm(end.teeth, pitch_mm) / 2.0
    if centre <= start_radius + end_radius:
        what = f"{start.name} and {end.name} overlap ({centre:.1f} mm apart, above {start_radius + end_radius:.1f})"
        raise BuildError("belt.pulleys", what, "move the shafts apart or take smaller pulleys")
    lean = math.asin((start_radius - end_radius) / centre)
    return centre * math.cos(lean), math.atan2(up, across) - math.pi / 2.0 + lean


def belt_path(pulleys: Sequence[PulleySpot], pitch_mm: float) -> BeltPath:
    """Return spans, wraps and exact length of a belt around two or more pulleys, listed counter-clockwise.

    Valid when every pulley touches the inside of the belt (no back-side idlers). Source: outer tangents of circles,
    plane geometry. Raises BuildError for overlapping pulleys, a clockwise list, or one that the belt would miss.
    """
    if len(pulleys) < 2:
        raise BuildError("belt.pulleys", f"{len(pulleys)} given (2 or more)", "list every pulley of the loop")
    following = [*pulleys[1:], pulleys[0]]
    spans = [_span(start, end, pitch_mm) for start, end in zip(pulleys, following, strict=True)]
    arriving = [spans[-1], *spans[:-1]]
    wraps = [(out[1] - come[1]) % math.tau for come, out in zip(arriving, spans, strict=True)]
    if abs(sum(wraps) - math.tau) > PATH_TOLERANCE_RAD:
        names = ", ".join(spot.name for spot in pulleys)
        raise BuildError(
            "belt.pulleys", f"the belt does not touch all of {names} in this order", "list them counter-clockwise"
        )
    arcs = [spot.teeth * wrap / math.tau for spot, wrap in zip(pulleys, wraps, strict=True)]
    length = sum(span for span, _ in spans) + pitch_mm * sum(arcs)
    return BeltPath(
        length_mm=length,
        belt_teeth=length / pitch_mm,
        span_mm=tuple(span for span, _ in spans),
        wrap_deg=tuple(math.degrees(wrap) for wrap in wraps),
        teeth_in_mesh=tuple(arcs),
    )
