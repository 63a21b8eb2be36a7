"""Words of "does it cook on the climb?", for a ride and for the map of grade and speed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ridesim.report.spread.beside import sure_line
from ridesim.report.study_words import road_words
from ridesim.report.text import duration, shown
from ridesim.report.view import Table, View
from ridesim.ride.bounds import BY_NAME
from ridesim.ride.drives import SECOND as SECOND_DRIVE
from ridesim.ride.judge import FINE, STOP
from ridesim.ride.limits import ORDER
from ridesim.ride.quantities import SECOND
from ridesim.studies.climb import is_burnt
from ridesim.units import told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.studies.climb import Climb, ClimbPlace, LimitMet
    from ridesim.studies.climb_map import ClimbMap, Spot
    from ridesim.studies.rating import Rating

FELT_HELD_BACK_S = 5.0
"""Held back for less than this, a rider hardly notices (guess)."""
HOT_WORDS = (
    "A hot motor burns skin and can char what touches it; let it cool before you touch it. Local law decides what "
    "may be ridden on a public road."
)


def view(result: Climb, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer for one climb."""
    ride = result.ride
    return View(
        title=f"Does {ride.build.name} cook on {road_words(ride.road, units)}?",
        question=f"The climb is ridden at {shown(_cruise(result), 'km_h', units, 0)} where bends and bounds allow it.",
        answer=tuple(line for line in _answer(result, units) if line),
        verdict=result.verdict.word,
        heeds_chances=result.spread is not None,
        tables=(*_limits_table(result, units), _places_table(result, units)),
        figures=_climb_figures(result, units) if pictures else (),
        notes=(*(told(each, units) for each in result.warnings), *_two_drives(result), HOT_WORDS),
    )


def _two_drives(result: Climb) -> tuple[str, ...]:
    """What is told of two different drives: the one nearer to its limit, and no steady state."""
    if not result.drive:
        return ()
    return (
        f"Heat and bounds are those of the {result.drive}, whose winding comes nearer to its limit; the verdict heeds "
        "both (`ridesim ride` tells of each). Where the heat of an endless climb settles is told of one drive only.",
    )


def _cruise(result: Climb) -> float:
    return result.ride.options.cruise_speed_km_h or result.ride.build.rider.cruise_speed_km_h


TOLD_APART = ("winding", "magnets", "arrival", "time_on_a_bound")
"""Limits that have sentences of their own here."""


def _answer(result: Climb, units: str) -> tuple[str, ...]:
    lead = _lead(result, units)
    return (
        *lead,
        *_others(result, lead, units),
        sure_line(result.spread, _sure_of(result), units),
        _magnet_words(result, units),
        *(_limit_words(met, units) for met in result.limits if met.is_foldback or met.held_back_s > FELT_HELD_BACK_S),
        "" if result.foldbacks else "No temperature or voltage foldback takes any current.",
        _rest_words(result, units),
        _steady_words(result, units),
    )


def _sure_of(result: Climb) -> tuple[str, ...]:
    whose = SECOND if result.drive == SECOND_DRIVE else ""
    return f"{whose}peak_winding_temp_c", f"{whose}peak_body_temp_c"


def _lead(result: Climb, units: str) -> tuple[str, ...]:
    """The verdict's own reason first: a bike that stops for its cells is not told first that it does not cook."""
    heat, arrival = _heat_words(result, units), _arrival_words(result, units)
    if is_burnt(result) or result.verdict.word == FINE:
        return heat, arrival
    if arrival:
        return arrival, heat
    winding = {each.reason for each in result.verdict.findings if each.name == "winding"}
    reason = result.verdict.reasons[0]
    return (heat,) if reason in winding else (told(reason, units), heat)


def _others(result: Climb, lead: tuple[str, ...], units: str) -> tuple[str, ...]:
    """What else the judge does not find fine: cells that cook while the motor stays cool."""
    graver = [f for f in result.verdict.findings if f.verdict != FINE and f.name not in TOLD_APART]
    words = dict.fromkeys(told(each.reason, units) for each in sorted(graver, key=lambda f: -ORDER.index(f.verdict)))
    return tuple(each for each in words if each not in lead)


def _heat_words(result: Climb, units: str) -> str:
    peak, limit = (shown(t, "c", units, 0) for t in (result.peak_winding_temp_c, result.winding_limit_c))
    at = shown(result.peak_winding_at_km, "km", units)
    if not is_burnt(result):
        who = "Its motor" if _else_cooks(result) else "It"
        whose = f" ({result.drive})" if result.drive else ""
        return f"{who} does not cook: the hottest winding{whose} is {peak}, at {at}; {limit} is allowed."
    start = shown(result.winding_over_limit_from_km, "km", units)
    whose = f"the {result.drive}'s" if result.drive else "the"
    return (
        f"It cooks: {whose} winding passes {limit} at {start} and reaches {peak} at {at}, too hot for "
        f"{duration(result.winding_over_limit_s)}."
    )


