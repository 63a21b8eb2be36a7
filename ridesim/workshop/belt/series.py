"""Two motors on one belt in series: the tension of every span, and a warning where one goes slack.

Sources: span tensions by the belt's elastic length balance (the shafts stand still, so what pulls add to the stretch
of some spans is taken from the others; textbook statics); slack-side share after an engineer's handbook, belt drives.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ridesim.workshop.belt.geometry import BeltPath, PulleySpot, belt_path
from ridesim.workshop.belt.layout import judge_least_teeth, judge_mesh, judge_pull
from ridesim.workshop.belt.strength import (
    FULL_MESH_TEETH,
    LOWEST_SLACK_SHARE,
    SERVICE_FACTOR,
    belt_capacity,
    belt_speed_m_per_s,
    effective_pull_n,
    safety_ratio,
    shaft_load_n,
)
from ridesim.workshop.belt.tables import belt_type
from ridesim.workshop.belt.tension import TensionSetting, tension_setting
from ridesim.workshop.limits import (
    Verdict,
    held,
    load_profile,
    load_time,
    require_between,
    require_finite_load,
    require_not_negative,
    worst_verdict,
)


@dataclass(frozen=True)
class SeriesLayout:
    """Two motors inside one belt loop. Driving, the belt leaves the wheel's pulley for `first`, then `second`."""

    wheel: PulleySpot
    first: PulleySpot
    second: PulleySpot
    width_mm: float
    belt: str = "5M"


@dataclass(frozen=True)
class Span:
    """One free length of belt. A negative `tension_n` means that it hangs slack, short of that much pre-tension."""

    name: str
    length_mm: float
    tension_n: float


@dataclass(frozen=True)
class PulleyLoad:
    """One pulley of a loop under its own pull."""

    name: str
    wrap_deg: float
    teeth_in_mesh: float
    pull_n: float
    allowed_pull_n: float
    safety_factor: float
    shaft_load_n: float


@dataclass(frozen=True)
class SeriesCheck:
    """Two motors on one belt: every span's tension and every pulley's load."""

    belt_length_mm: float
    belt_teeth: float
    spans: tuple[Span, ...]
    pulleys: tuple[PulleyLoad, ...]
    loosest_span: str
    loosest_tension_n: float
    tightest_tension_n: float
    pretension_n: float
    needed_pretension_n: float
    most_pretension_n: float
    settings: tuple[TensionSetting, ...]
    warnings: tuple[str, ...]
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class SeriesRide:
    """The spans of two motors on one belt along a ride, at their loosest."""

    span_names: tuple[str, ...]
    span_lowest_n: tuple[float, ...]
    loosest_span: str
    loosest_tension_n: float
    loosest_at_s: float
    share_of_time_slack: float
    needed_pretension_n: float
    verdict: Verdict
    reason: str


