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

Voltage = Annotated[float, options.choice("--voltage", "V", "Nominal voltage wanted.", _NEEDS)]
Energy = Annotated[float, options.choice("--energy-wh", "WH", "Energy wanted.", _NEEDS)]
Current = Annotated[float, options.choice("--current", "A", "Most current out of the pack.", _NEEDS)]
Regen = Annotated[float, options.choice("--regen-a", "A", "Most current into the pack by regen.", _NEEDS)]
Usable = Annotated[float, options.choice("--usable", "SHARE", "Share of the charge you plan to use.", _NEEDS)]
Highest = Annotated[float | None, options.choice("--highest-voltage", "V", "What the controller stands.", _NEEDS)]
Cells = Annotated[list[str] | None, options.choice("--cell", "PART", "Cell part, several times (else all).", _NEEDS)]
Charger = Annotated[float | None, options.choice("--charger-a", "A", "The charger's current.", _CHARGE)]
Temperature = Annotated[float, options.choice("--temperature-c", "C", "Of the cells when charged.", _CHARGE)]
Years = Annotated[float, options.choice("--years", "YEARS", "Age asked about.", _AGE)]
Cycles = Annotated[float, options.choice("--cycles", "N", "Charges in these years.", _AGE)]
Depth = Annotated[float, options.choice("--depth", "SHARE", "Charge used each time.", _AGE)]
RestTemperature = Annotated[float, options.choice("--rest-temperature-c", "C", "Of the cells between rides.", _AGE)]
TopCharge = Annotated[float, options.choice("--top-charge", "SHARE", "Charge that each cycle starts from.", _AGE)]
RestCharge = Annotated[float, options.choice("--rest-charge", "SHARE", "Charge they rest at, 0 to 1.", _AGE)]
Rows = Annotated[int | None, options.choice("--rows", "N", "Rows of cells (else the parallel count).", _BLOCK)]
Packing = Annotated[str, options.choice("--packing", "KIND", "hex or square.", _BLOCK)]
Gap = Annotated[float, options.choice("--gap-mm", "MM", "Between cells.", _BLOCK)]


@command("pack", EXAMPLE)
def pack(
    voltage: Voltage,
    energy_wh: Energy,
    current: Current,
    regen_a: Regen = 0.0,
    usable: Usable = 1.0,
    highest_voltage: Highest = None,
    cell: Cells = None,
    charger_a: Charger = None,
    temperature_c: Temperature = 20.0,
    years: Years = 3.0,
    cycles: Cycles = 300.0,
    depth: Depth = 0.6,
    rest_temperature_c: RestTemperature = 20.0,
    rest_charge: RestCharge = 0.5,
    top_charge: TopCharge = 1.0,
    rows: Rows = None,
    packing: Packing = "hex",
    gap_mm: Gap = 0.5,
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
