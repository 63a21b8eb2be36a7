"""Pack, controller, heat and wires of a build, checked.

Sources: simulated rides, the cells' own ratings, `harness` for the copper. Margins are guesses and say so.
"""

from __future__ import annotations

from dataclasses import replace

from ridesim.bike.rough import pack_limit_a
from ridesim.bike.schema import Build
from ridesim.bike.second import drives_of
from ridesim.engine.estimates import estimate
from ridesim.ride.judge import Finding, as_judged, hold, look_again
from ridesim.workshop.loads import RideLoads
from ridesim.workshop.pack.care import charge_limit_a
from ridesim.workshop.pack.plan import cell_data
from ridesim.workshop.wire.contacts import STRIP_RISE_STOP_K
from ridesim.workshop.wire.harness import Harness

FREEZING_C = 0.0
"""No charging below (cell data sheets)."""


def check_voltage(build: Build, loads: RideLoads) -> list[Finding]:
    """Full pack, and what regen or a fast descent makes of it, against the controller's rating."""
    box, pack = build.controller, build.pack
    full = pack.series * max(pack.cell.max_voltage_v, pack.cell.open_circuit_v[-1])
    charging = box.brake_current_limit_a > 0.0 and build.drive.coupling == "fixed"
    bound = estimate(build).charge_voltage_limit_v if charging else 0.0
    with_regen = max(full, bound, loads.highest_pack_voltage_v)
    regen = "regen stops there" if charging else "no regen"
    rows = [("full", full, f"{pack.series} groups in series")]
    if with_regen > full or charging:
        ridden = f"{regen}; the ride's highest is {loads.highest_pack_voltage_v:.1f} V"
        rows.append(("with regen", with_regen, ridden))
    limit = box.voltage_limit_v
    if limit is None:
        words = "controller.voltage_limit_v is not stated, and a full pack can destroy the controller"
        name, volts, why = rows[0]
        found = look_again("supply_voltage", f"{why}; {words}", volts, subject=name)
        return [replace(found, cure="look up what the controller stands, and state it in controller.voltage_limit_v")]
    return [hold("supply_voltage", volts, limit, why, subject=name) for name, volts, why in rows]


def _controllers(build: Build) -> str:
    return "the controller" if build.drive.motors == 1 and build.second is None else "both controllers"


def _brakes(build: Build) -> bool:
    return build.controller.brake_current_limit_a > 0.0 and build.drive.coupling == "fixed"


def check_cell_limits(build: Build) -> list[Finding]:
    """What the controller's own limits ask of each cell, whether the ride used it or not."""
    pack = build.pack
    most = pack_limit_a(build)
    driving = most / pack.parallel
    found = [
        hold("cell_by_limit", driving, pack.cell.max_discharge_a,
             f"at the {most:g} A that {_controllers(build)} may draw, {_cells(pack.parallel)} in parallel"),
    ]  # fmt: skip
    braking = [each for each in drives_of(build) if _brakes(each)]
    if braking:
        allowed = sum(estimate(each).charge_current_limit_a for each in braking)
        let_in = "both controllers let" if len(braking) > 1 else "the controller lets"
        words = f"at the {allowed:g} A of charging that {let_in} in"
        found.append(hold("charge_by_limit", allowed / pack.parallel, pack.cell.max_charge_a, words))
    return found


def check_cold(build: Build) -> Finding:
    """What the day's temperature lets the cells be charged with."""
    pack = build.pack
    cell_c = build.weather.temperature_c if pack.start_temperature_c is None else pack.start_temperature_c
    each = charge_limit_a(cell_data(pack.cell, pack.resistance_factor), cell_c) * pack.parallel
    words = (
        f"the pack starts at {cell_c:g} °C; a charger may give {each:.1f} A there (a supplier's sheet: yours decides)"
    )
    if cell_c < FREEZING_C:
        words += ": lithium plates out when charged below 0 °C, by charger or regen; warm the pack first"
    return hold("cold_charging", cell_c, FREEZING_C, words)


def _cells(count: int) -> str:
    return "1 cell" if count == 1 else f"{count} cells"


def check_copper(harness: Harness) -> list[Finding]:
    """The leads that the ride asks for, and the fuse that guards them."""
    found = []
    for lead in harness.leads:
        if lead.kind == "charge":
            continue
        limit = lead.chosen.current_limit_a if lead.chosen else None
        rms = (lead.chosen or lead.tried[-1]).conductor_rms_a
        words = (
            f"rms of the ride against what the wire bears for good; take {lead.reason}" if lead.chosen else lead.reason
        )
        found.append(as_judged("lead", lead.verdict, rms, limit, words, subject=lead.kind))
    fuse = harness.fuse
    if fuse is not None:
        found.append(as_judged("fuse", fuse.verdict, fuse.rating_a, fuse.highest_a, f"{fuse.reason}; DC rated"))
    strip = harness.strip
    if strip is not None:
        words = f"{strip.thickness_mm:g} mm of {strip.metal} proposed: {strip.reason}"
        found.append(as_judged("strip_heat", strip.verdict, strip.rise_k, STRIP_RISE_STOP_K, words))
    return found
