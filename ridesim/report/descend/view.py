"""Heat of the brakes on the way down, as words, tables and pictures."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from ridesim.report.view import Table, View
from ridesim.ride.judge import FINE, LOOK_AGAIN, STOP, worst
from ridesim.ride.limits import ORDER
from ridesim.studies.descend import Descend, DescendCase
from ridesim.studies.regen import ROOM_CHARGE
from ridesim.units import shown, told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

CAUTIONS = (
    "Never touch a disc or a rim after a descent. Fade comes without warning: keep a hand's force in reserve, stop and "
    "cool both brakes before the steepest part, and do not count on regen: a full pack, a cold pack or a fault takes "
    "it away at once.",
    "Brakes are safety parts: local law and a qualified mechanic decide what may be fitted.",
)
SOURCE_WORDS = (
    "One lump a brake; cooling of a disc after Limpert (from memory), of a rim as a plate, both off by a factor of two "
    "or more: `brakes.front.cooling_factor` sets it. Fluid boils at 155 °C wet for DOT 4, 180 °C for DOT 5.1 (FMVSS "
    "116): the caliper is cooler than the disc. Left out: fade, the pads' own heat, rain."
)


def view(result: Descend, units: str = "metric", *, pictures: bool = True) -> View:
    """Return how hot the brakes get, as built, from a full pack and without regen, and by speed."""
    return View(
        title=f"Down {result.road.name} with {result.loaded.build.name}",
        question="Do the friction brakes get too hot on the way down, with regen and without?",
        answer=(
            f"{told(result.reason, units)}.",
            *_way_words(result, units),
            *_room_words(result, units),
            *_speed_words(result, units),
            *_guess_words(result),
            *_other_words(result, units),
        ),
        verdict=result.verdict,
        tables=(_cases(result, units), _speeds(result, units)),
        figures=_figures(result, units) if pictures else (),
        notes=(*(told(each, units) for each in result.warnings), told(SOURCE_WORDS, units), *CAUTIONS),
    )


def _way_words(result: Descend, units: str) -> list[str]:
    if not result.turned_round:
        return []
    altitude = result.road.altitude_m
    return [f"The road goes up by {shown(float(altitude[0] - altitude[-1]), 'm', units, 0)}: it is ridden back, down."]


def _room_words(result: Descend, units: str) -> list[str]:
    """What room in the pack does for brakes that get too hot: charge less at the top, or nothing gained by it."""
    room, own = result.room, result.cases[0]
    if room is None or all(each.verdict == FINE for each in own.findings):
        return []
    hot = room.heat.hottest
    if hot is None:
        return []
    reached = f"the {hot.wheel} {hot.kind} reaches {shown(hot.hottest_c, 'c', units, 0)}"
    takes = f"regen returns {room.returned_wh:.0f} Wh instead of {own.returned_wh:.0f}"
    word = worst(each.verdict for each in room.findings)
    milder = ORDER.index(word) < ORDER.index(worst(each.verdict for each in own.findings))
    helps = "start down with that much room in the pack" if milder else "room in the pack is not enough"
    if milder and STOP in {each.verdict for case in result.cases[1:2] for each in case.findings}:  # from a full pack
        helps += ", every time; for the day on which it is full take brakes that hold without it"
    return [f"Started with {ROOM_CHARGE:.0%} of charge {takes}, and {reached} ({word}): {helps}."]


def _guess_words(result: Descend) -> list[str]:
    if not result.guessed:
        return []
    return [
        "The build does not state its brakes: discs of 180 mm are a guess. Fill in [brakes.front] and [brakes.rear]."
    ]


def _other_words(result: Descend, units: str) -> list[str]:
    """What else than their brakes the whole rides are judged by, said once where the ways down agree."""
    found: dict[str, list[str]] = {}
    for case in result.cases:
        for reason in (each for each in case.reasons if each not in {f.reason for f in case.findings}):
            found.setdefault(told(reason, units), []).append(case.name)
    return [f"Of the whole ride ({', '.join(names)}): {reason}" for reason, names in found.items()]


def _speed_words(result: Descend, units: str) -> list[str]:
    if not result.speeds or not result.cases[0].heat.brakes:
        return []
    fine = result.fine_speeds_km_h
    worst = result.worst_speed_km_h
    lines = []
    if worst is not None and result.cases[-1].heat.friction_wh > 0.0:
        lines.append(f"Without regen they get hottest at a cruise speed of {shown(worst, 'km_h', units, 0)}.")
    if len(fine) == len(result.speeds):
        low, high = (shown(each, "km_h", units, 0) for each in (fine[0], fine[-1]))
        lines.append(f"They stay cool enough at every speed tried, from {low} to {high}.")
    elif fine:
        tried = [each.speed_km_h for each in result.speeds]
        lines.append(f"They stay cool enough at {_stretches(fine, tried, units)}, of the speeds tried without regen.")
    elif near := [each.speed_km_h for each in result.speeds if each.finished and each.verdict == LOOK_AGAIN]:
        tried = [each.speed_km_h for each in result.speeds]
        where = _stretches(near, tried, units)
        lines.append(f"Only at {where} do they stay below their limit, and near it: let them cool on the way.")
    elif any(each.finished for each in result.speeds):
        lines.append("They stay cool enough at none of the speeds tried: stop on the way and let them cool.")
    else:
        lines.append("At none of the speeds tried does it arrive: what the brakes bear on the whole way is not told.")
    return lines


def _stretches(fine: Sequence[float], tried: Sequence[float], units: str) -> str:
    """Return speeds as stretches of neighbours among those that were tried: "up to 17 km/h, and 40 km/h"."""
    places = [tried.index(each) for each in fine]
    runs = [list(run) for _, run in groupby(places, key=lambda place: place - places.index(place))]
    words = []
    for run in runs:
        low, high = (shown(tried[at], "km_h", units, 0) for at in (run[0], run[-1]))
        words.append(low if len(run) == 1 else f"up to {high}" if run[0] == 0 else f"{low} to {high}")
    return " and ".join(words)


def _cases(result: Descend, units: str) -> Table:
    rows = tuple(
        (case.name, *_hot(case, units), _energy(case.heat.friction_wh), _energy(case.returned_wh), case_words(case))
        for case in (*result.cases, *(() if result.room is None else (result.room,)))
    )
    head = ("way down", "front hottest", "rear hottest", "friction", "returned", "whole ride")
    return Table("On the road", head, rows)


def _energy(value_wh: float) -> str:
    return f"{value_wh:.1f} Wh"


def case_words(case: DescendCase) -> str:
    """Return the verdict of a whole ride, and where it ended."""
    return case.verdict if case.finished else f"{case.verdict}: {case.stop_reason}"


def _hot(case: DescendCase, units: str) -> tuple[str, str]:
    cells = {each.wheel: each for each in case.heat.brakes}
    return tuple(  # type: ignore[return-value]
        f"{shown(each.hottest_c, 'c', units, 0)} at {shown(each.hottest_at_km, 'km', units)}" if each else "-"
        for each in (cells.get("front"), cells.get("rear"))
    )


def _speeds(result: Descend, units: str) -> Table:
    rows = tuple(
        (
            shown(each.speed_km_h, "km_h", units, 0),
            f"{shown(each.hottest_c, 'c', units, 0)} ({each.wheel})",
            shown(each.limit_c, "c", units, 0),
            each.verdict if each.finished else f"{each.verdict}; does not arrive",
        )
        for each in result.speeds
        if each.wheel != "none"
    )
    return Table("Cruise speeds, without regen", ("cruise speed", "nearest its limit", "limit", "brakes"), rows)


def _figures(result: Descend, units: str) -> tuple[tuple[str, Figure], ...]:
    if not result.cases[0].heat.brakes:
        return ()
    from ridesim.report.descend.figure import draw_along, draw_speeds

    return (
        ("Temperature of the brakes along the road", draw_along(result, units)),
        ("Hottest brake by cruise speed, without regen", draw_speeds(result, units)),
    )