def check_motors_in_series(
    layout: SeriesLayout,
    first_torque_nm: float,
    second_torque_nm: float,
    pretension_n: float,
    *,
    slack_share: float = LOWEST_SLACK_SHARE,
    base_service_factor: float = SERVICE_FACTOR,
    speed_rpm: float = 0.0,
) -> SeriesCheck:
    """Find every span's tension with two motors on one belt, and warn of a span that goes slack.

    The belt leaves each motor looser by that motor's pull and the wheel tighter by both; the level follows from the
    belt's constant length, sum(tension x span) = pre-tension x sum(span), arcs left out. So a first motor that does
    all the work empties the span between the motors as much as the one behind them. `slack_share` of the largest
    difference of tensions is asked to remain, and the tightest span stays within what the belt may carry. `speed_rpm`
    is the first motor's; it takes the belt's centrifugal part. Source: textbook statics; 10 to 30 % after an
    engineer's handbook. Raises BuildError, RideError.
    """
    require_finite_load("belt", first_torque_nm=first_torque_nm, second_torque_nm=second_torque_nm)
    require_not_negative("belt", pretension_n=pretension_n)
    require_between("belt", "slack_share", slack_share, 0.0, 1.0)
    spots, path, names = _loop(layout)
    pitch = belt_type(layout.belt).pitch_mm
    pulls = (
        effective_pull_n(first_torque_nm, layout.first.teeth, pitch),
        effective_pull_n(second_torque_nm, layout.second.teeth, pitch),
    )
    steps = (0.0, -pulls[0], -pulls[0] - pulls[1])
    level = sum(step * length for step, length in zip(steps, path.span_mm, strict=True)) / sum(path.span_mm)
    spans = tuple(
        Span(name, length, pretension_n + step - level)
        for name, length, step in zip(names, path.span_mm, steps, strict=True)
    )
    wanted = slack_share * (max(steps) - min(steps))
    speed = belt_speed_m_per_s(speed_rpm, layout.first.teeth, pitch)
    capacity = belt_capacity(layout.belt, layout.width_mm, FULL_MESH_TEETH, speed).allowed_pull_n
    loads = _pulley_loads(layout, spots, path, (pulls[0] + pulls[1], *pulls), base_service_factor, spans, speed)
    warnings = tuple(_slack_words(span, wanted) for span in spans if span.tension_n < wanted)
    verdict, reason = _series_verdict(layout, spans, loads, wanted, base_service_factor, capacity, pretension_n)
    loosest = min(spans, key=lambda span: span.tension_n)
    return SeriesCheck(
        belt_length_mm=path.length_mm,
        belt_teeth=path.belt_teeth,
        spans=spans,
        pulleys=loads,
        loosest_span=loosest.name,
        loosest_tension_n=loosest.tension_n,
        tightest_tension_n=max(steps) - min(steps) + max(0.0, loosest.tension_n),
        pretension_n=pretension_n,
        needed_pretension_n=wanted + level - min(steps),
        most_pretension_n=max(0.0, capacity + level - max(steps)),
        settings=tuple(tension_setting(layout.belt, layout.width_mm, each, pretension_n) for each in path.span_mm),
        warnings=warnings,
        verdict=verdict,
        reason=reason,
    )


def _slack_words(span: Span, wanted_n: float) -> str:
    state = "goes slack" if span.tension_n <= 0.0 else "is loose"
    return f"the span {span.name} {state}: {span.tension_n:.0f} N, {wanted_n:.0f} N wanted; tighten the belt"


def _series_verdict(
    layout: SeriesLayout,
    spans: tuple[Span, ...],
    loads: tuple[PulleyLoad, ...],
    wanted_n: float,
    service: float,
    allowed_n: float,
    pretension_n: float,
) -> tuple[Verdict, str]:
    findings = []
    for span in spans:
        words = _slack_words(span, wanted_n)
        findings += [
            held("belt_empty", span.tension_n, 0.0, words),
            held("belt_slack", span.tension_n, wanted_n, words),
        ]
    for load in loads:
        judged = (judge_pull(load.pull_n, load.allowed_pull_n, service), judge_mesh(load.teeth_in_mesh))
        findings += [(verdict, f"{load.name}: {words}") for verdict, words in judged]
    fewest = min(layout.wheel.teeth, layout.first.teeth, layout.second.teeth)
    findings += [judge_least_teeth(layout.belt, fewest), judge_tightest(spans, pretension_n, allowed_n)]
    return worst_verdict(findings, "every span stays tight and every pulley within its pull")


def judge_tightest(spans: tuple[Span, ...], pretension_n: float, allowed_n: float) -> tuple[Verdict, str]:
    """Judge the tightest span, as `judge_tension` does the tight side of two pulleys."""
    tight = max(spans, key=lambda span: span.tension_n)
    words = f"the span {tight.name} is pulled by {tight.tension_n:.0f} N of {allowed_n:.0f} N allowed; slacken the belt"
    findings = [
        held("belt_tension", pretension_n, allowed_n, words),
        held("belt_tight", tight.tension_n, allowed_n, words),
    ]
    return worst_verdict(dict.fromkeys(findings), words)


def _loop(layout: SeriesLayout) -> tuple[tuple[PulleySpot, PulleySpot, PulleySpot], BeltPath, tuple[str, ...]]:
    """Pulleys in belt order, where the belt runs, and the names of its spans."""
    wheel, first, second = _counter_clockwise(layout)
    path = belt_path((wheel, first, second), belt_type(layout.belt).pitch_mm)
    ends = ((wheel, first), (first, second), (second, wheel))
    return (wheel, first, second), path, tuple(f"{start.name} to {end.name}" for start, end in ends)


