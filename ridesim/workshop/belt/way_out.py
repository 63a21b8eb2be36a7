"""What would carry it? Wider belts, larger pulleys and stronger profiles, each judged before it is told."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from ridesim.errors import RidesimError
from ridesim.ride.limits import FINE, LOOK_AGAIN, STOP
from ridesim.workshop.belt.layout import check_stage
from ridesim.workshop.belt.strength import BeltStage
from ridesim.workshop.belt.tables import belt_type

USUAL_WIDTHS_MM = {"3M": (6.0, 9.0, 15.0), "5M": (9.0, 15.0, 25.0), "8M": (20.0, 30.0, 50.0, 85.0)}
"""Widths that are commonly sold (from memory; ask the supplier)."""
STRONGER = {"3M": ("5M", "8M"), "5M": ("8M",)}
LARGEST_PULLEYS = 1.5
"""Pulleys are tried up to so much larger than they are: beyond that the wheel has no room (guess)."""
SAME_RATIO = 0.02
"""A pair of pulleys counts as the same gearing within this share (guess)."""


def ways_out(stage: BeltStage, torque_nm: float, speed_rpm: float) -> tuple[str, ...]:
    """Return what would carry a load for years, in words: one each of width, pulleys and profile, where there is one.

    Torque [N m] and speed [rpm] at the driver. Each was judged as `check_stage` judges, with as much more torque as
    its ratio may be off. Where none of a kind is fine, what a belt that is stopped would be looked at again for.
    """
    stopped = check_stage(stage, torque_nm, speed_rpm).verdict == STOP
    kinds = (_wider(stage), _larger(stage), _stronger(stage))
    return tuple(words for kind in kinds if (words := _best(kind, torque_nm, speed_rpm, stopped)))


def _best(tried: Iterator[tuple[BeltStage, str]], torque_nm: float, speed_rpm: float, stopped: bool) -> str:
    """Return the first that is fine; "" without one, unless the belt is stopped.

    Then the first that bears the pull for years, and is looked at again for another reason, else the last that is no
    stop.
    """
    strong = looked = ""
    for stage, words in tried:
        try:
            found = check_stage(stage, (1.0 + SAME_RATIO) * torque_nm, speed_rpm)
        except RidesimError:  # pulleys that do not fit between the shafts
            continue
        if found.verdict == FINE:
            return words
        if stopped and found.verdict == LOOK_AGAIN:
            looked = f"{words} (then look again: {found.reason.split('; ')[0]})"
            strong = strong or (looked if found.safety_factor >= 1.0 else "")
    return strong or looked


def ways_words(stage: BeltStage, torque_nm: float, speed_rpm: float) -> str:
    """Return what to do about a belt that is not fine, in words."""
    found = ways_out(stage, torque_nm, speed_rpm)
    return f"{', or '.join(found)}; or less torque" if found else "a wider belt of another make, or less torque"


def _widths(belt: str) -> tuple[float, ...]:
    return USUAL_WIDTHS_MM.get(belt_type(belt).name[:2], ())


def _wider(stage: BeltStage) -> Iterator[tuple[BeltStage, str]]:
    for width in _widths(stage.belt):
        if width > stage.width_mm:
            yield replace(stage, width_mm=width), f"a belt {width:g} mm wide"


def _larger(stage: BeltStage) -> Iterator[tuple[BeltStage, str]]:
    ratio = stage.teeth_driven / stage.teeth_driver
    for driver in range(stage.teeth_driver + 1, math.floor(LARGEST_PULLEYS * stage.teeth_driver) + 1):
        driven = round(driver * ratio)
        if abs(driven / driver / ratio - 1.0) <= SAME_RATIO:
            yield replace(stage, teeth_driver=driver, teeth_driven=driven), f"{driver} to {driven} teeth"


def _stronger(stage: BeltStage) -> Iterator[tuple[BeltStage, str]]:
    """Yield the next profiles on pulleys of about the same size, no smaller than the profile's least."""
    ratio, pitch = stage.teeth_driven / stage.teeth_driver, belt_type(stage.belt).pitch_mm
    for name in STRONGER.get(stage.belt, ()):
        kind = belt_type(name)
        driver = max(math.ceil(stage.teeth_driver * pitch / kind.pitch_mm), kind.least_teeth)
        driven = round(driver * ratio)
        if abs(driven / driver / ratio - 1.0) > SAME_RATIO:
            continue
        for width in _widths(name):
            made = BeltStage(driver, driven, stage.centre_mm, width, name)
            yield made, f"{driver} to {driven} teeth of {name} ({kind.pitch_mm:g} mm), {width:g} mm wide"
