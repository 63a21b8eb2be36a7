"""Reading of candidate reductions from the command line, and which pulley pairs fit."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ridesim.cli.answer import number_list
from ridesim.errors import RideError, RidesimError

if TYPE_CHECKING:
    from ridesim.bike.schema import Build, Stage
    from ridesim.studies.ratios import Reduction

MOST_PAIRS = 400
"""Pairs that one command rides: more than any table can show."""
LEAST_TEETH, MOST_TEETH = 5, 400
SPREAD_WORDS = "write FROM:TO:COUNT such as 6:16:40, or a list such as 8,9.5,11"
TEETH_WORDS = "write DRIVER:DRIVEN, each a list 14,16 or a range 100-150, or 100-150/10 for every tenth"


@dataclass(frozen=True)
class Room:
    """The room that pulleys have: distance of the shafts, largest outside diameter [mm], least teeth in mesh."""

    centre_mm: float | None
    largest_mm: float | None
    least_mesh: float


def candidates(
    build: Build, stage: int | None, ratios: str | None, teeth: str | None, pairs: str | None, room: Room
) -> tuple[list[Reduction | float] | None, tuple[str, ...]]:
    """Return the candidates that a command names (None: none named) and notes on pairs left out. Raises RideError."""
    named = [name for name, text in (("--ratios", ratios), ("--teeth", teeth), ("--pairs", pairs)) if text is not None]
    if len(named) > 1:
        raise RideError(" and ".join(named), "name the candidates twice", "give one of them")
    if ratios is not None:
        return list(read_ratios(ratios)), ()
    if (teeth is None and pairs is None) or not build.drive.stage:
        return None, ()
    listed = read_teeth(teeth) if teeth is not None else read_pairs(pairs or "")
    return fitting(build, stage, listed, room)


def read_ratios(text: str) -> tuple[float, ...]:
    """Return ratios from `6:16:40` (from, to, count) or `8,9.5,11`. Raises RideError."""
    if ":" not in text:
        found = number_list("--ratios", text, "ratios")
        if not found:
            raise RideError("--ratios", "names no ratio", SPREAD_WORDS)
        return found
    try:
        low, high, count = (float(piece) for piece in text.split(":"))
    except ValueError:
        raise RideError("--ratios", f"{text!r} cannot be read", SPREAD_WORDS) from None
    if not (0.0 < low <= high < math.inf) or count != int(count) or not 1 <= count <= MOST_PAIRS:
        raise RideError("--ratios", f"{text!r} does not rise from above 0, in 1 to {MOST_PAIRS} steps", SPREAD_WORDS)
    steps = int(count)
    return tuple(low + (high - low) * index / max(steps - 1, 1) for index in range(steps))


def read_teeth(text: str) -> list[tuple[int, int]]:
    """Return every pair of `12-18:100-150/10`. Raises RideError."""
    sides = text.split(":")
    if len(sides) != 2:
        raise RideError("--teeth", f"{text!r} has not two sides", TEETH_WORDS)
    drivers, driven = (_teeth(side, text) for side in sides)
    if len(drivers) * len(driven) > MOST_PAIRS:
        what = f"{len(drivers)} x {len(driven)} pairs are more than {MOST_PAIRS}"
        raise RideError("--teeth", what, "name fewer, e.g. every tenth: 100-150/10")
    return [(small, large) for small in drivers for large in driven]


def read_pairs(text: str) -> list[tuple[int, int]]:
    """Return the pairs of `14/136,16/144`. Raises RideError."""
    try:
        found = [(int(small), int(large)) for small, large in (each.split("/") for each in text.split(","))]
    except ValueError:
        raise RideError("--pairs", f"{text!r} cannot be read", "write for example 14/136,16/144") from None
    for pair in found:
        for count in pair:
            _check_teeth("--pairs", count)
    return found


def _teeth(side: str, whole: str) -> list[int]:
    found: list[int] = []
    try:
        for piece in side.split(","):
            span, _, step = piece.partition("/")
            low, dash, high = span.partition("-")
            found += range(int(low), int(high) + 1, int(step or 1)) if dash else [int(low)]
    except ValueError:
        raise RideError("--teeth", f"{whole!r} cannot be read", TEETH_WORDS) from None
    if not found:
        raise RideError("--teeth", f"{side!r} names no pulley", TEETH_WORDS)
    for count in found:
        _check_teeth("--teeth", count)
    return sorted(set(found))


def _check_teeth(where: str, count: int) -> None:
    if not LEAST_TEETH <= count <= MOST_TEETH:
        what = f"a pulley of {count} teeth (allowed {LEAST_TEETH} to {MOST_TEETH})"
        raise RideError(where, what, "count the teeth")


def fitting(
    build: Build, stage: int | None, listed: list[tuple[int, int]], room: Room
) -> tuple[list[Reduction | float], tuple[str, ...]]:
    """Return the pairs that fit, with teeth in mesh and outside diameter, and notes on the others. Raises RideError."""
    from ridesim.studies.ratios import Reduction

    stages = build.drive.stage
    index = build.drive.motors_last_stage if stage is None else stage - 1
    if not 0 <= index < len(stages):
        raise RideError("--stage", f"there is no stage {stage} (this drive has {len(stages)})", "count from 1")
    varied = stages[index]
    if varied.kind != "belt":
        note = f"Whether the pairs of this {varied.kind} stage fit was not checked: that is known for belts only."
        return [Reduction(large / small, small, large) for small, large in listed], (note,)
    centre = room.centre_mm if room.centre_mm is not None else varied.centre_distance_mm
    found: list[Reduction | float] = []
    left_out: Counter[str] = Counter()
    for small, large in listed:
        fault, mesh, outside = _fit(build, varied, small, large, centre, room, at_wheel=index == len(stages) - 1)
        if fault:
            left_out[fault] += 1
        else:
            found.append(Reduction(large / small, small, large, mesh, outside))
    told = "; ".join(f"{count} {words}" for words, count in left_out.most_common())
    if not found:
        raise RideError("--teeth", f"none of {len(listed)} pairs fits: {told}", "try other pulleys, or make room")
    notes = [f"{left_out.total()} of {len(listed)} pairs left out: {told}."] if left_out else []
    if centre is None:
        notes.append("Teeth in mesh were not checked: the distance of the shafts is not known (give --centre).")
    return found, tuple(notes)


def _fit(
    build: Build, varied: Stage, small: int, large: int, centre: float | None, room: Room, *, at_wheel: bool
) -> tuple[str, float | None, float | None]:
    """Return why a pair does not fit ('' if it does), its teeth in mesh and the larger pulley's outside diameter."""
    from ridesim.workshop.belt.fit import outside_diameter_mm, wheel_pulley_fit
    from ridesim.workshop.belt.geometry import drive_geometry
    from ridesim.workshop.belt.tables import BELT_TYPES

    belt = f"{varied.pitch_mm:g}M"
    outside = mesh = None
    if belt in BELT_TYPES:
        outside = outside_diameter_mm(max(small, large), belt)
        if room.largest_mm is not None and outside > room.largest_mm:
            return f"larger than {room.largest_mm:g} mm", None, outside
        radius = build.tyre.circumference_mm / math.tau
        fit = wheel_pulley_fit(large, belt, free_radius_mm=radius, wheel_radius_mm=radius) if at_wheel else None
        if fit is not None and fit.verdict == "stop":
            return "too close to the ground", None, outside
    if centre is not None:
        try:
            mesh = drive_geometry(small, large, varied.pitch_mm, centre).teeth_in_mesh
        except RidesimError:
            return f"overlap at {centre:g} mm between the shafts", None, outside
        if mesh < room.least_mesh:
            return f"with fewer than {room.least_mesh:g} teeth in mesh", mesh, outside
    return "", mesh, outside


def belts_of(build: Build, peak_torque_nm: float, motor_speed_rpm: float) -> tuple[str, str]:
    """Return the gravest verdict on a build's belts at a peak motor torque, with its reason; empty: none is known."""
    from ridesim.workshop.belt.of_build import series_at_peak
    from ridesim.workshop.check.drive import judge_belts
    from ridesim.workshop.limits import worst_verdict
    from ridesim.workshop.loads import stages_at_peak

    judged = judge_belts(stages_at_peak(build, peak_torque_nm, motor_speed_rpm))
    if not judged:
        return "", ""
    findings = [(each.check.verdict, f"stage {each.load.number}: {each.check.reason}") for each in judged]
    spans = series_at_peak(build, peak_torque_nm, motor_speed_rpm)
    if spans is not None:  # round both motors no pulley carries both: as `ridesim belt` and the check sheet have it
        findings[0] = spans
    return worst_verdict(findings, findings[-1][1])
