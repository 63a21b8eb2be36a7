"""Groups of measured cells as words and a table."""

from __future__ import annotations

from collections.abc import Sequence

from ridesim.report.view import Table, View
from ridesim.workshop.pack.design import SAFETY
from ridesim.workshop.pack.grouping import Grouping


def view(result: Grouping, capacities_ah: Sequence[float]) -> View:
    """Return the grouping; cells are numbered from 1 in the order given."""
    weakest = min(range(len(result.groups)), key=lambda index: result.group_capacity_ah[index])
    rows = tuple(
        (f"{index + 1}", f"{result.group_capacity_ah[index]:.3f} Ah", " ".join(str(cell + 1) for cell in group))
        for index, group in enumerate(result.groups)
    )
    spare = ", ".join(f"{cell + 1} ({capacities_ah[cell]:.2f} Ah)" for cell in result.spare)
    return View(
        title=f"{len(result.groups)} groups of {len(result.groups[0])} cells",
        question="Which cell goes into which group?",
        answer=(
            f"{result.reason}.",
            f"The weakest is group {weakest + 1} with {result.weakest_ah:.3f} Ah: in a build file, "
            f"pack.weakest_group_fraction = {result.weakest_group_fraction:.4f}.",
            *((f"Left over: {spare}.",) if spare else ()),
        ),
        verdict=result.verdict,
        tables=(Table("Groups", ("group", "capacity", "cells"), rows),),
        notes=(
            "Equal capacity is not enough: leave out cells whose resistance or self-discharge stands out "
            "(common practice, no source).",
            *SAFETY,
        ),
    )
