"""The copper of a bike of two different drives: what both share, and leads, fuse and pre-charge of each controller.

A controller's own pack lead is the one from where the common lead parts.
"""

from __future__ import annotations

from dataclasses import replace

from ridesim.bike.rough import pack_limit_a
from ridesim.ride.drives import FIRST, SECOND, each_drive
from ridesim.ride.simulate import Ride
from ridesim.workshop.limits import worst_verdict
from ridesim.workshop.loads import loads_of
from ridesim.workshop.wire.flows import Currents, currents_of
from ridesim.workshop.wire.harness import Habits, Harness, design_harness, habits_of


def harness_of_ride(
    ride: Ride, habits: Habits, charge_a: float | None = None, *, capacitance_uf: float | None = None,
    standby_power_w: float | None = None, precharged: bool = True,
) -> Harness:  # fmt: skip
    """Return the copper that a ride asks for; of two different drives that of each controller too. Raises RidesimError.

    `capacitance_uf` and `standby_power_w`: of every controller, in place of the build's; without `precharged` nobody
    asks for a resistor.
    """
    if ride.build.second is None:
        return design_harness(currents_of(ride.build, loads_of(ride), charge_a), habits, ride.road.name)
    parts = []
    for each in each_drive(ride):
        own = habits_of(each.build)
        fills = own.capacitance_uf if capacitance_uf is None else capacitance_uf
        draws = own.standby_power_w if standby_power_w is None else standby_power_w
        mine = replace(
            habits, strip=None, pack_length_m=habits.controller_length_m, standby_power_w=draws,
            capacitance_uf=fills if precharged else None,
        )  # fmt: skip
        parts.append(design_harness(_branch(currents_of(each.build, loads_of(each, of_a_drive=True))), mine))
    both = currents_of(ride.build, loads_of(ride, of_a_drive=True), charge_a)
    most = max(pack_limit_a(ride.build), both.pack_peak_a)
    shared = replace(both, motor_rms_a=0.0, motor_peak_a=0.0, motor_along_a=None, controller_limit_a=most)
    trunk = design_harness(shared, replace(habits, capacitance_uf=None), ride.road.name)
    named = list(zip((FIRST, SECOND), parts, strict=True))
    found = [(trunk.verdict, f"both drives: {trunk.reason}")]
    found += [(part.verdict, f"{name}: {part.reason}") for name, part in named]
    calm = "; ".join(reason for _, reason in found)
    verdict, reason = worst_verdict(found, calm)
    return replace(trunk, verdict=verdict, reason=reason, drives=tuple(parts))


def _branch(currents: Currents) -> Currents:
    """Return the currents of one controller's own leads: its charger is the pack's."""
    return replace(currents, charge_a=0.0)
