"""What flows in the leads of a bike: by hand, or of a ride; of the pack, of each of its controllers, of a motor.

Two motors have a controller each, fed by a lead of its own from where the pack's lead parts. Alike motors share evenly;
where their Kv differ, the one that works harder is what its leads are chosen for (`loads.heaviest_share`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ridesim.bike.rough import full_v, pack_resistance_ohm
from ridesim.bike.schema import Build
from ridesim.engine.params import motor_scale
from ridesim.units import from_si
from ridesim.workshop.loads import Floats, RideLoads, heaviest_share
from ridesim.workshop.pack.design import nominal_cell_v
from ridesim.workshop.pack.plan import CHARGER_C_RATE
from ridesim.workshop.wire.lead import LeadKind


class Flow(NamedTuple):
    """A current of one lead: rms, peak, and what lasts a minute [A]."""

    rms_a: float
    peak_a: float
    sustained_a: float


@dataclass(frozen=True, eq=False)
class Currents:
    """What flows; motor currents DC-equivalent and of one motor. The arrays are the ride's course, None: by hand.

    `controllers`: how many the pack feeds; `controller_share`: of the pack's current, at most, in one of their leads;
    `controller_limit_a`: what one of them draws at most, whatever its share (None: not known).
    """

    pack_rms_a: float
    pack_peak_a: float
    pack_peak_s: float
    pack_sustained_a: float
    motor_rms_a: float
    motor_peak_a: float
    motor_peak_s: float
    charge_a: float
    nominal_voltage_v: float
    full_voltage_v: float
    pack_resistance_mohm: float | None = None
    time_s: Floats | None = None
    pack_along_a: Floats | None = None
    motor_along_a: Floats | None = None
    controllers: int = 1
    controller_share: float = 1.0
    controller_limit_a: float | None = None
    cut_short: str = ""
    """How the ride behind the numbers ended early, in words."""

    @property
    def of_pack(self) -> Flow:
        """What the pack's own lead carries."""
        return Flow(self.pack_rms_a, self.pack_peak_a, self.pack_sustained_a)

    @property
    def of_controller(self) -> Flow:
        """What the lead of the hardest worked of several controllers carries; a single one has the pack's."""
        if self.controllers == 1:
            return Flow(0.0, 0.0, 0.0)
        return Flow(*(min(self.controller_share * each, self._most()) for each in self.of_pack))

    def along(self, kind: LeadKind) -> Floats | None:
        """Return the course of a lead's current over the ride [A], None where there is none."""
        if kind == "controller" and self.pack_along_a is not None:
            return np.minimum(self.controller_share * np.abs(self.pack_along_a), self._most())
        return {"pack": self.pack_along_a, "phase": self.motor_along_a}.get(kind)

    def _most(self) -> float:
        return math.inf if self.controller_limit_a is None else self.controller_limit_a


def currents_of(build: Build, loads: RideLoads, charge_a: float | None = None) -> Currents:
    """Return the currents of a simulated ride; the charger's is a guess unless given [A]."""
    pack, box, motors = build.pack, build.controller, build.drive.motors
    charger = CHARGER_C_RATE * pack.parallel * pack.cell.capacity_ah if charge_a is None else charge_a
    share = heaviest_share(build, loads)
    most = box.motor_current_limit_a * motor_scale(build)

    pack_peak = max(loads.peak_pack_current_a, loads.peak_charge_current_a)

    def of_motor(current_a: float) -> float:
        """Return the harder worked motor's current, never above its limit nor below the mean."""
        return max(current_a, min(motors * share * current_a, most))

    return Currents(
        pack_rms_a=loads.rms_pack_current_a,
        pack_peak_a=pack_peak,
        pack_peak_s=loads.pack_peak_s,
        pack_sustained_a=loads.sustained_pack_current_a,
        motor_rms_a=of_motor(loads.rms_motor_current_a),
        motor_peak_a=of_motor(loads.peak_motor_current_a),
        motor_peak_s=loads.motor_peak_s,
        charge_a=charger,
        nominal_voltage_v=pack.series * nominal_cell_v(pack.cell.max_voltage_v),
        full_voltage_v=max(full_v(build), pack.series * pack.cell.max_voltage_v),
        pack_resistance_mohm=from_si(pack_resistance_ohm(build), "mohm"),
        time_s=loads.time_s,
        pack_along_a=loads.pack_current_a,
        motor_along_a=loads.motor_current_a if share * motors == 1.0 else _of_motor(loads, motors * share, most),
        controllers=motors,
        controller_share=share,
        controller_limit_a=max(box.pack_current_limit_a, pack_peak / motors),
        cut_short=loads.cut_short,
    )


def _of_motor(loads: RideLoads, factor: float, most: float) -> Floats:
    course = np.abs(loads.motor_current_a)
    return np.maximum(course, np.minimum(factor * course, most))
