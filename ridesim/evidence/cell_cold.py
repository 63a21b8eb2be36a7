"""A published cell in the cold: what is told from one of its points, and the others that it is held against."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ridesim.evidence.checks import Check, near
from ridesim.evidence.store import table
from ridesim.learn.cell_circuit import CellFit
from ridesim.learn.cell_part import usable_ah

CAPACITY_AH, EMPTY_V = 5.0, 2.5
OHMS = (24.0, 22.0, 48.0)
"""Fast and slow part [mohm] and time [s] of the circuit that a sister of the cell is told by (see `cell`)."""
ACTIVATION_KJ_PER_MOL = 11.0
"""How its resistance rises in the cold: the table of cold resistances, read as one exponential."""
LUMP_J_PER_K, TO_AIR_W_PER_K = 42.8, 0.0531
WITHIN = 0.02
"""One circuit tells 1.5 to 2 % of 5 Ah too little of this cell already at 25 degC."""


def cold_cell(kept_percent: float) -> CellFit:
    """Return the cell's circuit with the charge that the cold keeps at 0 degC and 1C [percent]."""
    charge, volts = zip(*table("cell.open_circuit").rows, strict=True)
    fast, slow, seconds = OHMS
    return CellFit(
        CAPACITY_AH, charge, tuple(map(float, volts)), fast, (1.0,) * len(charge), 0.0, slow, seconds,
        ACTIVATION_KJ_PER_MOL, ACTIVATION_KJ_PER_MOL, LUMP_J_PER_K, TO_AIR_W_PER_K, kept_percent,
    )  # fmt: skip


def usable_share(cell: CellFit, row: Any, *, warms: bool) -> float:
    """Return the share of 5 Ah that a cell gives at a row's temperature and rate, by itself or held so cold."""
    return usable_ah(cell, CAPACITY_AH * row.c_rate, row.temperature_c, EMPTY_V, warms=warms) / CAPACITY_AH


def held_rows() -> Sequence[Any]:
    """Return the rows of the cell held at a temperature."""
    return table("cell.cold_capacity").rows


def less_than_warm(cell: CellFit | None, row: Any) -> float:
    """Return by how much the share held cold is less than at 25 degC and the same rate; None: as published."""
    (warm,) = (each for each in held_rows() if each.temperature_c == WARM_C and each.c_rate == row.c_rate)
    if cell is None:
        return float(warm.of_5_ah) - float(row.of_5_ah)
    return usable_share(cell, warm, warms=False) - usable_share(cell, row, warms=False)


WARM_C = 25.0
TOLD_AT = (0.0, 0.5)
"""Temperature [degC] and rate of the one point that tells what the cold keeps."""


def told_percent() -> float:
    """Return what the cold keeps at 0 degC and 1C, from the one point at which it is told [percent]."""
    (point,) = (row for row in held_rows() if (row.temperature_c, row.c_rate) == TOLD_AT)
    without, some = (less_than_warm(cold_cell(percent), point) for percent in (0.0, TRIED))
    return TRIED * (less_than_warm(None, point) - without) / (some - without)


TRIED = 4.0


def checks() -> list[Check]:
    """Return the cell's usable charge in the cold, free to warm as in a pack, told from the one point."""
    cell, found = cold_cell(told_percent()), []
    for row in table("cell.cold_capacity_warming").rows:
        share = usable_share(cell, row, warms=True)
        found.append(near(
            f"published cell at {row.temperature_c:g} °C and {row.c_rate:g} C, free to warm: charge given, of 5 Ah",
            share, row.of_5_ah, within=WITHIN, note="one circuit tells 2 % too little already when it is warm",
        ))  # fmt: skip
    return found
