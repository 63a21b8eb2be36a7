"""Metric screws: stress areas, preload, tightening torque.

Source: ISO 898-1 (stress area), VDI 2230 part 1 (2003), section 5.4.3: assembly preload and tightening torque at 90 %
of yield; grub screws: seating torques of a shaft-component maker's chart; torque factor: Shigley, table 8-15.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from ridesim.errors import BuildError
from ridesim.units import convert, to_si
from ridesim.workshop.limits import require_between, require_positive

THREAD_FRICTION = 0.12
"""Thread and head, clean and lightly oiled (VDI 2230, class B)."""
GRADE_88_MPA = 640.0
"""Yield of property class 8.8 to M16 (ISO 898-1)."""
YIELD_SHARE = 0.9
SCATTER = 1.6
"""Tightened by a torque wrench: the least preload is the torque's share over this (VDI 2230, table A8, class 1.6)."""


class Thread(NamedTuple):
    """A coarse thread [mm]: diameter, pitch, bearing face of a hexagon head, clearance hole."""

    d_mm: float
    pitch_mm: float
    head_mm: float
    hole_mm: float


THREADS = {
    "M3": Thread(3.0, 0.5, 4.6, 3.4),
    "M4": Thread(4.0, 0.7, 5.9, 4.5),
    "M5": Thread(5.0, 0.8, 6.9, 5.5),
    "M6": Thread(6.0, 1.0, 8.9, 6.6),
    "M8": Thread(8.0, 1.25, 11.6, 9.0),
    "M10": Thread(10.0, 1.5, 14.6, 11.0),
}
"""ISO 261, ISO 4014 and ISO 273 (M3 and M4: head faces from memory)."""

GRUB_NM = {"M3": 0.92, "M4": 2.2, "M5": 4.0, "M6": 7.2, "M8": 17.0}
"""Seating torque of grub screws (a maker's chart; charts differ, so ask for a factor of four and more)."""
TORQUE_FACTOR = 0.2
"""Tightening torque over preload and diameter: zinc-plated (Shigley, table 8-15)."""


def thread(name: str) -> Thread:
    """Return a thread by its name, `M5`. Raises BuildError."""
    if name not in THREADS:
        raise BuildError("mount", f"the screw {name!r} is not known", f"choose one of: {', '.join(THREADS)}")
    return THREADS[name]


def flank_diameter_mm(screw: Thread) -> float:
    """Return the pitch diameter d2 [mm]. Source: ISO 724."""
    return screw.d_mm - 0.75 * math.sqrt(0.75) * screw.pitch_mm


def core_diameter_mm(screw: Thread) -> float:
    """Return the core diameter d3 [mm]. Source: ISO 724: d - 17/12 H + ... = d - 1.22687 P."""
    return screw.d_mm - 17.0 / 12.0 * math.sqrt(0.75) * screw.pitch_mm


def stress_area_mm2(screw: Thread) -> float:
    """Return the stress area `pi/4 ((d2 + d3)/2)^2` [mm2]. Source: ISO 898-1."""
    mean = (flank_diameter_mm(screw) + core_diameter_mm(screw)) / 2.0
    return math.pi / 4.0 * mean**2


def allowed_preload_n(screw: Thread, friction: float = THREAD_FRICTION, yield_mpa: float = GRADE_88_MPA) -> float:
    """Return the assembly preload that uses 90 % of yield, tension and twist together [N].

    `F = 0.9 Rp A0 / sqrt(1 + 3 (1.5 d2/d0 (P/(pi d2) + 1.155 mu))^2)`. Source: VDI 2230, eq. R8/1. Raises BuildError.
    """
    require_between("mount", "friction", friction, 0.01, 1.0)
    d2 = flank_diameter_mm(screw)
    d0 = (d2 + core_diameter_mm(screw)) / 2.0
    twist = 1.5 * d2 / d0 * (screw.pitch_mm / (math.pi * d2) + 1.155 * friction)
    return YIELD_SHARE * yield_mpa * stress_area_mm2(screw) / math.sqrt(1.0 + 3.0 * twist**2)


def lever_mm(screw: Thread, friction: float = THREAD_FRICTION) -> float:
    """Return tightening torque over preload, `0.16 P + 0.58 d2 mu + Dkm/2 mu` [mm]. Source: VDI 2230, eq. R8/4."""
    under_head = (screw.head_mm + screw.hole_mm) / 4.0
    return 0.16 * screw.pitch_mm + 0.58 * flank_diameter_mm(screw) * friction + under_head * friction


def allowed_tightening_nm(screw: Thread, friction: float = THREAD_FRICTION) -> float:
    """Return the tightening torque of the allowed preload, grade 8.8 [N m]. Source: VDI 2230. Raises BuildError."""
    return allowed_preload_n(screw, friction) * to_si(lever_mm(screw, friction), "mm")


def preload_n(screw: Thread, tightening_nm: float | None = None, friction: float = THREAD_FRICTION) -> float:
    """Return the least preload of a screw tightened by a torque wrench [N]; None: to what grade 8.8 allows.

    Raises BuildError for a torque that overstrains the screw.
    """
    allowed = allowed_tightening_nm(screw, friction)
    if tightening_nm is None:
        return allowed_preload_n(screw, friction) / SCATTER
    require_positive("mount", tightening_nm=tightening_nm)
    if tightening_nm > 2.0 * allowed:
        what = f"{tightening_nm:g} N·m strips an M{screw.d_mm:g} screw of grade 8.8 (allowed {allowed:.1f} N·m)"
        raise BuildError("mount.tightening_nm", what, "tighten less, or take a larger screw")
    return min(tightening_nm, allowed) / to_si(lever_mm(screw, friction), "mm") / SCATTER


def grub_force_n(name: str) -> float:
    """Return how hard a seated grub screw presses [N], `T/(0.2 d)`. Raises BuildError for a size without a chart."""
    if name not in GRUB_NM:
        raise BuildError("mount.joint.screw", f"no grub screw {name} is listed", f"choose one of: {', '.join(GRUB_NM)}")
    return GRUB_NM[name] / (TORQUE_FACTOR * convert(thread(name).d_mm, "mm", "m"))
