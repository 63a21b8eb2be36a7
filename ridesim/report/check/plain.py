"""The figures of the check sheet as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.plain import as_plain

if TYPE_CHECKING:
    from ridesim.workshop.check.sheet import CheckSheet


def check_figures(result: CheckSheet) -> dict[str, Any]:
    """Return the sheet as plain values."""
    return {
        "verdict": result.verdict,
        "reason": result.reason,
        "ridden": result.ridden,
        "findings": as_plain(result.findings),
        "loads": as_plain(result.loads),
        "legal_classes": as_plain(result.law),
        "first_turn": [step._asdict() for step in result.first_turn],
        "warnings": list(result.build_warnings),
        "cautions": list(result.cautions),
    }