def _else_cooks(result: Climb) -> bool:
    return any(f.name in ("cells_heat", "controller") and f.verdict == STOP for f in result.verdict.findings)


def _arrival_words(result: Climb, units: str) -> str:
    if result.arrived:
        return ""
    return f"It does not get up: at {shown(result.distance_km, 'km', units)} {result.stop_reason}."


def _magnet_words(result: Climb, units: str) -> str:
    if result.peak_body_temp_c <= result.magnet_limit_c:
        return ""
    peak, limit = (shown(t, "c", units, 0) for t in (result.peak_body_temp_c, result.magnet_limit_c))
    return f"The magnets reach {peak}; {limit} is allowed, and they may weaken for good."


def _limit_words(met: LimitMet, units: str) -> str:
    name = BY_NAME[met.name].words
    took = "takes current away" if met.is_foldback else "is met"
    head = f"{name[0].upper()}{name[1:]} {took} from {shown(met.first_at_km, 'km', units)} on, {duration(met.seconds)}"
    if met.slowest_km_h is None:
        return f"{head} in all."
    if met.slowest_km_h < 1.0:
        return f"{head} in all; at {shown(met.slowest_at_km, 'km', units)} no speed is left."
    left, wanted = shown(met.slowest_km_h, "km_h", units), shown(met.planned_km_h, "km_h", units)
    return f"{head} in all; {left} of the planned {wanted} is left at {shown(met.slowest_at_km, 'km', units)}."


def _rest_words(result: Climb, units: str) -> str:
    cool = shown(result.rest_to_c, "c", units, 0)
    if result.rest_min is None:
        return f"In this air no rest cools the motor to {cool}."
    if result.rest_min == 0.0 and result.rest_from_hottest_min == 0.0:
        return f"The motor stays below {cool}: it needs no rest."
    hottest = result.rest_from_hottest_min or 0.0
    return (
        f"Standing still, it cools to {cool} in {_minutes(result.rest_min)} from the end of the ride, in "
        f"{_minutes(hottest)} from its hottest."
    )


def _minutes(rest_min: float) -> str:
    return f"{rest_min:.0f} min" if rest_min >= 1.0 else "less than a minute"


def _steady_words(result: Climb, units: str) -> str:
    steady = result.steady
    if steady is None:
        return ""
    speed = shown(steady.speed_km_h, "km_h", units, 0)
    if not steady.exists or steady.winding_temp_c is None:
        return (
            f"Held for ever at {speed} this grade has no steady state: past "
            f"{steady.runaway_current_dc_equivalent_a:.0f} A (DC-equivalent) heat raises the resistance, which raises "
            "the heat, without end."
        )
    return (
        f"Held for ever at {speed}, no limit in the way, the winding would settle at "
        f"{shown(steady.winding_temp_c, 'c', units, 0)}."
    )


def _limits_table(result: Climb, units: str) -> tuple[Table, ...]:
    if not result.limits:
        return ()
    head = ("bound met", "first at", "time", "held back", "least speed", "there planned", "at")
    rows = tuple(
        (
            BY_NAME[met.name].short,
            shown(met.first_at_km, "km", units),
            duration(met.seconds),
            duration(met.held_back_s),
            shown(met.slowest_km_h, "km_h", units),
            shown(met.planned_km_h, "km_h", units),
            shown(met.slowest_at_km, "km", units),
        )
        for met in result.limits
    )
    return (Table("Bounds met while driving", head, rows),)


def _places_table(result: Climb, units: str) -> Table:
    head = ("at", "grade", "speed", "motor", "winding", "body", "controller", "bound")
    return Table("Along the road", head, tuple(_place_row(place, units) for place in result.places))


def _place_row(place: ClimbPlace, units: str) -> tuple[str, ...]:
    temps = (place.winding_temp_c, place.body_temp_c, place.controller_temp_c)
    return (
        shown(place.distance_km, "km", units),
        f"{place.grade_percent:.1f} %",
        shown(place.speed_km_h, "km_h", units),
        f"{place.motor_current_a:.0f} A",
        *(shown(temp, "c", units, 0) for temp in temps),
        "-" if place.limit == "none" else BY_NAME[place.limit].short,
    )


