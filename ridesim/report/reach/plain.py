"""The figures of "how far?" as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ridesim.studies.reach import Reach


def range_figures(result: Reach) -> dict[str, Any]:
    """Return the figures of the answer as plain values."""
    return {
        "range_km": result.base.range_km,
        "range_span_km": result.span_km,
        "ended_by": result.base.stop_reason,
        "last_limit": result.curves[0].last_limit,
        "rise_a_lap_m": result.rise_a_lap_m,
        "conditions": [vars(case) for case in result.conditions],
        "speeds": [vars(case) for case in result.speeds],
        "worst_day_speeds": [vars(case) for case in result.worst_speeds],
        "full_current_above_v": result.fold_back_v[0],
        "no_current_below_v": result.fold_back_v[1],
        "warnings": list(result.warnings),
    }


def all_cases(result: Reach) -> list[dict[str, Any]]:
    """Return every case as a row, each condition and cruise speed [km/h] once."""
    cases = {
        (case.condition, case.cruise_speed_km_h): case
        for case in (*result.conditions, *result.speeds, *result.worst_speeds)
    }
    return [vars(case) for case in cases.values()]
