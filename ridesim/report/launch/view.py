"""Words and pictures of "how quick?"."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ridesim.bike.second import drives_of
from ridesim.report.text import shown
from ridesim.report.view import Table, View
from ridesim.ride.bounds import BY_NAME
from ridesim.ride.gears_held import overloads
from ridesim.units import told

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from ridesim.studies.launch import GradeSpeed, Launch, TimeTo

NAMED_LEFT_FROM = 0.65
"""From this share of the speed axis on, a bound's name is written to the left of the pull."""
NEAR_BOUND = 0.8
"""A push that takes this share of the tyre's bound is worth a word (guess)."""
ROOM = 1.25
"""Height of the force axis over the largest push."""


def view(result: Launch, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer as words and tables, and pictures where they are wanted."""
    return View(
        title=f"How quick is {result.loaded.build.name}?",
        question=f"Full throttle from rest on the level, {_rider(result, 'the rider pedalling along')}.",
        answer=tuple(line for line in _answer(result, units) if line),
        tables=(_times_table(result, units), _grades_table(result, units)),
        figures=_figures(result, units) if pictures else (),
        notes=tuple(told(each, units) for each in result.notes),
    )


def _answer(result: Launch, units: str) -> tuple[str, ...]:
    sprint = shown(result.sprint_m, "m", units, 0)
    return (
        *(_time_words(time, result, units) for time in result.times),
        f"{sprint} from rest take {result.sprint_s:.1f} s, {shown(result.sprint_end_km_h, 'km_h', units)} at their end."
        if result.sprint_s is not None
        else f"It does not cover {sprint} in the time given.",
        _top_words(result, units),
        _heat_words(result, units),
        f"The steepest start from rest is {result.steepest_start_percent:.0f} %, "
        f"{_rider(result, 'rider and motor together')}; it is held back by "
        f"{BY_NAME[result.steepest_start_held_by].words}.",
        _tyre_words(result, units),
        *(
            f"Mind the start: {_lower(each.reason)}"
            for each in overloads(result.run_up.figures, result.run_up.build, units)
        ),
    )


def _lower(sentence: str) -> str:
    return f"{sentence[0].lower()}{sentence[1:].rstrip('.')}; `ridesim ride` tells the motor current that they stand."


def _time_words(time: TimeTo, result: Launch, units: str) -> str:
    speed = shown(time.speed_km_h, "km_h", units, 0)
    if time.time_s is None:
        return (
            f"{speed} is not reached: the run ends at {shown(result.run_up_end_km_h, 'km_h', units)}, the winding at "
            f"{shown(result.run_up_end_winding_temp_c, 'c', units, 0)}."
        )
    return f"{speed} from rest in {time.time_s:.1f} s and {shown(time.distance_m, 'm', units, 0)}."


def _top_words(result: Launch, units: str) -> str:
    held, build = BY_NAME[result.top_speed_held_by].words, result.loaded.build
    more = "" if result.top_speed_settled else " (still gaining when patience ended)"
    full, half = (
        shown(speed, "km_h", units)
        for speed in (
            result.top_speed_cold_pedalled_start_charge_km_h, result.top_speed_cold_pedalled_half_charge_km_h
        )
    )  # fmt: skip
    charge, warm = build.pack.start_charge_fraction, shown(result.run_up_end_winding_temp_c, "c", units, 0)
    return (
        f"The top speed on the level, motor cold and {_rider(result, 'rider pedalling', 'alone')}, is {full} at "
        f"{charge:.0%} of charge{more}, held by {held}, and {half} at half charge; with its winding at {warm} "
        f"the run-up ends at {shown(result.run_up_end_km_h, 'km_h', units)}."
    )


def _rider(result: Launch, pedalling: str, alone: str = "the motor alone") -> str:
    return pedalling if result.loaded.build.rider.power_w > 0.0 else alone


def _heat_words(result: Launch, units: str) -> str:
    """Say where full throttle burns the winding: no run-up may end as if nothing were amiss."""
    limit = result.run_up_winding_limit_c
    if result.run_up_end_winding_temp_c <= limit:
        return ""
    hot, allowed = (shown(each, "c", units, 0) for each in (result.run_up_end_winding_temp_c, limit))
    return (
        f"Full throttle for so long burns the motor: the run-up ends with the winding at {hot}; {allowed} is allowed."
    )


def _tyre_words(result: Launch, units: str) -> str:
    """The driven tyre is held against what it pushes with itself: a front motor's tyre bears no pedal force."""
    rear = all(drive.drive.driven_wheel == "rear" for drive in drives_of(result.loaded.build))
    if result.loaded.build.second is not None and not rear:
        return _both_tyres(result, units)
    push = float((result.motor_force_n + (result.pedal_force_n if rear else 0.0)).max())
    slip_n = result.slip_force_n - (0.0 if rear else result.pedal_takes * float(result.pedal_force_n.max()))
    bound = min(slip_n, result.lift_force_n)
    what = "the tyre slips" if slip_n < result.lift_force_n else "the front wheel lifts"
    what = what if rear else "the front tyre slips"
    whose = "" if rear else "motor's "
    if not math.isfinite(bound):
        return ""
    reached, allowed = (shown(each, "n", units, 0) for each in (push, bound))
    if push > NEAR_BOUND * bound:
        return f"Mind the start: {what} at {allowed}, and the {whose}push reaches {reached}."
    return f"The {whose}push of {reached} stays well below the {allowed} at which {what} on the level."


def _both_tyres(result: Launch, units: str) -> str:
    """Two different drives of which one pulls in front: their push together against the grip of their wheels."""
    push, allowed = (shown(each, "n", units, 0) for each in (float(result.motor_force_n.max()), result.slip_force_n))
    if float(result.motor_force_n.max()) > NEAR_BOUND * result.slip_force_n:
        return f"Mind the start: the driven tyres slip at {allowed} together, and both motors' push reaches {push}."
    return f"Both motors' push of {push} stays well below the {allowed} at which their tyres slip on the level."


def _times_table(result: Launch, units: str) -> Table:
    head = ("to speed", "time", "distance")
    rows = tuple(
        (
            shown(time.speed_km_h, "km_h", units, 0),
            shown(time.time_s, "s", units),
            shown(time.distance_m, "m", units, 0),
        )
        for time in result.times
    )
    return Table("Standing start", head, rows)


def _grades_table(result: Launch, units: str) -> Table:
    head = ("grade", "fastest, for as long as the pull lasts", "starts from rest")
    rows = tuple(_grade_row(one, units) for one in result.speeds_on_grades if one.grade_percent > 0.0)
    return Table("On a hill", head, rows)


def _grade_row(one: GradeSpeed, units: str) -> tuple[str, str, str]:
    fastest = "-" if one.speed_km_h is None else shown(one.speed_km_h, "km_h", units)
    return (f"{one.grade_percent:g} %", fastest, "yes" if one.starts else "no")


def _figures(result: Launch, units: str) -> tuple[tuple[str, Figure], ...]:
    pull = (
        "Pull and resistance at the wheel against road speed: where they cross is the fastest speed on that grade; "
        "what lies between them accelerates"
    )
    above = [
        f"the {words} at {shown(force, 'n', units, 0)}"
        for force, words in _tyre_forces(result)
        if force > _height(result)
    ]
    pull += f". Above the picture: {', '.join(above)}" if above else ""
    return ((pull, draw_pull(result, units)), ("Speed from rest against time", draw_run_up(result, units)))


def _height(result: Launch) -> float:
    """Return where the force axis ends [N]."""
    return ROOM * max(float((result.motor_force_n + result.pedal_force_n).max()), 1.0)


def draw_pull(result: Launch, units: str = "metric") -> Figure:
    """Return tractive force against road speed with the road load of several grades, and the tyre's bounds."""
    from ridesim.report import style

    figure, (axes,) = style.new_figure(height_mm=105.0)
    speed = style.in_units(result.speed_km_h, "km_h", units)
    motor = style.in_units(result.motor_force_n, "n", units)
    push = style.in_units(result.motor_force_n + result.pedal_force_n, "n", units)
    top = float(style.in_units(_height(result), "n", units))
    for grade, load in zip(result.grades_percent, style.in_units(result.load_n, "n", units), strict=True):
        axes.plot(speed, load, color=style.FAINT, linewidth=1.1)
        _name_load(axes, speed, load, f"{grade:g} %", top)
    axes.plot(speed, np.maximum(motor, 0.0), color=style.COLOURS[1], linestyle="--")
    axes.plot(speed, np.maximum(push, 0.0), color=style.COLOURS[0], linewidth=2.4)
    for one in result.speeds_on_grades:
        if one.speed_km_h is not None and one.speed_km_h < result.speed_km_h[-1]:
            at = float(np.interp(one.speed_km_h, result.speed_km_h, push))
            axes.plot(
                [float(style.in_units(one.speed_km_h, "km_h", units))],
                [at],
                marker="o",
                markersize=6,
                color=style.INK,
                zorder=5,
            )
    _name_bounds(axes, result, speed, push)
    for force, words in _tyre_forces(result):
        if force <= _height(result):
            style.limit_line(axes, float(style.in_units(force, "n", units)), f"{words} (level)", at=0.98)
    style.key(
        axes,
        [
            ("motor and rider", style.COLOURS[0], "-"),
            ("motor", style.COLOURS[1], "--"),
            ("resistance", style.FAINT, "-"),
        ],
    )
    axes.set_xlim(0.0, float(speed[-1]))
    axes.set_ylim(0.0, top)
    axes.set_xlabel(style.quantity_label("speed_km_h", units))
    axes.set_ylabel(style.axis_label("force at the wheel", "n", units))
    return figure


def _tyre_forces(result: Launch) -> list[tuple[float, str]]:
    """Return the pushes that the tyres allow on the level [N], with their words."""
    both = ((result.slip_force_n, "tyre slips"), (result.lift_force_n, "front wheel lifts"))
    return [(force, words) for force, words in both if math.isfinite(force)]


def _name_load(axes: Axes, speed: NDArray[np.float64], load: NDArray[np.float64], words: str, top: float) -> None:
    """Write a grade at the end of its line, or where the line leaves the picture."""
    from ridesim.report import style

    inside = np.flatnonzero(load < 0.93 * top)
    if inside.size:
        at = min(int(inside[-1]), int(0.93 * len(speed)))
        style.tag(
            axes,
            float(speed[at]),
            float(load[at]),
            words,
            style.darker(style.FAINT),
            offset=(0.0, 2.0),
            align=("center", "bottom"),
        )


def _name_bounds(axes: Axes, result: Launch, speed: NDArray[np.float64], push: NDArray[np.float64]) -> None:
    """Write along the pull which bound holds it, once a stretch."""
    from ridesim.report import style

    start = 0
    for index in range(1, len(speed) + 1):
        if index < len(speed) and result.held_by[index] == result.held_by[start]:
            continue
        if index - start >= len(speed) // 12 and push[(start + index) // 2] > 0.0:
            middle = (start + index) // 2
            words = BY_NAME[result.held_by[start]].short
            place = (float(speed[middle]), float(push[middle]))
            if middle < NAMED_LEFT_FROM * len(speed):
                style.tag(axes, *place, words, style.COLOURS[0], offset=(3.0, 4.0))
            else:
                style.tag(axes, *place, words, style.COLOURS[0], offset=(-8.0, 0.0), align=("right", "center"))
        start = index


def draw_run_up(result: Launch, units: str = "metric") -> Figure:
    """Return speed against time from rest, with the speeds asked for."""
    from ridesim.report import style

    figure, (axes,) = style.new_figure()
    table = result.run_up.trace
    seconds = np.concatenate(([0.0], table["time_s"].to_numpy()))
    speed = np.concatenate(([0.0], np.asarray(style.in_units(table["speed_km_h"], "km_h", units))))
    reached = np.flatnonzero(speed >= 0.99 * speed.max())
    last = max(float(seconds[reached[0]]) * 1.15, 5.0)
    axes.plot(seconds, speed, color=style.COLOURS[0])
    for time in result.times:
        if time.time_s is not None:
            at = (time.time_s, float(style.in_units(time.speed_km_h, "km_h", units)))
            axes.plot(*[[value] for value in at], marker="o", color=style.INK, zorder=5)
            style.tag(axes, *at, f"{time.time_s:.1f} s", style.INK, offset=(6.0, -4.0), align=("left", "top"))
    if result.sprint_s is not None and result.sprint_end_km_h is not None:
        at = (result.sprint_s, float(style.in_units(result.sprint_end_km_h, "km_h", units)))
        axes.plot(*[[value] for value in at], marker="s", color=style.COLOURS[1], zorder=5)
        words = f"{shown(result.sprint_m, 'm', units, 0)} in {result.sprint_s:.1f} s"
        style.tag(axes, *at, words, style.COLOURS[1], offset=(-6.0, 4.0), align=("right", "bottom"))
    top = float(style.in_units(result.top_speed_cold_pedalled_start_charge_km_h, "km_h", units))
    style.limit_line(axes, top, "top speed, motor cold", at=0.98)
    axes.set_xlim(0.0, last)
    axes.set_ylim(0.0, 1.15 * max(float(speed.max()), top))
    axes.set_xlabel(style.quantity_label("time_s"))
    axes.set_ylabel(style.quantity_label("speed_km_h", units))
    return figure
