"""Standard toothed belts: pitch, size of tooth and back, allowed pull, and the lengths commonly stocked.

Sources: pitch names 3M, 5M, 8M after ISO 13050 (curvilinear profiles). Allowed pull: SDP/SI, Handbook of Timing
Belts, Pulleys, Chains and Sprockets, Technical Section, table 3 (neoprene with glass cord; the design factor is
already inside). Sizes of tooth and back, belt mass and stock lengths are from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

from ridesim.workshop.limits import require_known

REFERENCE_WIDTH_MM = 25.4
"""Belt width for which the allowed pulls are tabulated: one inch (SDP/SI, table 3)."""


@dataclass(frozen=True)
class BeltType:
    """One standard belt. `allowed_pull_n` is for a belt `REFERENCE_WIDTH_MM` wide."""

    name: str
    pitch_mm: float
    allowed_pull_n: float
    rim_below_pitch_mm: float
    """Pulley outside diameter = pitch diameter minus twice this (from memory)."""
    back_above_rim_mm: float
    """Belt that stands above the pulley's rim (from memory: total thickness minus tooth height)."""
    mass_kg_per_m2: float
    """Belt mass per area of back (from memory, +-15 %)."""
    stock_teeth: tuple[int, ...]
    """Lengths commonly stocked, in teeth (from memory; ask the supplier)."""
    least_teeth: int
    """Fewest teeth of a pulley on which the cords bend without wearing early (from memory, `LEAST_TEETH`)."""


STOCK_TEETH_3M = (
    48, 50, 53, 56, 58, 59, 60, 64, 65, 67, 70, 71, 75, 80, 84, 85, 88, 89, 90, 95, 100, 106, 112, 113, 119, 120, 125,
    128, 130, 135, 140, 145, 149, 150, 158, 160, 165, 170, 177, 179, 184, 190, 199, 200, 211, 213, 223, 240, 250, 264,
    280, 300, 354, 421, 500,
)  # fmt: skip
"""Teeth of commonly stocked 3 mm belts. From memory."""

STOCK_TEETH_5M = (
    36, 40, 45, 51, 53, 54, 56, 59, 60, 61, 65, 66, 68, 70, 72, 74, 75, 77, 80, 84, 85, 90, 92, 95, 100, 105, 107, 113,
    115, 116, 120, 123, 125, 127, 133, 134, 140, 142, 148, 150, 160, 167, 170, 178, 180, 185, 190, 200, 210, 225, 254,
    284, 300, 319, 358, 374, 400,
)  # fmt: skip
"""Teeth of commonly stocked 5 mm belts. From memory."""

STOCK_TEETH_8M = (
    36, 40, 44, 47, 48, 52, 53, 55, 60, 68, 70, 75, 80, 82, 85, 90, 95, 100, 105, 110, 114, 115, 120, 130, 140, 150,
    153, 160, 170, 178, 180, 190, 200, 220, 225, 250, 275, 300, 325, 350,
)  # fmt: skip
"""Teeth of commonly stocked 8 mm belts; the ISO 13050 series (480 to 2800 mm) is among them. From memory."""

_SIZES = {
    "3M": (3.0, 0.381, 1.2, 2.5, STOCK_TEETH_3M),
    "5M": (5.0, 0.5715, 1.7, 4.1, STOCK_TEETH_5M),
    "8M": (8.0, 0.686, 2.6, 5.8, STOCK_TEETH_8M),
}
"""Pitch mm, rim below the pitch circle mm, back mm, kg/m2 (all but the pitch from memory), stock lengths."""

_ALLOWED_PULL_N = {
    "3M": 285.0, "5M": 454.0, "8M": 792.0, "3M modified": 507.0, "5M modified": 712.0, "8M modified": 1690.0,
}  # fmt: skip
"""Newton at 25.4 mm width, SDP/SI table 3: round tooth, then the modified round tooth (sizes taken as alike)."""


LEAST_TEETH = {"3M": 10, "5M": 14, "8M": 22, "3M modified": 16, "5M modified": 18, "8M modified": 22}
"""Smallest pulley that makers commonly list for each profile, glass cord (from memory; the maker's table for your
speed decides, and asks for more teeth on a fast shaft)."""


def _belt_type(name: str, allowed_pull_n: float) -> BeltType:
    pitch, rim, back, mass, stock = _SIZES[name.split()[0]]
    return BeltType(name, pitch, allowed_pull_n, rim, back, mass, stock, LEAST_TEETH[name])


BELT_TYPES: dict[str, BeltType] = {name: _belt_type(name, pull) for name, pull in _ALLOWED_PULL_N.items()}
"""By name. `modified` is the deeper, stronger tooth: at 5 mm its grooves do not fit a plain 5M pulley."""


def belt_type(name: str) -> BeltType:
    """Return the belt called `name` ("5M", "8M modified", ...). Raises BuildError for an unknown one."""
    require_known("belt", name, tuple(BELT_TYPES))
    return BELT_TYPES[name]
