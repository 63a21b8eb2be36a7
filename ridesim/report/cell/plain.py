"""The figures of a fitted cell as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import Any

from ridesim.learn.cell_files import CellAnswer


def cell_figures(found: CellAnswer) -> dict[str, Any]:
    """Return the cell part, its errors, and how far each run is off."""
    return {
        "verdict": found.verdict,
        "cell": found.part,
        "errors": dict(found.errors),
        "at_the_edge_of_the_search": list(found.edges),
        "rms_mv": list(found.rms_mv),
    }


def run_rows(found: CellAnswer) -> list[dict[str, Any]]:
    """Return one row a run: how far the fitted circuit is off."""
    return [
        {"run": path, "seconds": len(run.time_s), "rms_mv": rms}
        for path, run, rms in zip(found.paths, found.runs, found.rms_mv, strict=True)
    ]
