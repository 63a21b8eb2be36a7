"""Cells for a pack that its current makes large: which part gives more of it for its capacity."""

from __future__ import annotations

from ridesim.errors import RidesimError
from ridesim.workshop.pack.plan import cell_names, load_cell

HARDER_SHARE = 1.5
"""A cell that may give so much more current for its capacity is worth a word (guess)."""


def harder_cell(name: str) -> str:
    """Return the cell part that may give most current for its capacity; empty where none gives much more than this.

    Raises BuildError for a cell that is not there.
    """
    by_rate = {other: _rate_per_h(other) for other in cell_names() if other != name}
    best = max(by_rate, key=lambda other: by_rate[other], default="")
    return best if best and by_rate[best] > HARDER_SHARE * _rate_per_h(name, own=True) else ""


def _rate_per_h(name: str, *, own: bool = False) -> float:
    """Return a cell's continuous current over its capacity [1/h]; 0 for a part that is no cell."""
    try:
        cell = load_cell(name)
    except RidesimError:
        if own:
            raise
        return 0.0
    return cell.max_discharge_a / cell.capacity_ah
