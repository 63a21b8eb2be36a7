"""A fitted cell written as a part file, which a build can name; and how much of its charge is usable in the cold."""

from __future__ import annotations

import numpy as np

from ridesim.errors import LogError
from ridesim.learn.cell_circuit import CellFit, CellRun, follow_cell
from ridesim.units import from_si, to_si

LINE_NUMBERS = 6
"""Numbers a line of a written list."""
PATIENCE = 1.5
"""A discharge is followed for so long, over the time that its capacity would take."""


def part_text(fit: CellFit, name: str, *, max_discharge_a: float, max_charge_a: float, mass_kg: float) -> str:
    """Return a cell part file (TOML) of a fit; ratings and mass are the data sheet's and the scale's.

    What no cold moves is no key of a cell: the file says what to add to the pack's strips. Raises LogError for a name
    in which TOML has no room.
    """
    if '"' in name or "\\" in name or not name.isprintable():
        raise LogError("cell", f"the name {name!r} has quotes or breaks", "choose a plain name")
    lines = [
        "# Fitted to the cell's own discharges and pulses; the ratings are those given.",
        f"# No cold moves a further {fit.lead_mohm:.3g} mohm a cell:",
        f"# add {fit.lead_mohm:.3g} x series / parallel to pack.interconnect_mohm.",
        f'name = "{name}"',
    ]
    for key, value in fit.part().items():
        lines.append(f"{key} = {_list(value)}" if isinstance(value, tuple) else f"{key} = {value:.6g}")
    ratings = {"max_discharge_a": max_discharge_a, "max_charge_a": max_charge_a, "mass_kg": mass_kg}
    return "\n".join([*lines, *(f"{key} = {value:.6g}" for key, value in ratings.items()), ""])


def _list(values: tuple[float, ...]) -> str:
    rows = [
        "  " + ", ".join(f"{each:.6g}" for each in values[at : at + LINE_NUMBERS]) + ","
        for at in range(0, len(values), LINE_NUMBERS)
    ]
    return "\n".join(["[", *rows, "]"])


def interconnect_mohm(fit: CellFit, series: int, parallel: int) -> float:
    """Return what no cold moves in a pack of such cells [mohm]: to be added to its strips."""
    return fit.lead_mohm * series / parallel


def usable_ah(fit: CellFit, current_a: float, temperature_c: float, empty_v: float, *, warms: bool = True) -> float:
    """Return the charge [Ah] that a fitted cell gives at a current until its voltage falls to `empty_v`, from full.

    `warms`: by its own loss, with the fit's lump; else it is held at the temperature. Raises LogError for a current
    that is not above zero.
    """
    if not current_a > 0.0:
        raise LogError("cell", f"current_a = {current_a:g}", "give a current above 0 A")
    seconds = PATIENCE * to_si(fit.capacity_ah, "ah") / current_a
    clock = np.arange(0.0, seconds)
    run = CellRun(
        clock, np.full(len(clock), current_a), np.zeros(len(clock)), start_c=temperature_c, air_c=temperature_c,
        temperature_c=np.full(len(clock), temperature_c) if warms else None,
    )  # fmt: skip
    trace = follow_cell(fit, run)
    under = np.flatnonzero((trace.voltage_v <= empty_v) | (trace.charge <= 0.0))
    end = float(clock[under[0]]) if under.size else seconds
    return float(from_si(current_a * end, "ah"))
