"""The figures of what holds the drive as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.plain import as_plain

if TYPE_CHECKING:
    from ridesim.workshop.mount.sheet import MountSheet


def mount_figures(result: MountSheet) -> dict[str, Any]:
    """Return the sheet as plain values."""
    return {
        "verdict": result.verdict,
        "reasons": list(result.reasons),
        "ridden": result.ridden,
        "loads": as_plain(result.loads),
        "parts": as_plain(result.parts),
        "findings": as_plain(result.findings),
        "unstated": list(result.unstated),
        "cautions": list(result.cautions),
    }
