"""The energy that a season buys: what each charge puts back, from the wall."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ridesim.engine.state import Parameters
from ridesim.units import convert, from_si, to_si
from ridesim.workshop.pack.care import CHARGER_EFFICIENCY
from ridesim.workshop.season.history import ways_down
from ridesim.workshop.season.plan import CHARGER_C_RATE

__all__ = ["CHARGER_EFFICIENCY", "bought_wh", "refill_wh"]


def refill_wh(p: Parameters, low: float, high: float) -> float:
    """Return what the pack takes up at its terminals from one charge to a higher one [Wh].

    Resting voltage over the charge, and the charger's current through the pack's resistance at 25 degC.
    """
    grid = np.linspace(0.0, 1.0, len(p.open_voltage))
    inside = np.union1d(grid[(grid > low) & (grid < high)], (low, high))
    rest = float(np.trapezoid(np.interp(inside, grid, p.open_voltage), inside))
    current = CHARGER_C_RATE / (p.charge_per_coulomb * to_si(1.0, "h"))
    resistance = p.cell_resistance + p.wiring_resistance + p.polarisation_resistance
    return float(from_si((rest + current * resistance * (high - low)) / p.charge_per_coulomb, "wh"))


def bought_wh(p: Parameters, knots: tuple[np.ndarray, np.ndarray], refilled_to: float) -> float:
    """Return the energy from the wall for a year of charging [Wh]: every way down is filled again."""
    from ridesim.workshop.season.history import Knots

    found = [refill_wh(p, low, min(top, refilled_to)) for top, low in ways_down(Knots(*knots)) if low < refilled_to]
    return sum(found) / CHARGER_EFFICIENCY


def kwh(wh: float) -> float:
    """Return Wh in kWh."""
    return convert(wh, "w", "kw")


def mean(values: Sequence[float]) -> float:
    """Return the mean; 0 of none."""
    return float(np.mean(values)) if values else 0.0
