"""The side load on a motor's shaft, against what the build states or what its diameter lets one estimate.

Sources: bending of a round cantilever `32 M/(pi d^3)` and the endurance limit of a turning shaft after Shigley,
Mechanical Engineering Design, chapter 6 (machined surface, size, notch); bearing life after ISO 281. The steel, the
notch, the bearing behind the pulley and its dynamic ratings are guesses or from memory: an estimate may ask for a
second look, it never stops a bike; the maker's stated load does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.units import convert, to_si
from ridesim.workshop.limits import Verdict, held, require_not_negative, require_positive
from ridesim.workshop.mount import strength

STEEL_MPA = 600.0
"""Tensile strength of a motor shaft of plain carbon steel (guess)."""

NOTCH_FACTOR = 1.7
"""A shoulder, a flat or a screw's mark beside the pulley (guess)."""

BENDING_SAFETY = 1.5
"""Against the scatter of steel and of bumps (guess)."""

PULLEY_GAP_MM = 8.0
"""From the bearing to the pulley's edge, where nobody says (guess)."""

BEARING_N = {
    5.0: 1300.0,
    6.0: 2260.0,
    8.0: 3450.0,
    10.0: 4620.0,
    12.0: 5100.0,
    15.0: 5590.0,
    17.0: 6050.0,
    20.0: 9360.0,
}
"""Bore mm -> dynamic rating of the light deep-groove ball bearing usual there (from memory)."""

BEARING_LIFE_H = 1000.0
"""Hours at the judged load and speed (guess: some 25 000 km)."""

RATED_TURNS = 1e6
"""A bearing's dynamic rating is the load that it bears so many turns (ISO 281)."""

LEVER_FACTOR = 1.5
"""Load of the bearing behind an overhung pulley over the belt's (guess: half as far out as the bearings' distance)."""


@dataclass(frozen=True)
class Shaft:
    """What is known of a motor's shaft. `overhang_mm` None: half the belt's width and a small gap."""

    diameter_mm: float | None = None
    side_load_limit_n: float | None = None
    overhang_mm: float | None = None


UNKNOWN_SHAFT = Shaft()


@dataclass(frozen=True)
class ShaftCheck:
    """A shaft under its belts. `limit_from`: "stated", "estimate", or "" where nothing is known of it."""

    name: str
    side_load_n: float
    overhang_mm: float
    limit_n: float | None
    limit_from: str
    needed_diameter_mm: float | None
    verdict: Verdict
    reason: str


def overhang_mm(shaft: Shaft, width_mm: float) -> float:
    """Return how far outside its bearing the belt pulls [mm], a guess where the shaft does not say."""
    return PULLEY_GAP_MM + width_mm / 2.0 if shaft.overhang_mm is None else shaft.overhang_mm


def endurance_mpa(diameter_mm: float) -> float:
    """Return the bending stress that a turning steel shaft bears for good [MPa], notch included.

    `ka kb Sut/2 / Kf`. Source: Shigley, equations 6-8, 6-19, 6-20. Raises BuildError.
    """
    return strength.endurance_mpa(STEEL_MPA, diameter_mm) / NOTCH_FACTOR


def bending_limit_n(diameter_mm: float, overhang_mm: float) -> float:
    """Return the side load at which a shaft bends as hard as it may for good [N]. Raises BuildError."""
    require_positive("shaft", overhang_mm=overhang_mm)
    stress = to_si(endurance_mpa(diameter_mm), "mpa") / BENDING_SAFETY
    return stress * math.pi * to_si(diameter_mm, "mm") ** 3 / 32.0 / to_si(overhang_mm, "mm")


def bearing_limit_n(diameter_mm: float, speed_rpm: float) -> float:
    """Return the side load that the bearing behind the pulley bears for its life [N].

    `C/(60 n h/1e6)^(1/3)` over the lever. Source: ISO 281, ball bearings; ratings from memory. Raises BuildError.
    """
    require_positive("shaft", diameter_mm=diameter_mm)
    require_not_negative("shaft", speed_rpm=abs(speed_rpm))
    bore = max((each for each in BEARING_N if each <= diameter_mm), default=min(BEARING_N))
    rated_lives = max(convert(abs(speed_rpm), "rpm", "rev_per_s") * to_si(BEARING_LIFE_H, "h") / RATED_TURNS, 1.0)
    return BEARING_N[bore] / rated_lives ** (1.0 / 3.0) / LEVER_FACTOR


def estimated_limit_n(diameter_mm: float, overhang_mm: float, speed_rpm: float) -> float:
    """Return the side load a shaft bears by estimate: the lesser of bending and bearing [N]. Raises BuildError."""
    return min(bending_limit_n(diameter_mm, overhang_mm), bearing_limit_n(diameter_mm, speed_rpm))


def check_shaft(name: str, side_load_n: float, speed_rpm: float, width_mm: float, shaft: Shaft) -> ShaftCheck:
    """Judge the side load of a motor's shaft. Raises BuildError."""
    require_not_negative("shaft", side_load_n=side_load_n)
    out = overhang_mm(shaft, width_mm)
    needed = next((d for d in BEARING_N if estimated_limit_n(d, out, speed_rpm) >= side_load_n), None)
    limit, origin = shaft.side_load_limit_n, "stated"
    if limit is None:
        known = shaft.diameter_mm
        limit = None if known is None else estimated_limit_n(known, out, speed_rpm)
        origin = "" if limit is None else "estimate"
    verdict, reason = judge_side_load(side_load_n, limit, origin, needed, out)
    return ShaftCheck(name, side_load_n, out, limit, origin, needed, verdict, reason)


def judge_side_load(
    load_n: float, limit_n: float | None, limit_from: str, needed_mm: float | None, overhang_mm: float
) -> tuple[Verdict, str]:
    """Judge a side load: a stated limit stops, an estimate asks to look again, an unknown shaft hears what it needs."""
    place = f"{load_n:.0f} N, {overhang_mm:.0f} mm outside its bearing"
    wanted = "a bearing on both sides of the pulley" if needed_mm is None else f"a shaft of {needed_mm:g} mm or more"
    cure = f"by estimate it takes {wanted}"
    if limit_n is None:
        return "fine", f"{place}: not judged, the shaft's diameter and limit are not stated; {cure}"
    stated = limit_from == "stated"
    words = f"{place}, of {limit_n:.0f} N {'stated' if stated else 'by estimate'}"
    verdict, _ = held("shaft_load" if stated else "shaft_estimate", load_n, limit_n, words)
    return verdict, words if verdict == "fine" else f"{words}; {cure}, or carry the pulley on both sides"
