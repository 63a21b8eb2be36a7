"""Words that a study's tables and pictures share."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

from ridesim.ride.ledger import BOOK
from ridesim.units import shown, told

if TYPE_CHECKING:
    from ridesim.bike.schema import Build
    from ridesim.road.profile import Road
    from ridesim.studies.reach import Reach
    from ridesim.studies.regen import Regen, RegenCase

AS_IT_STANDS = (
    "Verdicts are of the bike exactly as it stands. `ridesim ride`, `spread` and `climb`, and comparisons without "
    "--quick, weigh how unsure its numbers are too: a bike that is fine here can be one to look at again there."
)
"""Said by every command that judges a build without its tolerances."""

LOSS_WORDS = {line.name: line.words for line in BOOK.values() if line.by_build}

NEARER_WORDS = (
    "Of two different drives the heat told is that of the one whose winding comes nearer to its limit; verdicts heed "
    "both (`ridesim ride` tells of each)."
)


def nearer_words(builds: Iterable[Build]) -> tuple[str, ...]:
    """Return whose heat is told, where a bike has two different drives."""
    return (NEARER_WORDS,) if any(build.second is not None for build in builds) else ()


MADE_CLIMB = re.compile(r"[\d.]+ % for [\d.]+ km")
"""What a road is called that is a grade and a length, no more."""

RETURNED, ON_THE_WAY = "back in the pack", "heat in drive, motor and controller"


def road_words(road: Road, units: str = "metric") -> str:
    """Return a road's name; that of a climb made for a question is told in the units asked for."""
    return road_words_of(road.name, units)


def road_words_of(name: str, units: str = "metric") -> str:
    """Return a road's name, in the units asked for where it is one that a question made."""
    return told(name, units) if MADE_CLIMB.fullmatch(name) else name


def condition_words(result: Reach, condition: str, units: str = "metric") -> str:
    """Return a condition in words."""
    cold = shown(result.cold_c, "c", units, 0)
    capacity, resistance = result.aged or (1.0, 1.0)
    words = {
        "as_built": "as built",
        "cold_day": f"day at {cold}, pack from indoors",
        "cold": f"day and pack at {cold}",
        "aged": f"aged pack ({capacity:.0%} capacity, {resistance:g} x resistance)",
        "cold_and_aged": f"aged pack, day and pack at {cold}",
    }
    return words[condition]


def destinations(case: RegenCase) -> dict[str, float]:
    """Return where the braking energy of a ride went [Wh], by words."""
    found = {RETURNED: case.with_regen.returned_wh, ON_THE_WAY: case.heat_on_the_way_wh}
    for cause in case.causes:
        found[f"friction: {cause.words}"] = cause.friction_wh
    return found


def all_destinations(result: Regen) -> list[str]:
    """Return every destination of any case, in the order of the first case, then of the others."""
    return list(dict.fromkeys(name for case in result.cases for name in destinations(case)))
