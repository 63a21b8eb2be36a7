"""`ridesim pack` and `ridesim group`: a pack from what is wanted, and measured cells into even groups."""

from __future__ import annotations

from typing import Annotated

import typer

from ridesim.cli import options
from ridesim.cli.answer import reply
from ridesim.cli.output import command
from ridesim.errors import RideError
from ridesim.report.plain import as_plain
from ridesim.schema.source import read_input

EXAMPLE = "Example: ridesim pack --voltage 48 --energy-wh 700 --current 30 --cell cell-21700-nmc --cell cell-lfp-32700"
GROUP_EXAMPLE = "Example: ridesim group capacities.txt --series 13 --parallel 4 (one measured capacity in Ah a line)"
_NEEDS, _CHARGE, _AGE, _BLOCK = "Needs", "Charging", "Ageing", "Block"


@command("pack", EXAMPLE)
def pack(
    voltage: Annotated[float, options.choice("--voltage", "V", "Nominal voltage wanted.", _NEEDS)],
    energy_wh: Annotated[float, options.choice("--energy-wh", "WH", "Energy wanted.", _NEEDS)],
    current: Annotated[float, options.choice("--current", "A", "Most current out of the pack.", _NEEDS)],
    regen_a: Annotated[float, options.choice("--regen-a", "A", "Most current into the pack by regen.", _NEEDS)] = 0.0,
    usable: Annotated[float, options.choice("--usable", "SHARE", "Share of the charge you plan to use.", _NEEDS)] = 1.0,
    highest_voltage: Annotated[
        float | None, options.choice("--highest-voltage", "V", "What the controller stands.", _NEEDS)
    ] = None,
    cell: Annotated[
        list[str] | None, options.choice("--cell", "PART", "Cell part, several times (else all).", _NEEDS)
    ] = None,
    charger_a: Annotated[float | None, options.choice("--charger-a", "A", "The charger's current.", _CHARGE)] = None,
    temperature_c: Annotated[
        float, options.choice("--temperature-c", "C", "Of the cells when charged.", _CHARGE)
    ] = 20.0,
    years: Annotated[float, options.choice("--years", "YEARS", "Age asked about.", _AGE)] = 3.0,
    cycles: Annotated[float, options.choice("--cycles", "N", "Charges in these years.", _AGE)] = 300.0,
    depth: Annotated[float, options.choice("--depth", "SHARE", "Charge used each time.", _AGE)] = 0.6,
    rest_temperature_c: Annotated[
        float, options.choice("--rest-temperature-c", "C", "Of the cells between rides.", _AGE)
    ] = 20.0,
    rest_charge: Annotated[float, options.choice("--rest-charge", "SHARE", "Charge they rest at, 0 to 1.", _AGE)] = 0.5,
    top_charge: Annotated[
        float, options.choice("--top-charge", "SHARE", "Charge that each cycle starts from.", _AGE)
    ] = 1.0,
    rows: Annotated[
        int | None, options.choice("--rows", "N", "Rows of cells (else the parallel count).", _BLOCK)
    ] = None,
    packing: Annotated[str, options.choice("--packing", "KIND", "hex or square.", _BLOCK)] = "hex",
    gap_mm: Annotated[float, options.choice("--gap-mm", "MM", "Between cells.", _BLOCK)] = 0.5,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Plan a pack from voltage, energy and current: cells, size, charging, ageing, and the voltages to keep."""
    from ridesim.workshop.pack.design import PackNeeds
    from ridesim.workshop.pack.plan import Care, cell_names, plan_packs

    needs = PackNeeds(voltage, energy_wh, current, regen_a, usable, highest_voltage)
    use = (charger_a, temperature_c, years, cycles, depth)
    care = Care(*use, rows, packing, gap_mm, rest_temperature_c, rest_charge, top_charge)  # type: ignore[arg-type]
    names = tuple(cell) if cell else cell_names()
    result = plan_packs(names, needs, care)
    inputs = {"needs": as_plain(needs), "care": as_plain(care), "cells": list(names)}
    reply(wanted, "pack", inputs, result, [])


@command("group", GROUP_EXAMPLE)
def group(
    file: Annotated[
        str,
        typer.Argument(
            metavar="FILE",
            help="Measured cells: capacities in Ah (or mAh), one a line, or a table with a head such as "
            "cell;capacity_ah;resistance_mohm; - for stdin.",
        ),
    ],
    series: Annotated[int, options.choice("--series", "N", "Groups in series.", _NEEDS)],
    parallel: Annotated[int, options.choice("--parallel", "N", "Cells in a group.", _NEEDS)],
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Sort measured cells into groups of nearly equal capacity, and say how weak the weakest group is."""
    from ridesim.workshop.asked import MOST_BYTES, Grouped, read_cell_file
    from ridesim.workshop.pack.grouping import group_cells

    cells = read_cell_file(file, read_input(MOST_BYTES, RideError, "name a text file") if file == "-" else None)
    result = Grouped(group_cells(cells.capacities_ah, series, parallel, cells.resistances_mohm), cells)
    inputs = {"file": file, "series": series, "parallel": parallel, "cells": len(cells.capacities_ah)}
    reply(wanted, "group", inputs, result, [])
