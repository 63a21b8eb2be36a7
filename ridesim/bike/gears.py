"""Gears behind the motor's fixed stages: what they are, when they shift, and the pedal chain that may carry both."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

from pydantic import model_validator

from ridesim.schema.section import Number, Section, fault, key
from ridesim.schema.tolerance import by_source

MOST_GEARS = 14
"""Gears that a bike may have: as many as the largest gear hub made (common practice, no source)."""

MOST_RATIO, LEAST_RATIO = 10.0, 0.1
"""Turns in per turn out of one gear: wider than any bicycle's."""

GEAR_EFFICIENCY = {"hub": 0.93, "derailleur": 0.96, "gearbox": 0.96}
"""Load efficiency where a build names none. Hub: 90 % with its chain over 97 % for a bare chain (eight gears
against one, at 200 W; A. Oehler, fahrradzukunft 2015). Derailleur: a slanted chain, gearbox: one mesh (guesses)."""


CHAIN_PITCH_MM = 12.7
"""Of every bicycle chain: half an inch (ISO 9633)."""

USUAL_CHAIN_FORCE_N = 2600.0
"""Pull that a bicycle chain is used to: 200 N m, the peak of a strong rider, on a ring of 38 teeth. Where a build names
no limit, more is worth a word (guess; chains break at some 8000 N and more, ISO 9633, from memory)."""


def sprocket_radius_mm(teeth: float) -> float:
    """Return the pitch radius of a bicycle sprocket, mm: half of p / sin(pi / z). Source: chain geometry."""
    return 0.5 * CHAIN_PITCH_MM / math.sin(math.pi / teeth)


class Gear(NamedTuple):
    """One gear: turns in per turn out, and the share of the torque that it passes on."""

    turns: float
    efficiency: float


class Gears(Section):
    """Gears behind the fixed stages, shifted by the motor's speed. None: a drive of one ratio."""

    kind: Literal["hub", "derailleur", "gearbox"] = key(
        "hub", "hub and derailleur freewheel; a derailleur shifts only while rolling and is the chain itself"
    )
    ratios: tuple[Number, ...] = key((), "turns in per turn out, lowest gear (most turns) first; none: no gears")
    efficiency: float | None = key(
        None,
        "of the load in every gear; empty: hub 0.93 (Oehler 2015), derailleur or gearbox 0.96 (guess)",
        0.5,
        1,
        tolerance=by_source(0.015, 0.01, None, "hubs of 8 to 14 gears 0.90 to 0.97 less their chain (Oehler 2015)"),
    )
    efficiencies: tuple[Number, ...] = key((), "gear by gear, instead of efficiency")
    up_rpm: float | None = key(
        None, "motor speed at which it shifts up; empty: 75 % of its unloaded speed at half charge (guess)", 20, 100000
    )
    down_rpm: float | None = key(
        None, "motor speed at which it shifts down; empty: 90 % of where the widest step lands (guess)", 1, 100000
    )
    shift_time_s: float = key(0.4, "without force in a shift (default: guess)", 0.02, 5)
    input_torque_limit_nm: float | None = key(None, "most torque into the gears; empty: not checked", 1, 2000)
    chainring_teeth: int | None = key(None, "derailleur on the pedal chain: teeth of the ring it runs on", 8, 120)

    @model_validator(mode="after")
    def _gears_in_order(self) -> Gears:
        if len(self.ratios) > MOST_GEARS:
            raise fault("ratios", f"names {len(self.ratios)} gears; give at most {MOST_GEARS}")
        if any(not LEAST_RATIO <= ratio <= MOST_RATIO for ratio in self.ratios):
            raise fault("ratios", f"holds a gear outside {LEAST_RATIO:g} to {MOST_RATIO:g}; give turns in per turn out")
        if any(after >= before for before, after in zip(self.ratios, self.ratios[1:], strict=False)):
            raise fault("ratios", "do not fall from gear to gear; the lowest gear has the most turns in per turn out")
        return self

    @model_validator(mode="after")
    def _one_way_to_say_the_loss(self) -> Gears:
        given = self.efficiencies
        if given and self.efficiency is not None:
            raise fault("efficiency", "is given together with efficiencies; give one of them")
        if given and len(given) != len(self.ratios):
            raise fault("efficiencies", f"has {len(given)} values, ratios {len(self.ratios)}; give one a gear")
        if any(not 0.5 <= each <= 1.0 for each in given):
            raise fault("efficiencies", "holds a value outside 0.5 to 1; give the share of the torque passed on")
        return self

    @property
    def load_efficiency(self) -> float:
        """Share of the torque that is passed on, where it is the same in every gear."""
        return self.efficiency if self.efficiency is not None else GEAR_EFFICIENCY[self.kind]

    @property
    def steps(self) -> tuple[Gear, ...]:
        """Every gear, the lowest first; none without gears."""
        shares = self.efficiencies or (self.load_efficiency,) * len(self.ratios)
        return tuple(map(Gear, self.ratios, shares))

    @property
    def widest_step(self) -> float:
        """Share of the motor's speed that is left behind the up-shift that takes most of it; 1 for a single gear."""
        pairs = zip(self.ratios, self.ratios[1:], strict=False)
        return min((after / before for before, after in pairs), default=1.0)
