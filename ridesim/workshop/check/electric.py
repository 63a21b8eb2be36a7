"""Pack, controller, heat and wires of a build, checked.

Sources: simulated rides, the cells' own ratings, `harness` for the copper. Margins are guesses and say so.
"""

from __future__ import annotations

from ridesim.bike.schema import Build
from ridesim.engine.estimates import estimate
from ridesim.engine.state import Stop
from ridesim.ride.simulate import Ride
from ridesim.ride.verdict import NEAR_LIMIT_K, STOP_WORDS
from ridesim.workshop.finding import Finding, verdict_below
from ridesim.workshop.limits import Verdict
from ridesim.workshop.loads import RideLoads
from ridesim.workshop.pack.care import charge_limit_a
from ridesim.workshop.pack.design import ROUNDING, judge_cell_current
from ridesim.workshop.pack.plan import cell_data
from ridesim.workshop.wire.harness import Harness

VOLTAGE_NEAR_SHARE = 0.95
"""Share of a controller's rating above which spikes on the leads have little room (guess)."""

FREEZING_C = 0.0
"""No charging below (cell data sheets)."""


def check_voltage(build: Build, loads: RideLoads) -> list[Finding]:
    """Full pack, and what regen or a fast descent makes of it, against the controller's rating."""
    box, pack = build.controller, build.pack
    full = pack.series * max(pack.cell.max_voltage_v, pack.cell.open_circuit_v[-1])
    found = estimate(build)
    charging = box.brake_current_limit_a > 0.0 and build.drive.coupling == "fixed"
    with_regen = max(full, found.charge_voltage_limit_v if charging else 0.0, loads.highest_pack_voltage_v)
    regen = "regen stops there" if charging else "no regen"
    rows = [
        ("pack voltage, full", full, f"{pack.series} groups in series"),
        (
            "pack voltage, with regen",
            with_regen,
            f"{regen}; the ride's highest is {loads.highest_pack_voltage_v:.1f} V",
        ),
    ]
    limit = box.voltage_limit_v
    if limit is None:
        words = "controller.voltage_limit_v is not stated: look it up, a full pack can destroy the controller"
        return [Finding(name, "look again", volts, None, "v", f"{reason}; {words}") for name, volts, reason in rows]
    return [
        Finding(name, verdict_below(volts, limit, VOLTAGE_NEAR_SHARE), volts, limit, "v", reason)
        for name, volts, reason in rows
    ]


def check_cells(build: Build, loads: RideLoads) -> list[Finding]:
    """Current of each cell against its rating: driving by the limit and by the ride, and charging by regen."""
    pack, box = build.pack, build.controller
    by_limit = judge_cell_current(box.pack_current_limit_a, pack.parallel, pack.cell.max_discharge_a)
    ridden = loads.peak_pack_current_a / pack.parallel
    words = f"at the controller's {box.pack_current_limit_a:g} A; the ride's peak is {ridden:.1f} A a cell"
    driving = Finding(
        "cell current, driving", by_limit.verdict, by_limit.cell_current_a, by_limit.limit_a, "a",
        f"{words}; {by_limit.reason}",
    )  # fmt: skip
    if box.brake_current_limit_a <= 0.0 or build.drive.coupling != "fixed":
        return [driving, Finding("cell current, charging", "fine", 0.0, pack.cell.max_charge_a, "a", "no regen")]
    allowed = estimate(build).charge_current_limit_a / pack.parallel
    rated = pack.cell.max_charge_a
    verdict: Verdict = "fine" if allowed <= rated * (1.0 + ROUNDING) else "look again"
    seen = loads.peak_charge_current_a / pack.parallel
    if seen > rated * (1.0 + ROUNDING):
        verdict = "stop"
    reason = f"what the controller's charging limit lets in; the ride's peak is {seen:.1f} A a cell"
    return [driving, Finding("cell current, charging", verdict, allowed, rated, "a", reason)]


def check_cold(build: Build) -> Finding:
    """What the day's temperature lets the cells be charged with."""
    pack = build.pack
    cell_c = build.weather.temperature_c if pack.start_temperature_c is None else pack.start_temperature_c
    each = charge_limit_a(cell_data(pack.cell, pack.resistance_factor), cell_c) * pack.parallel
    words = (
        f"the pack starts at {cell_c:g} °C; a charger may give {each:.1f} A there (a supplier's sheet: yours decides)"
    )
    if cell_c < FREEZING_C:
        cold = f"{words}: lithium plates out when charged below 0 °C, by charger or regen; warm the pack first"
        return Finding("cold charging", "stop", cell_c, FREEZING_C, "c", cold, True)
    verdict: Verdict = "fine" if cell_c >= FREEZING_C + 5.0 else "look again"
    return Finding("cold charging", verdict, cell_c, FREEZING_C, "c", words, True)


def check_ride(ride: Ride, loads: RideLoads, by_time: bool) -> Finding:
    """Whether the bike came through: to the end of the road, or through the minutes of the climb."""
    whole = ride.road.length_m / 1e3
    through = loads.finished or (by_time and ride.raw.stop is Stop.TIME_LIMIT)
    if not through:
        reason = f"{loads.ridden}: {STOP_WORDS[ride.raw.stop]}"
        return Finding("the ride itself", "stop", loads.distance_km, whole, "km", reason, True)
    wanted = ride.options.cruise_speed_km_h or ride.build.rider.cruise_speed_km_h
    pace = 3600.0 * loads.distance_km / loads.total_time_s
    reason = f"{loads.ridden}, at {pace:.1f} km/h on the mean, {wanted:g} km/h wanted"
    limit = whole if loads.finished else None  # a climb is ridden for its minutes, however far that is
    return Finding("the ride itself", "fine", loads.distance_km, limit, "km", reason, True)


def check_heat(build: Build, loads: RideLoads) -> list[Finding]:
    """Hottest winding and magnets of the ride against insulation class and magnet grade."""
    motor, box = build.motor, build.controller
    sensor = "" if box.motor_no_current_above_c is not None else "; no motor sensor guards it"
    where = f"hottest at km {loads.peak_winding_temp_at_km:.1f} ({loads.ridden}){sensor}"
    rows = (
        ("winding", loads.peak_winding_temp_c, motor.winding_limit_c, f"class {motor.insulation_class}, {where}"),
        ("magnets", loads.peak_body_temp_c, motor.magnet_limit_c,
         f"grade {motor.magnet_grade}, taken as warm as the motor's body; hotter ones weaken for good"),
    )  # fmt: skip
    return [
        Finding(name, verdict_below(peak, limit, 1.0 - NEAR_LIMIT_K / limit), peak, limit, "c", reason)
        for name, peak, limit, reason in rows
    ]


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
        found.append(Finding(f"{lead.kind} lead", lead.verdict, rms, limit, "a", words))
    fuse = harness.fuse
    if fuse is not None:
        found.append(Finding("fuse", fuse.verdict, fuse.rating_a, fuse.highest_a, "a", f"{fuse.reason}; DC rated"))
    return found
