"""A pack's block of cells from above, to scale."""

from __future__ import annotations

from matplotlib.figure import Figure
from matplotlib.patches import Circle

from ridesim.report.style import INK, axis_label, darker, in_units, new_figure, series, tag
from ridesim.workshop.pack.design import HEX_ROW
from ridesim.workshop.pack.plan import PackPlan

RIM_MM = 5.0
"""Room around the block."""
MOST_LABELS = 24
"""With more groups than this their numbers would run into each other."""


def draw_block(plan: PackPlan, units: str = "metric") -> Figure:
    """Draw the block that was measured: rows of standing cells, group by group along the rows' columns."""
    design, cell, block = plan.design, plan.cell, plan.block
    count, parallel = design.series * design.parallel, design.parallel
    share = max(0.35, min(1.0, block.width_mm / block.length_mm))
    figure, (axes,) = new_figure(height_mm=45.0 + 100.0 * share)
    shades, to_shown = series(design.series), float(in_units(1.0, "mm", units))
    gap = plan.gap_mm
    pitch, rows = cell.diameter_mm + gap, plan.rows
    row_pitch = pitch * (HEX_ROW if plan.packing == "hex" and rows > 1 else 1.0)
    radius = cell.diameter_mm / 2.0 * to_shown
    labelled: set[int] = set()
    for index in range(count):
        column, row = divmod(index, rows)
        shift = pitch / 2.0 if plan.packing == "hex" and row % 2 else 0.0
        x, y = (column * pitch + shift) * to_shown + radius, row * row_pitch * to_shown + radius
        group = index // parallel
        axes.add_patch(Circle((x, y), radius, facecolor=shades[group], alpha=0.55, edgecolor=INK))
        if group not in labelled and design.series <= MOST_LABELS:
            tag(axes, x, y, str(group + 1), darker(INK), offset=(0.0, 0.0), align=("center", "center"))
            labelled.add(group)
    axes.set_aspect("equal")
    axes.set_xlim(-RIM_MM * to_shown, (block.length_mm + RIM_MM) * to_shown)
    axes.set_ylim(-RIM_MM * to_shown, (block.width_mm + RIM_MM) * to_shown)
    axes.set_xlabel(axis_label("length", "mm", units))
    axes.set_ylabel(axis_label("width", "mm", units))
    return figure
