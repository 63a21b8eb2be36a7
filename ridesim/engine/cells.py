"""What a cell's keys say of its slow part and of the cold, read once a bike."""

from __future__ import annotations

from typing import Any

import numpy as np

from ridesim.bike.schema import Cell
from ridesim.engine.columns import by_row
from ridesim.jit import plain
from ridesim.physics.pack import arrhenius_factor, charge_out_of_reach, cold_growth, resistance_activation
from ridesim.units import to_si

FREEZING_C = 0.0
"""The temperature at which a cell's figures of the cold are stated [degC]."""


def fast_ohm(cell: Cell) -> Any:
    """Return the fast part of a cell's resistance at 25 degC [ohm], in draws at most the whole where that is stated."""
    whole = cell.steady_resistance_mohm
    return to_si(cell.resistance_mohm if whole is None else np.minimum(cell.resistance_mohm, whole), "mohm")


def slow_ohm(cell: Cell) -> Any:
    """Return the slow part of a cell's resistance at 25 degC [ohm]; draws of the whole may lie below the fast part."""
    return np.maximum(to_si(cell.slow_mohm, "mohm"), 0.0)


def activations(cell: Cell) -> tuple[Any, Any]:
    """Return how the fast and the slow part rise in the cold [J/mol]: by their keys, or both as the whole does."""
    warm, cold = cell.steady_resistance_mohm, cell.steady_resistance_0_c_mohm
    if warm is None or cold is None:
        fast, slow = cell.activation_kj_per_mol, cell.polarisation_activation_kj_per_mol
        return to_si(fast, "kj_per_mol"), to_si(slow, "kj_per_mol")
    both = by_row(resistance_activation, np.maximum(cold / warm, 1.0), FREEZING_C)
    return both, both


def cold_numbers(cell: Cell) -> dict[str, Any]:
    """Return what the cold keeps out of reach: stated at 0 degC and 1C, read at any temperature by one exponential."""
    activation = to_si(cell.cold_capacity_activation_kj_per_mol, "kj_per_mol")
    loss = to_si(cell.cold_capacity_loss_percent, "percent")
    return {"cold_share": loss / by_row(plain(cold_growth), activation, FREEZING_C), "cold_activation": activation}


def steady_ohm(cell: Cell, temperature_c: float) -> float:
    """Return a cell's resistance under a lasting load at half charge [ohm], at a temperature of its own [degC]."""
    fast, slow = (float(arrhenius_factor(float(each), temperature_c)) for each in activations(cell))
    return float(fast_ohm(cell) * fast + slow_ohm(cell) * slow)


def out_of_reach(cell: Cell, temperature_c: float, c_rate: float = 1.0) -> float:
    """Return the share of a cell's charge that the cold keeps out of reach, beyond what resistance takes, at a rate."""
    numbers = cold_numbers(cell)
    share, activation = float(numbers["cold_share"]), float(numbers["cold_activation"])
    return c_rate * float(plain(charge_out_of_reach)(share, activation, temperature_c))