def _climb_figures(result: Climb, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.climb.figure import draw_climb

    return (("Heat and speed along the climb; shaded where a bound holds the speed down", draw_climb(result, units)),)


def map_view(result: ClimbMap, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer for the map of grade and speed."""
    best = [rating for rating in result.rating if rating.grade_percent is not None]
    return View(
        title=f"What can {result.loaded.build.name} hold for ever?",
        question=(
            "Every grade at every speed, from cold at "
            f"{shown(result.air_temp_c, 'c', units, 0)}: held for ever, or for how many minutes?"
        ),
        answer=tuple(line for line in _map_answer(result, best, units) if line),
        tables=(_rating_table(result, units), _minutes_table(result, units)),
        figures=_map_figures(result, units) if pictures else (),
        notes=(*(told(each, units) for each in result.loaded.warnings), *result.notes, _agreement(result), HOT_WORDS),
    )


def _map_answer(result: ClimbMap, best: list[Rating], units: str) -> tuple[str, ...]:
    if not best:
        return ("At none of these speeds can it hold even the level for ever.",)
    steepest = max(best, key=lambda rating: rating.grade_percent or 0.0)
    strongest = max(best, key=lambda rating: rating.shaft_power_w or 0.0)
    return (_rated_words(result.cruise_rating, units, "At its cruise speed of "),
            _rated_words(steepest, units, "Steepest, at "),
            f"Most power held for ever: {strongest.shaft_power_w:.0f} W at the shaft, at "
            f"{shown(strongest.speed_km_h, 'km_h', units, 0)} ({strongest.motor_current_a:.0f} A, winding "
            f"{shown(strongest.winding_temp_c, 'c', units, 0)}); more is held back by "
            f"{BY_NAME[strongest.held_back_by].words}.")  # fmt: skip


def _rated_words(rating: Rating, units: str, lead: str) -> str:
    head = f"{lead}{shown(rating.speed_km_h, 'km_h', units, 0)}"
    cause = BY_NAME[rating.held_back_by].words
    if rating.grade_percent is None and rating.held_back_by == "assist_speed":
        return f"{head} the motor does not drive at all: {cause}."
    if rating.grade_percent is None:
        return f"{head} not even the level is held for ever: {cause}."
    return (
        f"{head} it holds {rating.grade_percent:.1f} % for ever ({rating.shaft_power_w:.0f} W at the shaft); steeper "
        f"is held back by {cause}."
    )


def _rating_table(result: ClimbMap, units: str) -> Table:
    head = ("speed", "grade", "shaft", "pack", "torque", "motor", "winding", "body", "held back by")
    rows = tuple(
        (
            shown(rating.speed_km_h, "km_h", units, 0),
            shown(rating.grade_percent, "percent", units),
            shown(rating.shaft_power_w, "w", units, 0),
            shown(rating.pack_power_w, "w", units, 0),
            shown(rating.shaft_torque_nm, "nm", units),
            shown(rating.motor_current_a, "a", units, 0),
            shown(rating.winding_temp_c, "c", units, 0),
            shown(rating.body_temp_c, "c", units, 0),
            BY_NAME[rating.held_back_by].words,
        )
        for rating in result.rating
    )
    return Table("Continuous rating: the steepest grade held for ever", head, rows)


def _minutes_table(result: ClimbMap, units: str) -> Table:
    speeds = sorted({spot.speed_km_h for spot in result.spots})
    grades = sorted({spot.grade_percent for spot in result.spots})
    cells = {(spot.grade_percent, spot.speed_km_h): _cell(spot) for spot in result.spots}
    head = ("grade", *(shown(speed, "km_h", units, 0) for speed in speeds))
    rows = tuple((f"{grade:g} %", *(cells[grade, speed] for speed in speeds)) for grade in grades)
    return Table("How long from cold, or which bound is in the way", head, rows)


def _cell(spot: Spot) -> str:
    if math.isinf(spot.minutes):
        return "for ever"
    cause = BY_NAME[spot.ended_by].short if spot.ended_by in BY_NAME else spot.ended_by.replace("_", " ")
    if spot.minutes <= 0.0:
        return f"no, {cause}"
    words = f"{spot.minutes:.0f} min" if spot.minutes >= 10.0 else f"{spot.minutes:.1f} min"
    return f"{words}, {cause}"


def _agreement(result: ClimbMap) -> str:
    return (
        f"Where a ride settles, its winding is within {max(result.worst_disagreement_k, 0.005):.2f} K of the steady "
        "state in closed form."
    )


def _map_figures(result: ClimbMap, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.climb.figure import draw_map

    words = (
        "Minutes from cold until heat ends it: at the limit of winding, magnets or cells, or where a foldback takes "
        "speed (fold: the motor's; box fold: the controller's). Black lines: where the settled bike meets each of "
        "them; held for ever is what lies below all. Coloured lines: what a cold bike meets at once. Darker grey: a "
        "bound other than heat ends it after a while"
    )
    return ((words, draw_map(result, units)),)
