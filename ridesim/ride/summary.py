"""The answer of a ride as plain values: its figures, what it leaned on, and its verdict. Riding is over by then."""

from __future__ import annotations

import math
from typing import Any

from ridesim.bike.schema import Build
from ridesim.bike.second import PREFIX, seen_by_second
from ridesim.engine.estimates import Estimates, estimate
from ridesim.ride.cooling import REST_TO_C, rest_from_hottest_s
from ridesim.ride.drives import named_drives
from ridesim.ride.figures import gear_times_s
from ridesim.ride.judge import judge
from ridesim.ride.result import Ridden
from ridesim.ride.stuck import why_stuck
from ridesim.units import from_si


def summarise(ride: Ridden) -> dict[str, Any]:
    """Return the answer of a ride as plain values; every key carries its unit. Rides nothing."""
    verdict, stuck = judge(ride), why_stuck(ride)
    return {
        **ride.figures.plain(),
        "gear_times_s": list(gear_times_s(ride)),
        "stuck": None if stuck is None else stuck.plain(),
        "rest_to_c": REST_TO_C,
        "rest_to_cool_min": rest_to_cool_min(ride),
        **drives_of(ride),
        "ledger_wh": ride.ledger,
        "ledger_residual_fraction": ride.ledger_residual_fraction,
        "defaults_used": defaults_used(ride),
        "warnings": notes_of(ride),
        "verdict": {
            "word": verdict.word,
            "reasons": list(verdict.reasons),
            "findings": [dict(vars(finding)) for finding in verdict.findings],
        },
    }


def drives_of(ride: Ridden) -> dict[str, Any]:
    """Return the figures of each of two different drives, its own part of the pack's current in them; else nothing."""
    found = []
    for name, drive in named_drives(ride):
        rest = {"rest_to_c": REST_TO_C, "rest_to_cool_min": rest_to_cool_min(drive)}
        found.append({"drive": name} | drive.figures.plain() | rest)
    return {"drives": found} if found else {}


def rest_to_cool_min(ride: Ridden) -> float | None:
    """Return how long a stop cools the motor from its hottest to `REST_TO_C` [min]; None where the air is too warm."""
    rest = rest_from_hottest_s(ride)
    return from_si(rest, "min") if math.isfinite(rest) else None


def notes_of(ride: Ridden) -> list[str]:
    """Return what a reader should know beside the answer: of the build, of the road, of the ride."""
    return [*ride.loaded.warnings, *ride.road.warnings, *ride.notes, *_pauses_left_out(ride), *_departures(ride)]


OFTEN_A_KM = 0.5
"""Pauses this often cost a start's energy again and again: a town's lights (guess)."""


def _pauses_left_out(ride: Ridden) -> list[str]:
    """Say that a recording stood still again and again, and that this ride does not."""
    road = ride.road
    often = len(road.recorded_pauses) >= OFTEN_A_KM * from_si(road.length_m, "km")
    if not road.recorded_pauses or not often or road.stops or ride.options.speed_source != "plan":
        return []
    return [
        f"The recording stood still {len(road.recorded_pauses)} times; this ride does not, and each start takes "
        "energy. Ride it so with --as-recorded, or write the places as [[stop]] in a road file."
    ]


def defaults_used(ride: Ridden) -> list[dict[str, Any]]:
    """Return the keys a ride leaned on without the user's word: defaults, and estimates with the value used."""
    found = estimated_values(ride.build)
    rows: list[dict[str, Any]] = []
    for used in ride.loaded.defaults_used:
        estimated = used.key in found
        value = found[used.key] if estimated else used.value
        rows.append(
            {"key": used.key, "value": value, "kind": "estimate" if estimated else "default", "note": used.help}
        )
    return rows


def estimated_values(build: Build) -> dict[str, Any]:
    """Return the value in use of each key that was left open and estimated, of a second drive too."""
    found = _guessed(estimate(build), "")
    return found if build.second is None else found | _guessed(estimate(seen_by_second(build)), PREFIX)


def _guessed(found: Estimates, prefix: str) -> dict[str, Any]:
    """Return what was estimated of a build's keys, by key; `prefix`: of a second drive."""
    values = {key: getattr(found, key.split(".")[1], None) for key in found.guessed}
    if not prefix:
        values["pack.to_air_w_per_k"] = found.pack_to_air_w_per_k
        return {key: value for key, value in values.items() if key in found.guessed}
    return {f"{prefix}{key}": value for key, value in values.items() if not key.startswith("pack.")}


def _departures(ride: Ridden) -> list[str]:
    if ride.figures.off_curve_s <= 0.0:
        return []
    return [
        f"the cells' voltage curve was left for {ride.figures.off_curve_s:.0f} s: below empty or above full it is an "
        "extrapolation"
    ]
