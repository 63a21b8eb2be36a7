"""The figures of a climb and of the map as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.spread.beside import plain

if TYPE_CHECKING:
    from ridesim.studies.climb import Climb
    from ridesim.studies.climb_map import ClimbMap


def climb_figures(result: Climb) -> dict[str, Any]:
    """Return the figures of one climb as plain values."""
    left_out = ("ride", "hot", "verdict", "limits", "places", "steady", "warnings", "spread")
    return {
        "verdict": result.verdict.word,
        "reasons": list(result.verdict.reasons),
        **{name: value for name, value in vars(result).items() if name not in left_out},
        "limits": [vars(met) for met in result.limits],
        "places": [vars(place) for place in result.places],
        "steady_state": None if result.steady is None else vars(result.steady),
        "spread": plain(result.spread),
        "warnings": list(result.warnings),
    }


def map_figures(result: ClimbMap) -> dict[str, Any]:
    """Return the figures of the map as plain values; null minutes mean for ever, where `ended_by` is `nothing`."""
    return {
        "charge_fraction": result.charge_fraction,
        "air_temp_c": result.air_temp_c,
        "cruise_rating": vars(result.cruise_rating),
        "rating": [vars(rating) for rating in result.rating],
        "spots": [vars(spot) for spot in result.spots],
        "grade_percent": result.grade_percent,
        "speed_km_h": result.speed_km_h,
        "minutes": result.minutes,
        "ended_by": result.ended_by,
        "met_at_percent": result.met_at_percent,
        "winding_temp_c": result.winding_temp_c,
        "steady_winding_temp_c": result.steady_winding_c,
        "worst_disagreement_k": result.worst_disagreement_k,
        "notes": list(result.notes),
        "warnings": list(result.loaded.warnings),
    }
