"""What was mended in a recording: each fault with its kind, its place and how many points it touched."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ridesim.units import from_si

PLACES_TOLD = 4
LEVEL_M = 1.0  # less than this between lowest and highest is level
SHORT_M = 15.0  # a place shorter than this is told as a point

KINDS: dict[str, str] = {
    "gap": "gap{s} bridged by straight lines",
    "frozen_fix": "frozen position{s} with a leap behind, taken for what was ridden meanwhile",
    "far_points": "point{s} far off the road dropped",
    "position_jump": "point{s} that jump off the line dropped",
    "zigzag": "zigzag{s} of the receiver, which nobody could ride so fast, straightened",
    "copied": "point{s} written twice, at the same times and places, dropped",
    "earlier_part": "part{s} whose clock is earlier than the part before, ridden in the order of the file",
    "out_of_order": "point{s} with a clock that runs backwards dropped",
    "time_wrong": "time{s} out of order left out, the place kept",
    "ticks": "tick{s} of a coarse clock, the time within each spread over the way (a stop shorter than one is lost)",
    "clock_set_back": "jump{s} of the clock backwards, taken to run on",
    "pace": "leg{s} recorded faster than 108 km/h, taken at the recording's median pace",
    "left_out": "m of line to and fro at one place left out, taken for a receiver's wandering in a pause",
    "steps": "step{s} of the altitude evened",
    "altitude_impossible": "altitude{s} that no place on land has",
    "altitude_missing": "altitude{s} missing or zero where the road is high, filled by straight lines",
    "altitude_spike": "altitude spike{s} mended",
    "altitude_unsettled": "altitude{s} not trusted (after a start, a stop, a gap or a leap), straight lines instead",
}
"""The kinds in the order in which they are told, in words that follow a number; `{s}` ends a plural."""
ONE: dict[str, str] = {
    "gap": "a gap bridged by a straight line",
    "frozen_fix": "a frozen position and a leap",
    "altitude_impossible": "an impossible altitude",
    "altitude_missing": "no altitude",
    "altitude_spike": "an altitude spike",
    "altitude_unsettled": "an altitude that cannot be trusted",
}
"""What was recorded where the road is a guess, in words that follow "there is"."""
BRIDGED = ("gap", "frozen_fix")
LEGS = (*BRIDGED, "zigzag", "earlier_part", "clock_set_back", "pace")
"""Kinds that are counted by the legs or stretches they take, not by points."""


@dataclass(frozen=True)
class Mending:
    """One fault and its place along the road; `not_recorded` where the road between is a straight line's guess."""

    kind: str
    from_m: float
    to_m: float
    points: int

    @property
    def not_recorded(self) -> bool:
        """Whether position or altitude there is not what the recorder wrote."""
        return self.kind.startswith("altitude") or self.kind in BRIDGED


@dataclass(frozen=True)
class Fault:
    """A mending before the road is known: its place by the numbers of the recording's points."""

    kind: str
    first: int
    last: int
    points: int


def faults_of(kind: str, numbers: NDArray[np.int64], neighbours: NDArray[np.int64]) -> list[Fault]:
    """Return one fault a run of points; `numbers` are the faulty ones among the rising `neighbours`."""
    if not numbers.size:
        return []
    at = np.searchsorted(neighbours, numbers)
    starts = np.flatnonzero(np.concatenate(([True], np.diff(at) > 1)))
    ends = np.concatenate((starts[1:], [len(at)]))
    return [
        Fault(kind, int(numbers[start]), int(numbers[end - 1]), int(end - start))
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True)
    ]


def placed(faults: Iterable[Fault], numbers: NDArray[np.int64], place_m: NDArray[np.float64]) -> tuple[Mending, ...]:
    """Return the faults at their places; `numbers` are the points that were kept, at `place_m` along the line."""
    return tuple(
        Mending(
            fault.kind,
            float(np.interp(fault.first, numbers, place_m)),
            float(np.interp(fault.last, numbers, place_m)),
            fault.points,
        )
        for fault in sorted(faults, key=lambda fault: fault.first)
    )


def moved(mendings: Sequence[Mending], start_m: float, end_m: float, by_m: float) -> tuple[Mending, ...]:
    """Return the mendings between two places, cut to them, at places `by_m` further on."""
    return tuple(
        replace(one, from_m=max(one.from_m, start_m) + by_m, to_m=min(one.to_m, end_m) + by_m)
        for one in mendings
        if one.to_m >= start_m and one.from_m <= end_m
    )


def told(mendings: Sequence[Mending], places: int = PLACES_TOLD) -> tuple[str, ...]:
    """Return one line a kind: how many, what was done, and where."""
    lines = []
    for kind, words in KINDS.items():
        ours = [one for one in mendings if one.kind == kind]
        if ours:
            number = len(ours) if kind in LEGS else sum(one.points for one in ours)
            shown = ", ".join(_place(one) for one in ours[:places])
            more = f" and {len(ours) - places} more places" if len(ours) > places else ""
            lines.append(f"{number} {words.format(s=plural(number))}: at {shown}{more}")
    return tuple(lines)


def told_of_flattened(altitude_m: NDArray[np.float64]) -> tuple[str, ...]:
    """Return what to tell where a road is ridden flat although it has altitudes [m]."""
    if not altitude_m.size or float(np.ptp(altitude_m)) < LEVEL_M:
        return ()
    low, high = float(altitude_m.min()), float(altitude_m.max())
    return (f"flat, as asked: its altitudes, {low:.0f} m to {high:.0f} m, are left out",)


def plural(number: int) -> str:
    """Return the ending of a noun after a number."""
    return "" if number == 1 else "s"


def _place(one: Mending) -> str:
    start, end = from_si(one.from_m, "km"), from_si(one.to_m, "km")
    return f"{start:.2f} km" if one.to_m - one.from_m < SHORT_M else f"{start:.2f} to {end:.2f} km"
