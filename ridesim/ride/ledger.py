"""Every joule of a ride has a line; sources less sinks leave a residual at rounding level."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ridesim.engine.state import Ledger
from ridesim.units import from_si


class Line(NamedTuple):
    """A line of the ledger: its name in JSON, and its words; `given`: those of a sink that gives instead.

    `by_build`: a better build can make it smaller; what air, tyres and height take is the road's.
    """

    name: str
    words: str
    given: str = ""
    by_build: bool = False


BOOK: dict[Ledger, Line] = {
    Ledger.CHEMISTRY_OUT: Line("pack_chemistry_out", "cells"),
    Ledger.CHEMISTRY_IN: Line("pack_chemistry_in", "back into the cells"),
    Ledger.RIDER: Line("rider_in", "rider"),
    Ledger.WALKER: Line("walker_in", "rider on foot", given="rider on foot"),
    Ledger.PACK_LOSS: Line("pack_loss", "heat in the pack", by_build=True),
    Ledger.PACK_POLARISATION_STORED: Line("pack_polarisation_stored", "cells' polarisation"),
    Ledger.CONTROLLER_LOSS: Line("controller_loss", "controller", by_build=True),
    Ledger.COPPER: Line("motor_copper_loss", "motor copper", by_build=True),
    Ledger.IRON: Line("motor_iron_loss", "motor iron and drag", by_build=True),
    Ledger.STAGES: Line("drive_stage_loss", "belts, chains, gears", by_build=True),
    Ledger.PEDAL_CHAIN: Line("pedal_chain_loss", "pedal chain"),
    Ledger.AIR: Line("air_drag", "air"),
    Ledger.ROLLING: Line("rolling_drag", "rolling"),
    Ledger.BEARINGS: Line("bearing_drag", "wheel bearings"),
    Ledger.FRICTION_BRAKES: Line("friction_brakes", "friction brakes", by_build=True),
    Ledger.HEIGHT: Line("climbed_height", "height gained", given="height lost"),
    Ledger.SHIFTS: Line("gear_shifts", "rotor slowed by shifts", given="rotor sped up by shifts"),
    Ledger.KINETIC: Line("kinetic_energy", "speed kept", given="speed given up"),
}
"""Every line, in the order of an answer."""
LINES: dict[Ledger, str] = {code: line.name for code, line in BOOK.items()}
SECOND_BOOK: dict[Ledger, Line] = {
    code: Line(f"second_{BOOK[code].name}", f"2nd: {BOOK[code].words}", by_build=True)
    for code in (Ledger.CONTROLLER_LOSS, Ledger.COPPER, Ledger.IRON, Ledger.STAGES)
}
"""The lines that a second, different drive has beside the first one's."""
LOSS_LINES: tuple[str, ...] = tuple(line.name for line in BOOK.values() if line.by_build)

SOURCES = (Ledger.CHEMISTRY_OUT, Ledger.RIDER, Ledger.WALKER)
"""Lines that give energy; every other line takes it."""


def ledger_wh(ledger: np.ndarray, second: np.ndarray | None = None) -> dict[str, float]:
    """Return the ledger by name [Wh]; `ledger`, and that of a `second` drive, in J, shape (lines,)."""
    own = {name: from_si(float(ledger[line]), "wh") for line, name in LINES.items()}
    if second is None:
        return own
    return own | {line.name: from_si(float(second[code]), "wh") for code, line in SECOND_BOOK.items()}


def residual_fraction(ledger: np.ndarray, second: np.ndarray | None = None) -> float:
    """Return sources less sinks over the energy taken from the pack and the rider (dimensionless)."""
    ledger = ledger if second is None else ledger + second
    given = sum(float(ledger[line]) for line in SOURCES)
    taken = sum(float(ledger[line]) for line in LINES if line not in SOURCES)
    scale = max(float(ledger[Ledger.CHEMISTRY_OUT]), 1.0)
    return (given - taken) / scale
