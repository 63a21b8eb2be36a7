"""How long the next step is: one rule, by the error that the last one made.

A step holds its command and takes it at its middle, so it is exact while currents and accelerations rise and fall in
straight lines. What a step misses is how far its middle lies off the line through the middles before it; the step's
error is an eighth of that at worst (a corner inside it), a twenty-fourth in smooth riding. So the step is as long as
that miss stays within what the accuracy allows: seconds on steady stretches, milliseconds where a limit, braking or a
stop starts or ends. No event is looked for; one that jumps is closed in on until the step is as short as it gets.

Peaks are asked much closer: a current near the highest so far must be met at its top. Heat moves fastest at a
standstill, so the temperatures expected at the step's middle count too.

Legend: lengths of steps in s, currents in A, accelerations in m/s2, `rate` a change per second; `slope` likewise.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from ridesim.engine.asks import holds_motor_current, holds_pack_current
from ridesim.engine.command import is_obeyed
from ridesim.engine.pair import Second, SecondPull, SecondState, SecondTrend
from ridesim.engine.second import no_second_trend
from ridesim.engine.state import Outcome, Parameters, Pull, State, Total
from ridesim.jit import if_none, inner_kernel


class Pacing(NamedTuple):
    """What a step may miss, and how long and short it may be."""

    tolerance: float  # share of a current; of `MISSED_ACCELERATION`; of `MISSED_KELVIN`
    at_peaks: float  # share of a current near the highest so far
    longest: float  # [s]
    shortest: float  # [s]
    shortest_known: float  # the same where something is known to happen at its start: nothing to close in on [s]


DRAFT = Pacing(tolerance=0.2, at_peaks=5e-3, longest=4.0, shortest=1e-2, shortest_known=1e-1)
NORMAL = Pacing(tolerance=0.06, at_peaks=1e-3, longest=2.0, shortest=2e-3, shortest_known=2e-2)
FINE = Pacing(tolerance=0.004, at_peaks=2e-4, longest=0.5, shortest=4e-4, shortest_known=4e-3)
ACCURACIES = {"draft": DRAFT, "normal": NORMAL, "fine": FINE}
"""For people: searches (1 %, 1 K), answers (0.1 %, 0.1 K), and a reference (0.01 %)."""

STEPPED = Pacing(tolerance=0.03, at_peaks=1.5e-3, longest=0.1, shortest=3e-3, shortest_known=3e-2)
"""A ride paced `by_step` of 0.1 s."""


def by_step(step: float) -> Pacing:
    """Return a pacing by its longest step [s]: every allowance falls with its square, so rides converge with it."""
    per = step / STEPPED.longest
    share = per * per
    return Pacing(
        tolerance=STEPPED.tolerance * share,
        at_peaks=STEPPED.at_peaks * share,
        longest=step,
        shortest=min(STEPPED.shortest * share, 0.1 * step),
        shortest_known=STEPPED.shortest_known * per,
    )


MISSED_ACCELERATION = 0.4
"""Acceleration of which the tolerance is a share [m/s2]: a gentle start."""

MISSED_KELVIN = 4.0
"""Temperature of which the tolerance is a share [K]."""

SMALL_CURRENT = 0.05
"""A current below this share of the highest so far is held as if it were that large."""

NEAR_A_PEAK = 0.92
"""A current above this share of the highest so far counts as near it: further off than a tolerance, so that a step over
the top cannot fall below it unseen."""

SEEN_BEFORE = 1.0 + 1e-6
"""A current that was expected to rise above the highest so far by less hides no higher top: it lay at a limit."""

LEAVING_A_LIMIT = 0.1
"""Share of the tolerance for a current that leaves such a limit."""

COMING_TO_A_LIMIT = 0.3
"""The same for one that comes to a limit of its own: nothing above it was passed unseen."""

SAFETY = 0.7
"""The next step aims at an error below what is allowed, so that few are taken again."""

GROWTH, SHRINKAGE = 2.5, 0.15
"""Most and least of the last step's length that the next one has."""

