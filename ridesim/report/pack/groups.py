"""Groups of measured cells as words and a table."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from ridesim.report.view import Table, View
from ridesim.units import told
from ridesim.workshop.asked import Grouped
from ridesim.workshop.pack.design import SAFETY
from ridesim.workshop.pack.grouping import RESISTANCE_SPREAD, UNEQUAL_SHARE, WEAK_SHARE, Grouping

MOST_NAMED = 8
UNMEASURED = (
    "Equal capacity is not enough: measure resistances too (a column resistance_mohm), and leave out cells whose "
    "resistance or self-discharge stands out (common practice, no source)."
)
MEASURED = (
    f"Looked at again: groups whose resistances are more than {RESISTANCE_SPREAD:.0%} apart, and cells that carry more "
    f"than {UNEQUAL_SHARE:g} times their even share (guesses). Self-discharge is not in it: leave out cells that sink "
    "at rest (common practice, no source)."
)


def view(grouped: Grouped, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the grouping; cells are numbered from 1 in the order given. It has no picture."""
    del pictures
    result, measured = grouped.grouping, grouped.cells
    capacities_ah = measured.capacities_ah
    weakest = min(range(len(result.groups)), key=lambda index: result.group_capacity_ah[index])
    spare = ", ".join(f"{cell + 1} ({capacities_ah[cell]:.2f} Ah)" for cell in result.spare)
    return View(
        title=f"{len(result.groups)} groups of {len(result.groups[0])} cells",
        question="Which cell goes into which group?",
        answer=(
            f"{result.reason[0].upper()}{result.reason[1:]}.",
            f"The weakest is group {weakest + 1} with {result.weakest_ah:.3f} Ah: in a build file, "
            f"pack.weakest_group_fraction = {result.weakest_group_fraction:.4f}.",
            *_weak(result, capacities_ah),
            *((f"Left over: {spare}.",) if spare else ()),
        ),
        verdict=result.verdict,
        tables=(_groups(result),),
        notes=(
            *measured.notes,
            UNMEASURED if result.group_resistance_mohm is None else MEASURED,
            *(told(each, units) for each in SAFETY),
        ),
    )


def _weak(result: Grouping, capacities_ah: Sequence[float]) -> tuple[str, ...]:
    """Say which cells to put others in the place of, the weakest first."""
    if not result.weak:
        return ()
    weakest_first = sorted(result.weak, key=lambda cell: capacities_ah[cell])
    named = ", ".join(f"{cell + 1} ({capacities_ah[cell]:.2f} Ah)" for cell in weakest_first[:MOST_NAMED])
    more = f" and {len(weakest_first) - MOST_NAMED} more" if len(weakest_first) > MOST_NAMED else ""
    return (
        f"Put other cells in the place of {named}{more}, and group again: below {WEAK_SHARE:.0%} of the middle cell's "
        f"{median(capacities_ah):.2f} Ah a cell is worn, or not of its kind.",
    )


def _groups(result: Grouping) -> Table:
    resistances = result.group_resistance_mohm
    rows = tuple(
        (
            f"{index + 1}",
            f"{result.group_capacity_ah[index]:.3f} Ah",
            *(() if resistances is None else (f"{resistances[index]:.2f} mΩ",)),
            " ".join(str(cell + 1) for cell in group),
        )
        for index, group in enumerate(result.groups)
    )
    head = ("group", "capacity", *(() if resistances is None else ("resistance",)), "cells")
    return Table("Groups", head, rows)
