"""The figures of a way down as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.plain import as_plain

if TYPE_CHECKING:
    from ridesim.studies.descend import Descend, DescendCase


def descend_figures(result: Descend) -> dict[str, Any]:
    """Return the figures of the answer as plain values."""
    return {
        "verdict": result.verdict,
        "reason": result.reason,
        "brakes_guessed": result.guessed,
        "cases": [_case(case) for case in result.cases],
        "turned_round": result.turned_round,
        "with_room_in_the_pack": None if result.room is None else _case(result.room),
        "speeds": as_plain(result.speeds),
        "fine_speeds_km_h": list(result.fine_speeds_km_h),
        "worst_speed_km_h": result.worst_speed_km_h,
        "warnings": list(result.warnings),
    }


def _case(case: DescendCase) -> dict[str, Any]:
    heat = case.heat
    return {
        "name": case.name,
        "finished": case.finished,
        "stop_reason": case.stop_reason,
        "total_time_s": case.total_time_s,
        "friction_wh": heat.friction_wh,
        "pack_energy_returned_wh": case.returned_wh,
        "brakes": as_plain(heat.brakes),
        "heat_residual_fraction": heat.residual_fraction,
        "findings": as_plain(case.findings),
        "verdict": case.verdict,
        "reasons": list(case.reasons),
    }