SAME_ERROR = 0.3
"""A step taken again shorter with more than this share of its error has a jump at its start."""

STEP_BACK = 0.4
"""What happened in a step's second half is seen by the next one only: it is taken again, by this share as long."""

CAREFUL = 3
"""So many steps after that are no longer than the one before them."""

CLOSE_ENOUGH = 1.5
"""A step this short, in shortest ones, is not taken back any more."""

WORTH_A_CHANGE = 1.3
"""A step grows by this at least: each new length asks an exponential."""

SURELY_A_JUMP = 10.0
"""Such a step with more than so much error has a jump at its start, and is not tried at lengths between."""

FIRST_SHARE = 5.0
"""The first step, in shortest ones: nothing is known yet."""


class Trend(NamedTuple):
    """What the last step leads one to expect: its length, its middle's values and their slopes."""

    length: float  # [s]
    known: bool  # whether the slopes mean anything
    per_obeying: float  # one over the mass that moved as the driver wanted [1/kg]; 0: he did not get what he wanted
    corner: bool  # whether it began with a jump, where one was known to be: the next step tells its slopes
    current: float  # motor [A]
    current_slope: float  # [A/s]
    draw: float  # pack current [A]
    draw_slope: float  # [A/s]
    acceleration: float  # [m/s2]
    acceleration_slope: float  # [m/s3]
    effort: float  # of legs and brakes, see `effort_of` [N]
    effort_slope: float  # [N/s]
    charge_rate: float  # [1/s]
    winding_rate: float  # [K/s]
    body_rate: float  # [K/s]
    controller_rate: float  # [K/s]
    pack_rate: float  # [K/s]
    second: Any  # of two different drives: SecondTrend; else None


@inner_kernel
def no_trend(s: State) -> Trend:
    """Return what is expected where nothing was ridden yet: that all stays as it is."""
    return Trend(
        length=0.0,
        known=False,
        per_obeying=0.0,
        corner=False,
        current=0.0,
        current_slope=0.0,
        draw=0.0,
        draw_slope=0.0,
        acceleration=s.acceleration,
        acceleration_slope=0.0,
        effort=0.0,
        effort_slope=0.0,
        charge_rate=0.0,
        winding_rate=0.0,
        body_rate=0.0,
        controller_rate=0.0,
        pack_rate=0.0,
        second=no_second_trend(s.second),
    )


@inner_kernel
def follow(
    second: Second | None, t: Trend, s: State, after: State, pull: Pull, out: Outcome, error: float, span: float,
    at_corner: bool,
) -> Trend:  # fmt: skip
    """Return the trend after a step; one that jumped says nothing about slopes, the one behind it does.

    at_corner: whether it began where something is known to happen. Of two drives no step is told by the next one.
    """
    rate = 1.0 / span
    known = t.length > 0.0 and (error <= 1.0 or not t.known)
    per_middles = 2.0 / (t.length + span) if known and not pull.held else 0.0
    corner = second is None and at_corner and error > 1.0
    per_obeying = pull.per_mass if is_obeyed(pull) else 0.0
    return Trend(
        length=span,
        known=known,
        per_obeying=per_obeying,
        corner=corner,
        current=pull.current,
        current_slope=(pull.current - t.current) * per_middles,
        draw=out.pack_current,
        draw_slope=(out.pack_current - t.draw) * per_middles,
        acceleration=after.acceleration,
        acceleration_slope=(after.acceleration - t.acceleration) * per_middles,
        effort=effort_of(pull),
        effort_slope=(effort_of(pull) - t.effort) * per_middles,
        charge_rate=(after.charge - s.charge) * rate,
        winding_rate=(after.winding_temp - s.winding_temp) * rate,
        body_rate=(after.body_temp - s.body_temp) * rate,
        controller_rate=(after.controller_temp - s.controller_temp) * rate,
        pack_rate=(after.pack_temp - s.pack_temp) * rate,
        second=_follow_second(t.second, s.second, after.second, pull.second, per_middles, rate),
    )


