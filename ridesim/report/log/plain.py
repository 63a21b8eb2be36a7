"""The figures of a log as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ridesim.learn.log import Log


def log_figures(log: Log) -> dict[str, Any]:
    """Return a log as plain values, its readings left out."""
    import numpy as np

    def share(name: str) -> float | None:
        """Return the share (0 to 1) of a column's readings that are known, None without the column."""
        return float(np.isfinite(log.columns[name]).mean()) if name in log.columns else None

    return {
        "span_s": log.span_s,
        "step_s": log.step_s,
        "rows": log.rows,
        "guessed": log.mapping.guessed,
        "columns": [
            {"number": each.number, "head": each.head, "quantity": each.quantity, "unit": each.unit,
             "scale": each.scale, "offset": each.offset, "sign": each.sign, "reading": each.reading,
             "why": each.why, "known_share": share(each.quantity)}
            for each in log.mapping.columns
        ],
        "findings": [vars(each) for each in log.findings],
        "log_notes": list(log.notes),
    }  # fmt: skip
