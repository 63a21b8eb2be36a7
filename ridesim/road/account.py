"""What was read from a road and what was cleaned, as plain figures with their units in the names."""

from __future__ import annotations

import itertools
from dataclasses import asdict
from typing import Any

import numpy as np

from ridesim.road.mendings import Mending
from ridesim.road.places import steepest_places
from ridesim.road.profile import Road
from ridesim.road.smooth import climb_and_descent, climb_and_descent_with_hysteresis, grade_of
from ridesim.units import from_si

STRETCH_M = 100.0
"""Over what length the steepest grade is told."""
BEND_RADIUS_M = 30.0
"""A tighter stretch is told as a bend (guess: 28 km/h at 2 m/s² to the side)."""
LATERAL_M_PER_S2 = 2.0
"""Sideways acceleration of a careful rider, for the speed in a bend: the default of a build's rider (guess)."""
KINDS = {True: "recording", False: "made"}


def road_account(road: Road) -> dict[str, Any]:
    """Return length, climb by each method, steepest stretches, bends, stops, limits, surfaces and what was cleaned."""
    cleaning = road.cleaning
    return {
        "name": road.name,
        "road_kind": "speed-time cycle" if road.cycle is not None else KINDS[cleaning is not None],
        "length_km": from_si(road.length_m, "km"),
        "duration_s": float(road.cycle.time_s[-1]) if road.cycle is not None else None,
        "lowest_altitude_m": float(road.altitude_m.min()),
        "highest_altitude_m": float(road.altitude_m.max()),
        **_climbs(road),
        **_steepest(road),
        "steepest_climbs": [place.as_dict() for place in steepest_places(road)],
        "steepest_falls": [place.as_dict() for place in steepest_places(road, up=False)],
        "bends": bends(road),
        "stops": [{"at_km": from_si(stop.distance_m, "km"), "dwell_s": stop.dwell_s} for stop in road.stops],
        "speed_limits": speed_limits(road),
        "surfaces_km": surfaces_km(road),
        "recorded_pauses": len(road.recorded_pauses),
        "mendings": [_mending(one) for one in road.mendings],
        "cleaning": asdict(cleaning) if cleaning is not None else None,
        "warnings": list(road.warnings),
    }


def _mending(one: Mending) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "from_km": from_si(one.from_m, "km"),
        "to_km": from_si(one.to_m, "km"),
        "points": one.points,
        "not_recorded": one.not_recorded,
    }


def _climbs(road: Road) -> dict[str, Any]:
    cleaning = road.cleaning
    climb, descent = climb_and_descent(road.altitude_m)
    counted = climb_and_descent_with_hysteresis(road.altitude_m)
    return {
        "climb_raw_m": cleaning.climb_raw_m if cleaning else climb,
        "climb_hysteresis_m": cleaning.climb_hysteresis_m if cleaning else counted[0],
        "climb_smoothed_m": climb,
        "descent_raw_m": cleaning.descent_raw_m if cleaning else descent,
        "descent_hysteresis_m": cleaning.descent_hysteresis_m if cleaning else counted[1],
        "descent_smoothed_m": descent,
        "climb_method": cleaning.climb_method if cleaning else "plain sums over the road as made",
    }


def _steepest(road: Road) -> dict[str, Any]:
    """Return the steepest mean climb and fall over STRETCH_M, rise per run, and where each begins."""
    nodes = min(max(1, round(STRETCH_M / road.spacing_m)), len(road.altitude_m) - 1)
    mean = grade_of((road.altitude_m[nodes:] - road.altitude_m[:-nodes]) / (nodes * road.spacing_m))
    up, down = int(mean.argmax()), int(mean.argmin())
    return {
        "steepest_over_m": nodes * road.spacing_m,
        "steepest_up_percent": from_si(max(float(mean[up]), 0.0), "percent"),
        "steepest_up_from_km": from_si(float(road.distance_m[up]), "km"),
        "steepest_down_percent": from_si(max(-float(mean[down]), 0.0), "percent"),
        "steepest_down_from_km": from_si(float(road.distance_m[down]), "km"),
    }


def bends(road: Road) -> list[dict[str, float]]:
    """Return each stretch tighter than BEND_RADIUS_M: where it is tightest, its radius and a careful speed."""
    tight = road.curvature_per_m > 1.0 / BEND_RADIUS_M
    found = []
    for start, end in _runs(tight):
        at = start + int(road.curvature_per_m[start:end].argmax())
        radius = 1.0 / float(road.curvature_per_m[at])
        found.append(
            {
                "at_km": from_si(float(road.distance_m[at]), "km"),
                "radius_m": radius,
                "careful_speed_km_h": from_si((LATERAL_M_PER_S2 * radius) ** 0.5, "km_h"),
            }
        )
    return found


def speed_limits(road: Road) -> list[dict[str, float]]:
    """Return the stretches with a speed limit."""
    limit = road.speed_limit_m_per_s
    found = []
    for start, end in _changes(limit):
        if np.isfinite(limit[start]):
            found.append({**_stretch(road, start, end), "speed_km_h": from_si(float(limit[start]), "km_h")})
    return found


def surfaces_km(road: Road) -> dict[str, float]:
    """Return how much of the road has each surface, the commonest first."""
    kinds, counts = np.unique(np.asarray(road.surface), return_counts=True)
    share = {str(kind): float(count) / len(road.surface) for kind, count in zip(kinds, counts, strict=True)}
    return {
        kind: from_si(part * road.length_m, "km") for kind, part in sorted(share.items(), key=lambda pair: -pair[1])
    }


def surface_stretches(road: Road) -> list[dict[str, Any]]:
    """Return the stretches of one surface in order."""
    codes = np.unique(np.asarray(road.surface), return_inverse=True)[1]
    return [{**_stretch(road, start, end), "kind": road.surface[start]} for start, end in _changes(codes)]


def _stretch(road: Road, start: int, end: int) -> dict[str, float]:
    last = min(end, len(road.distance_m) - 1)
    return {
        "from_km": from_si(float(road.distance_m[start]), "km"),
        "to_km": from_si(float(road.distance_m[last]), "km"),
    }


def _changes(values: np.ndarray) -> list[tuple[int, int]]:
    """Return (start, end) of each run of equal values."""
    edges = [0, *(np.flatnonzero(values[1:] != values[:-1]) + 1).tolist(), len(values)]
    return list(itertools.pairwise(edges))


def _runs(held: np.ndarray) -> list[tuple[int, int]]:
    return [(start, end) for start, end in _changes(held) if held[start]]