@inner_kernel
def _no_trend(t: None, s: None, after: None, pull: None, per_middles: float, rate: float) -> None:
    return None


@inner_kernel
def _trend_of_second(
    t: SecondTrend, s: SecondState, after: SecondState, pull: SecondPull, per_middles: float, rate: float
) -> SecondTrend:
    return SecondTrend(
        current=pull.current,
        current_slope=(pull.current - t.current) * per_middles,
        winding_rate=(after.winding_temp - s.winding_temp) * rate,
        body_rate=(after.body_temp - s.body_temp) * rate,
        controller_rate=(after.controller_temp - s.controller_temp) * rate,
    )


_follow_second = if_none(_no_trend, _trend_of_second)


TINY_CURRENT = 0.1
"""No current is held closer than as if it were this large [A]."""

SMALL_EFFORT = 5.0
"""Nor an effort of legs and brakes than as if it were this large [N]."""


@inner_kernel
def effort_of(pull: Pull) -> float:
    """Return what legs and brakes push with, added up [N].

    Where both are small the motion shows neither the corner at which the legs let go nor the one at which the brakes
    take hold: what the motor leaves is shared out, and its sum stays smooth. The energies of the two do not.
    """
    return pull.pedal_force + pull.brake_force


@inner_kernel
def _missed(
    pacing: Pacing, corner: bool, at_limit: bool, value: float, before: float, slope: float, ahead: float,
    forward: float, backward: float,
) -> float:  # fmt: skip
    """Return by how much a current misses what was expected, as a share of what is allowed; less near its highest.

    A current that stays below what was expected has passed its top; not behind a known corner, where no slope is known
    yet. The top of one that left a limit was seen, and that of one at a limit of its own (`at_limit`) is the limit: no
    more than the place of the corner is to be met.
    before, slope: the line that leads to what is expected, `ahead` seconds on; forward, backward: the highest so far by
    sign [A].
    """
    size, expected, allowed = abs(value), before + slope * ahead, pacing.tolerance
    own = forward if value >= 0.0 else backward
    if at_limit and not corner:
        allowed = COMING_TO_A_LIMIT * pacing.tolerance
    elif not corner and size >= NEAR_A_PEAK * own and size < abs(expected):
        allowed = pacing.at_peaks if abs(expected) > own * SEEN_BEFORE else LEAVING_A_LIMIT * pacing.tolerance
    return abs(value - expected) / (max(size, SMALL_CURRENT * max(forward, backward), TINY_CURRENT) * allowed)


@inner_kernel
def _no_error(
    second: None, pacing: Pacing, corner: bool, t: None, s: None, after: None, pull: None, ahead: float, half: float,
    error: float,
) -> float:  # fmt: skip
    return error


@inner_kernel
def _error_of_second(
    second: Second, pacing: Pacing, corner: bool, t: SecondTrend, s: SecondState, after: SecondState, pull: SecondPull,
    ahead: float, half: float, error: float,
) -> float:  # fmt: skip
    """Return the larger of an error and that of the second drive's current and heat."""
    current = _missed(
        pacing,
        corner,
        holds_motor_current(pull.limit),
        pull.current,
        t.current,
        t.current_slope,
        ahead,
        second.totals[Total.PEAK_DRIVE_CURRENT],
        second.totals[Total.PEAK_BRAKE_CURRENT],
    )
    winding = abs(0.5 * (after.winding_temp - s.winding_temp) - half * t.winding_rate)
    box = abs(0.5 * (after.controller_temp - s.controller_temp) - half * t.controller_rate)
    return max(error, current, (winding + box) * (1.0 / MISSED_KELVIN) / pacing.tolerance)


_with_error_of_second = if_none(_no_error, _error_of_second)


