"""What the cold does to a build's cells, in words that several answers tell."""

from __future__ import annotations

from ridesim.bike.schema import Cell
from ridesim.engine.cells import out_of_reach, steady_ohm
from ridesim.units import from_si, shown

REFERENCE_C = 25.0
"""Where cells' resistances are stated [degC]."""
DRY_C = -5.0
"""A published cell that is held there at 1C runs dry, at 0 degC not yet (`evidence/cell_cold`)."""
DRY_WORDS = (
    " A pack warms itself at such a draw; a cell that wind or a metal case keeps so cold gives far less, since its "
    "electrolyte runs dry."
)


def cell_in_the_cold(cell: Cell, celsius: float, units: str = "metric") -> str:
    """Return what a cell's resistance and usable charge are at a temperature of its own, in a sentence."""
    warm, cold = (from_si(steady_ohm(cell, at), "mohm") for at in (REFERENCE_C, celsius))
    there, reference = shown(celsius, "c", units, 0), shown(REFERENCE_C, "c", units, 0)
    kept = out_of_reach(cell, celsius)
    said = f"Under a lasting load a cell has {cold:.0f} mΩ at {there}, {warm:.0f} mΩ at {reference}"
    if kept <= 0.0:
        return f"{said}; no charge is counted as out of reach there (pack.cell.cold_capacity_loss_percent)."
    dry = DRY_WORDS if celsius <= DRY_C else ""
    return (
        f"{said}; drawn at 1C, {min(kept, 1.0):.0%} of its charge stays out of reach there until it is warm, less at a "
        "gentler draw or as it warms (pack.cell.cold_capacity_loss_percent; `ridesim cell` finds it from a cold run)."
        f"{dry}"
    )
