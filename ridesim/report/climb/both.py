"""Words of "what can it hold?" of a bike of two different drives: a table of rides in place of one motor's map."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ridesim.report.climb.view import HOT_WORDS
from ridesim.report.study_words import AS_IT_STANDS
from ridesim.report.text import shown
from ridesim.report.view import Table, View
from ridesim.ride.bounds import BY_NAME, STOP_WORDS
from ridesim.studies.held_by_both import HELD_SHARE, LOOK_S, held_by_both
from ridesim.studies.steady import HALF_CHARGE
from ridesim.units import from_si, told

if TYPE_CHECKING:
    from ridesim.bike.load import LoadedBuild
    from ridesim.studies.held_by_both import HeldSpot

HEAT_WORDS = {
    "winding": "its winding is too hot",
    "magnets": "its magnets are too hot",
    "cells": "the cells are too hot",
}
STOPS = {code.name.lower(): words for code, words in STOP_WORDS.items()}
LONG_MIN = from_si(LOOK_S, "min")


def view(
    spots: Sequence[HeldSpot], loaded: LoadedBuild, charge: float, units: str = "metric", *, pictures: bool = True
) -> View:
    """Return for how long both drives together hold round grades at round speeds. No pictures."""
    build = loaded.build
    air = shown(build.weather.temperature_c, "c", units, 0)
    return View(
        title=f"What can {build.name} hold?",
        question=(
            f"Each grade at each speed is ridden with both drives, from cold at {air}, for up to {LONG_MIN:.0f} min: "
            "until a winding, magnets or cells pass their limit, or the speed is not held."
        ),
        answer=(
            _at_cruise(spots, build.rider.cruise_speed_km_h, units),
            *(_speed_words(spots, speed, units) for speed in dict.fromkeys(one.speed_km_h for one in spots)),
        ),
        tables=(_table(spots, units),),
        notes=(
            *(told(each, units) for each in loaded.warnings),
            f"The pack is held at {charge:.0%} of charge, the air still, the rider pedals {build.rider.power_w:g} W. "
            f"A speed counts as held down to {HELD_SHARE:.0%} of it. The map of one motor has a closed form beside its "
            "rides; of two there are the rides alone (`ridesim climb BUILD ROAD` for a road of yours).",
            AS_IT_STANDS,
            HOT_WORDS,
        ),
    )


def held_view(loaded: LoadedBuild, units: str = "metric") -> View:
    """Ride what both drives hold, the pack at half charge, and return the answer."""
    return view(held_by_both(loaded), loaded, HALF_CHARGE, units)


def _at_cruise(spots: Sequence[HeldSpot], cruise_km_h: float, units: str) -> str:
    """Return what it holds at the ridden speed that is nearest to its cruise speed, first of all."""
    near = min((one.speed_km_h for one in spots), key=lambda speed: abs(speed - cruise_km_h))
    cruise, at = (shown(speed, "km_h", units, 0) for speed in (cruise_km_h, near))
    first = f"At its cruise speed of {cruise}"
    if near != cruise_km_h:
        first = f"Nearest to its cruise speed of {cruise}: at {at}"
    return first + _speed_words(spots, near, units).removeprefix(f"At {at}")


def _speed_words(spots: Sequence[HeldSpot], speed: float, units: str) -> str:
    """Return the steepest grade that is held at a speed, and what ends the next one."""
    mine = sorted((one for one in spots if one.speed_km_h == speed), key=lambda one: one.grade_percent)
    first = next((at for at, one in enumerate(mine) if math.isfinite(one.minutes)), len(mine))
    at = shown(speed, "km_h", units, 0)
    held = f"At {at} it holds {mine[first - 1].grade_percent:g} %" if first else f"At {at} it does not hold even 2 %"
    if first == len(mine):
        return f"{held}, the steepest that was asked."
    return f"{held}; {mine[first].grade_percent:g} % {_minutes_words(mine[first])}, {_why(mine[first])}."


def _minutes_words(one: HeldSpot) -> str:
    return f"for {one.minutes:.0f} min" if one.minutes >= 1.0 else "not at all"


def _why(one: HeldSpot) -> str:
    whose = f"{one.drive}: " if one.drive else ""
    words = HEAT_WORDS.get(one.ended_by) or STOPS.get(one.ended_by) or BY_NAME[one.ended_by].words
    return f"{whose}{words}"


def _table(spots: Sequence[HeldSpot], units: str) -> Table:
    speeds = list(dict.fromkeys(one.speed_km_h for one in spots))
    by_place = {(one.grade_percent, one.speed_km_h): one for one in spots}
    rows = tuple(
        (f"{grade:g} %", *(_cell(by_place[grade, speed]) for speed in speeds))
        for grade in dict.fromkeys(one.grade_percent for one in spots)
    )
    head = ("grade", *(shown(speed, "km_h", units, 0) for speed in speeds))
    return Table("Minutes held from cold; long: longer than was looked", head, rows)


def _cell(one: HeldSpot) -> str:
    if math.isinf(one.minutes):
        return "long"
    return f"{one.minutes:.0f}" if one.minutes >= 1.0 else "-"