@inner_kernel
def error_of(
    second: Second | None, pacing: Pacing, t: Trend, s: State, after: State, pull: Pull, out: Outcome, span: float,
    totals: np.ndarray,
) -> float:  # fmt: skip
    """Return the largest miss of a step as a share of what is allowed; a bike that is held has none: it only cools."""
    if pull.held:
        return 0.0
    ahead = 0.5 * (t.length + span)
    half = 0.5 * span
    current = _missed(
        pacing,
        t.corner,
        holds_motor_current(pull.limit),
        pull.current,
        t.current,
        t.current_slope,
        ahead,
        totals[Total.PEAK_DRIVE_CURRENT],
        totals[Total.PEAK_BRAKE_CURRENT],
    )
    draw = _missed(
        pacing,
        t.corner,
        second is None and holds_pack_current(pull.limit),
        out.pack_current,
        t.draw,
        t.draw_slope,
        ahead,
        totals[Total.PEAK_PACK_CURRENT],
        totals[Total.PEAK_CHARGE_CURRENT],
    )
    push = abs(after.acceleration - t.acceleration - t.acceleration_slope * ahead) * (1.0 / MISSED_ACCELERATION)
    now = effort_of(pull)
    effort = abs(now - t.effort - t.effort_slope * ahead) / max(abs(now), abs(t.effort), SMALL_EFFORT)
    winding = abs(0.5 * (after.winding_temp - s.winding_temp) - half * t.winding_rate)
    box = abs(0.5 * (after.controller_temp - s.controller_temp) - half * t.controller_rate)
    heat = (winding + box) * (1.0 / MISSED_KELVIN)
    error = max(current, draw, max(push, effort, heat) / pacing.tolerance)
    return _with_error_of_second(
        second, pacing, t.corner, t.second, s.second, after.second, pull.second, ahead, half, error
    )  # fmt: skip


@inner_kernel
def shorter(least: float, span: float, error: float) -> float:
    """Return the length with which a step whose error was too large is taken again, `least` or more [s].

    A corner lies inside it, as a rule: what is missed past a corner grows with the length, not with its square.
    """
    return max(span * max(SHRINKAGE, SAFETY / error), least)


@inner_kernel
def next_length(pacing: Pacing, span: float, error: float, wished: float) -> float:
    """Return the next step's length [s]; `wished` is what this one would have had, where a corner cut it short."""
    longer = span * min(GROWTH, SAFETY / math.sqrt(max(error, 1e-6)))
    if span < longer < WORTH_A_CHANGE * span:
        longer = span
    return min(max(longer, wished, pacing.shortest), pacing.longest)


@inner_kernel
def _no_middle(t: None, s: None, half: float) -> None:
    return None


@inner_kernel
def _middle_of_second(t: SecondTrend, s: SecondState, half: float) -> SecondState:
    return SecondState(
        winding_temp=s.winding_temp + half * t.winding_rate,
        body_temp=s.body_temp + half * t.body_rate,
        controller_temp=s.controller_temp + half * t.controller_rate,
        rotor_energy=s.rotor_energy,
    )


_second_middle = if_none(_no_middle, _middle_of_second)


@inner_kernel
def middle(p: Parameters, s: State, t: Trend, span: float) -> State:
    """Return the state with charge and temperatures as they are expected at the step's middle: second order."""
    half = 0.5 * span
    return State(
        time=s.time,
        lap_time=s.lap_time,
        distance=s.distance,
        speed=s.speed,
        acceleration=s.acceleration,
        charge=s.charge + half * t.charge_rate,
        polarisation=s.polarisation,
        winding_temp=s.winding_temp + half * t.winding_rate,
        body_temp=s.body_temp + half * t.body_rate,
        controller_temp=s.controller_temp + half * t.controller_rate,
        pack_temp=s.pack_temp + half * t.pack_rate,
        rotor_energy=s.rotor_energy,
        cooling_speed=s.cooling_speed,
        cooling=s.cooling,
        dwell_left=s.dwell_left,
        shift_left=s.shift_left,
        gear=s.gear,
        stop_index=s.stop_index,
        second=_second_middle(t.second, s.second, half),
    )
