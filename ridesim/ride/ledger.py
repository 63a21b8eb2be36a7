"""Every joule of a ride has a line; sources less sinks leave a residual at rounding level."""

from __future__ import annotations

import numpy as np

from ridesim.engine.state import Ledger
from ridesim.units import from_si

LINES: dict[Ledger, str] = {
    Ledger.CHEMISTRY_OUT: "pack_chemistry_out",
    Ledger.CHEMISTRY_IN: "pack_chemistry_in",
    Ledger.RIDER: "rider_in",
    Ledger.PACK_LOSS: "pack_loss",
    Ledger.PACK_POLARISATION_STORED: "pack_polarisation_stored",
    Ledger.CONTROLLER_LOSS: "controller_loss",
    Ledger.COPPER: "motor_copper_loss",
    Ledger.IRON: "motor_iron_loss",
    Ledger.STAGES: "drive_stage_loss",
    Ledger.PEDAL_CHAIN: "pedal_chain_loss",
    Ledger.AIR: "air_drag",
    Ledger.ROLLING: "rolling_drag",
    Ledger.BEARINGS: "bearing_drag",
    Ledger.FRICTION_BRAKES: "friction_brakes",
    Ledger.HEIGHT: "climbed_height",
    Ledger.KINETIC: "kinetic_energy",
}

SOURCES = (Ledger.CHEMISTRY_OUT, Ledger.RIDER)
"""Lines that give energy; every other line takes it."""


def ledger_wh(ledger: np.ndarray) -> dict[str, float]:
    """Return the ledger by name [Wh]; `ledger` in J, shape (lines,)."""
    return {name: from_si(float(ledger[line]), "wh") for line, name in LINES.items()}


def residual_fraction(ledger: np.ndarray) -> float:
    """Return sources less sinks over the energy taken from the pack and the rider (dimensionless)."""
    given = sum(float(ledger[line]) for line in SOURCES)
    taken = sum(float(ledger[line]) for line in LINES if line not in SOURCES)
    scale = max(float(ledger[Ledger.CHEMISTRY_OUT]), 1.0)
    return (given - taken) / scale