def series_along_ride(
    layout: SeriesLayout,
    time_s: ArrayLike,
    first_torque_nm: ArrayLike,
    second_torque_nm: ArrayLike,
    pretension_n: float,
    *,
    slack_share: float = LOWEST_SLACK_SHARE,
) -> SeriesRide:
    """Return how loose each span of two motors on one belt gets along a ride, one pair of torques a sample.

    The statics of `check_motors_in_series` at every sample; a tooth can climb where a span beside its pulley is slack
    (an estimate, common practice, no source). Source: textbook statics. Raises BuildError, RideError.
    """
    times, first, second = load_profile(
        "belt.ride", time_s=time_s, first_torque_nm=first_torque_nm, second_torque_nm=second_torque_nm
    )
    load_time("belt.ride", times)
    require_not_negative("belt", pretension_n=pretension_n)
    require_between("belt", "slack_share", slack_share, 0.0, 1.0)
    _, path, names = _loop(layout)
    pitch = belt_type(layout.belt).pitch_mm
    first_pull = first * effective_pull_n(1.0, layout.first.teeth, pitch)
    second_pull = second * effective_pull_n(1.0, layout.second.teeth, pitch)
    steps = np.stack([np.zeros_like(first_pull), -first_pull, -first_pull - second_pull])
    level = np.asarray(path.span_mm) @ steps / sum(path.span_mm)
    tensions = pretension_n + steps - level
    wanted = slack_share * (steps.max(axis=0) - steps.min(axis=0))
    span, worst = np.unravel_index(int(np.argmin(tensions)), tensions.shape)
    steps_s = np.append(np.diff(times), 0.0)
    slack = (tensions < 0.0).any(axis=0)
    needed = float(np.max(wanted + level - steps.min(axis=0)))
    lowest = float(tensions[span, worst])
    where = f"{names[span]} keeps {lowest:.0f} N at {times[worst]:.1f} s"
    findings = [held("belt_empty", lowest, 0.0, where), held("belt_slack", pretension_n, needed, where)]
    verdict, _ = worst_verdict(findings, where)
    return SeriesRide(
        span_names=names,
        span_lowest_n=tuple(float(each) for each in tensions.min(axis=1)),
        loosest_span=names[span],
        loosest_tension_n=lowest,
        loosest_at_s=float(times[worst]),
        share_of_time_slack=float(np.sum(steps_s[slack]) / np.sum(steps_s)),
        needed_pretension_n=needed,
        verdict=verdict,
        reason=f"{where}; a pre-tension of {needed:.0f} N would do",
    )


def _counter_clockwise(layout: SeriesLayout) -> tuple[PulleySpot, PulleySpot, PulleySpot]:
    """The loop in belt order, mirrored when it was drawn from the other side of the bike."""
    spots = (layout.wheel, layout.first, layout.second)
    (ax, ay), (bx, by), (cx, cy) = ((spot.x_mm, spot.y_mm) for spot in spots)
    if (bx - ax) * (cy - ay) - (by - ay) * (cx - ax) >= 0.0:
        return spots
    wheel, first, second = (PulleySpot(spot.name, spot.teeth, spot.x_mm, -spot.y_mm) for spot in spots)
    return wheel, first, second


def _pulley_loads(
    layout: SeriesLayout,
    spots: tuple[PulleySpot, PulleySpot, PulleySpot],
    path: BeltPath,
    pulls_n: tuple[float, float, float],
    service: float,
    spans: tuple[Span, ...],
    speed_m_per_s: float,
) -> tuple[PulleyLoad, ...]:
    loads: list[PulleyLoad] = []
    arriving = (spans[-1], *spans[:-1])
    rows = zip(spots, path.wrap_deg, path.teeth_in_mesh, pulls_n, arriving, spans, strict=True)
    for spot, wrap, mesh, pull, come, out in rows:
        allowed = belt_capacity(layout.belt, layout.width_mm, mesh, speed_m_per_s).allowed_pull_n
        shaft = shaft_load_n(max(0.0, come.tension_n), max(0.0, out.tension_n), wrap)
        margin = safety_ratio(allowed, abs(pull) * service)
        loads.append(PulleyLoad(spot.name, wrap, mesh, abs(pull), allowed, margin, shaft))
    return tuple(loads)
