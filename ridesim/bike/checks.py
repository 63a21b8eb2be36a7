"""Plausibility across parts: what looks wrong is a warning with its cure; what cannot start is in `startable`."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from ridesim.bike.rough import (
    FASTER_GEARING,
    SLOWER_GEARING,
    full_v,
    low_voltage_v,
    pack_limit_a,
    pack_resistance_ohm,
    resting_v,
    unloaded_speed_km_h,
    usual_wheel_kv_rpm_per_v,
    wheel_kv_rpm_per_v,
)
from ridesim.bike.schema import Build
from ridesim.bike.second import seen_by_second
from ridesim.bike.startable import OF_SECOND
from ridesim.units import convert, from_si, to_si

WHEEL_KV_RANGE = (6.0, 16.0)
"""Rpm per volt at the wheel, as on a usual wheel and pack, beyond which it is worth a word (guess)."""

EARLY_FOLDBACK_CHARGE = 0.3
"""A low-voltage foldback that acts above this charge wastes the pack (guess)."""

FULL_CELL_MISMATCH_V = 0.2
"""Most difference of `max_voltage_v` and the end of the resting curve (guess)."""

LEAST_LIMIT_A = 1.0
"""A pack current limit below this is no advice: `controller.pack_current_limit_a` begins there."""

COLD_C, HOT_C = 5.0, 35.0
"""Air outside these is worth a word (guess)."""


def plausibility(build: Build) -> tuple[str, ...]:
    """Return a warning, with number and cure, for each thing that looks wrong together."""
    found = tuple(text for check in LOOKS_WRONG for text in check(build))
    if build.second is None:
        return found
    seen = seen_by_second(build)
    more = (text for check in LOOKS_WRONG for text in check(seen) if text not in found)
    return (*found, *(f"{OF_SECOND.capitalize()}{text}" for text in more))


def _supply_voltage(build: Build) -> Iterator[str]:
    limit, cell, series = build.controller.voltage_limit_v, build.pack.cell, build.pack.series
    full = series * max(cell.max_voltage_v, cell.open_circuit_v[-1])
    if limit is not None and full > limit:
        yield (
            f"The full pack has {full:.1f} V, above controller.voltage_limit_v = {limit:g} V: it can destroy the "
            "controller. Use fewer cells in series, or a controller for that voltage."
        )
    charge = build.controller.charge_voltage_limit_v
    if charge is not None and charge > series * cell.max_voltage_v:
        yield (
            f"controller.charge_voltage_limit_v = {charge:g} V lets regen overcharge the cells (full: "
            f"{series * cell.max_voltage_v:.1f} V). Lithium cells can catch fire from that: lower it."
        )


def _cell_curve(build: Build) -> Iterator[str]:
    cell = build.pack.cell
    apart = cell.open_circuit_v[-1] - cell.max_voltage_v
    if abs(apart) > FULL_CELL_MISMATCH_V:
        yield (
            f"The cell's voltage curve ends at {cell.open_circuit_v[-1]:g} V, but pack.cell.max_voltage_v = "
            f"{cell.max_voltage_v:g} V. Give the curve and the limits of the same chemistry."
        )


def _low_voltage(build: Build) -> Iterator[str]:
    (start, end), series = low_voltage_v(build), build.pack.series
    limit = pack_limit_a(build)
    loaded = resting_v(build, EARLY_FOLDBACK_CHARGE) - limit * pack_resistance_ohm(build, slow=True)
    if loaded < start:
        yield (
            f"The low-voltage foldback starts at {start:.1f} V ({start / series:.2f} V a cell), but with "
            f"{from_si(EARLY_FOLDBACK_CHARGE, 'percent'):.0f} % of the charge left the pack gives {loaded:.1f} V at "
            f"its {limit:g} A limit: current is cut back early. {_later_foldback(build, start, loaded)}{_colder(build)}"
        )
    if end / series < build.pack.cell.min_voltage_v:
        yield (
            f"The low-voltage foldback ends at {end:.1f} V ({end / series:.2f} V a cell), below "
            f"pack.cell.min_voltage_v = {build.pack.cell.min_voltage_v:g} V: cells can be emptied too far. "
            "Raise controller.no_current_below_v."
        )
    now = resting_v(build, build.pack.start_charge_fraction)
    if now <= end:
        yield (
            f"At pack.start_charge_fraction = {build.pack.start_charge_fraction:g} the pack rests at {now:.1f} V, not "
            f"above the low-voltage end of {end:.1f} V: the motor will not start. Charge it first."
        )


def _colder(build: Build) -> str:
    """Say that the sum is of a warm pack, where the build's starts cold: cells resist more there."""
    start = _pack_start_c(build)
    if start >= COLD_C:
        return ""
    return f" All this is reckoned at 25 °C: at {start:g} °C the pack sags more and still less current keeps it up."


def _later_foldback(build: Build, start: float, loaded: float) -> str:
    """What lets current be cut back later: another foldback only where the cells are not empty there."""
    empty = loaded <= build.pack.series * build.pack.cell.min_voltage_v
    ways = [] if empty else ["set controller.full_current_above_v and no_current_below_v for these cells"]
    ways.append("put more of them in parallel")
    fits = (resting_v(build, EARLY_FOLDBACK_CHARGE) - start) / pack_resistance_ohm(build, slow=True)
    if fits / build.drive.motors >= LEAST_LIMIT_A:
        each = math.floor(10.0 * fits / build.drive.motors) / 10.0
        words = "lower controller.pack_current_limit_a to" if build.second is None else "let both drives draw at most"
        ways.append(f"{words} {each:g} A")
    told = ", or ".join(filter(None, (", ".join(ways[:-1]), ways[-1])))
    return f"The cells are empty there, so no foldback helps: {told}." if empty else f"{told[0].upper()}{told[1:]}."


def _pack_sag(build: Build) -> Iterator[str]:
    limit, resistance, full = pack_limit_a(build), pack_resistance_ohm(build), full_v(build)
    if full - limit * resistance <= low_voltage_v(build)[1]:
        yield (
            f"At controller.pack_current_limit_a = {limit:g} A even the full pack sags by {limit * resistance:.1f} V, "
            f"to the low-voltage end. Its {from_si(resistance, 'mohm'):.0f} mΩ are too much: more cells in "
            "parallel, or a lower current limit."
        )


def _cell_currents(build: Build) -> Iterator[str]:
    controller, pack = build.controller, build.pack
    each = pack_limit_a(build) / pack.parallel
    if each > pack.cell.max_discharge_a and build.second is not None:
        yield (
            f"The pack current limits of both drives, {pack_limit_a(build):g} A together, are {each:.1f} A a cell, "
            f"above its rating of {pack.cell.max_discharge_a:g} A. Lower them to "
            f"{pack.cell.max_discharge_a * pack.parallel:g} A together, or put more cells in parallel."
        )
    elif each > pack.cell.max_discharge_a:
        yield (
            f"controller.pack_current_limit_a = {controller.pack_current_limit_a:g} A is {each:.1f} A a cell, above "
            f"its rating of {pack.cell.max_discharge_a:g} A. Lower the limit to "
            f"{pack.cell.max_discharge_a * pack.parallel / build.drive.motors:g} A, or put more cells in parallel."
        )
    if build.second is not None:
        yield from _charging_together(build)
    if controller.charge_current_limit_a is None or controller.brake_current_limit_a <= 0:
        return
    charge = build.drive.motors * controller.charge_current_limit_a
    if charge / pack.parallel > pack.cell.max_charge_a:
        yield (
            f"controller.charge_current_limit_a = {controller.charge_current_limit_a:g} A is "
            f"{charge / pack.parallel:.1f} A a cell, above its charging rating of {pack.cell.max_charge_a:g} A. "
            f"Lower it to {pack.cell.max_charge_a * pack.parallel / build.drive.motors:g} A."
        )


def _charging_together(build: Build) -> Iterator[str]:
    """Two controllers on one pack know nothing of each other: what both let in adds up."""
    boxes = [each.controller for each in (build, seen_by_second(build)) if each.drive.coupling == "fixed"]
    stated = [box.charge_current_limit_a for box in boxes if box.brake_current_limit_a > 0.0]
    together, rating = sum(each for each in stated if each is not None), build.pack.cell.max_charge_a
    if None not in stated and len(stated) > 1 and together / build.pack.parallel > rating:
        yield (
            f"The charge current limits of both drives, {together:g} A together, are "
            f"{together / build.pack.parallel:.1f} A a cell, above its charging rating of {rating:g} A. Lower them to "
            f"{rating * build.pack.parallel:g} A together."
        )


def _electrical_frequency(build: Build) -> Iterator[str]:
    limit = build.controller.electrical_frequency_limit_hz
    shaft = convert(build.motor.kv_rpm_per_v * full_v(build), "rpm", "rev_per_s")
    top = shaft * build.controller.modulation_limit * build.motor.pole_pairs
    if top > limit:
        yield (
            f"Unloaded on the full pack the motor reaches {top:.0f} Hz (pole pairs x turns a second), above "
            f"controller.electrical_frequency_limit_hz = {limit:g}: the controller cuts out at "
            f"{unloaded_speed_km_h(build) * limit / top:.0f} km/h. Check that it is rated for more, or choose "
            f"{FASTER_GEARING}."
        )


def _wheel_kv(build: Build) -> Iterator[str]:
    like, (low, high) = usual_wheel_kv_rpm_per_v(build), WHEEL_KV_RANGE
    if not low <= like <= high:
        cure = f"{SLOWER_GEARING} or less Kv" if like > high else f"{FASTER_GEARING} or more Kv"
        direct = "" if build.drive.stage else " No [[drive.stage]] is given, so the motor turns with the wheel itself."
        yield (
            f"Seen from the wheel the motor makes {wheel_kv_rpm_per_v(build):.1f} rpm per volt; with this wheel and "
            f"pack that is as fast as {like:.1f} on a 26 to 28 inch wheel and 44 to 48 V, where 9 to 11 is usual "
            f"(common practice, no source). It may be meant so; else choose {cure}. A ride tells.{direct}"
        )


def _speed(build: Build) -> Iterator[str]:
    top, cruise = unloaded_speed_km_h(build), build.rider.cruise_speed_km_h
    if top < cruise and build.controller.field_weakening_current_a <= 0.0:  # how far that goes only a ride tells
        yield (
            f"Even unloaded on the full pack the motor reaches only {top:.0f} km/h, below rider.cruise_speed_km_h = "
            f"{cruise:g} km/h. Raise the voltage or Kv, or choose {FASTER_GEARING}."
        )


def _regen(build: Build) -> Iterator[str]:
    brake, fixed = build.controller.brake_current_limit_a, build.drive.coupling == "fixed"
    if brake > 0 and not fixed:
        yield (
            f"controller.brake_current_limit_a = {brake:g} A asks for regen, but drive.coupling is a freewheel, which "
            'cannot brake. Set it to 0, or coupling = "fixed".'
        )
    if brake == 0 and fixed:
        yield (
            "The drive is fixed, so the motor's drag is paid when coasting, but controller.brake_current_limit_a = 0 A "
            'gives no regen in return. Set a brake current, or coupling = "freewheel".'
        )


def _motor_heat(build: Build) -> Iterator[str]:
    end, limit = build.controller.motor_no_current_above_c, build.motor.winding_limit_c
    if end is None:
        yield (
            "No motor temperature sensor: nothing holds the current back when the winding gets hot. Fit one and set "
            "controller.motor_full_current_below_c and motor_no_current_above_c."
        )
    elif end > limit:
        yield (
            f"controller.motor_no_current_above_c = {end:g} °C is above the winding's limit of {limit:g} °C (class "
            f"{build.motor.insulation_class}). Lower it to {limit:g} °C or less."
        )


def _no_load(build: Build) -> Iterator[str]:
    points = sorted(build.motor.no_load, key=lambda point: point.speed_rpm)
    if points and points[-1].current_a < points[0].current_a:
        yield (
            f"motor.no_load falls from {points[0].current_a:g} A at {points[0].speed_rpm:g} rpm to "
            f"{points[-1].current_a:g} A at {points[-1].speed_rpm:g} rpm; drag rises with speed. Measure again."
        )
    if points and None not in (build.motor.drag_torque_nm, build.motor.drag_growth_nm_s):
        yield "motor.no_load is not read: drag_torque_nm and drag_growth_nm_s stand in its place. Leave it out."
    for point in points:
        if to_si(build.motor.resistance_mohm, "mohm") * point.current_a * build.motor.kv_rpm_per_v > point.speed_rpm:
            yield (
                f"motor.no_load has {point.current_a:g} A at {point.speed_rpm:g} rpm: more voltage lost in the copper "
                "than made by turning. That motor was loaded or stalled; measure again."
            )


def _brakes(build: Build) -> Iterator[str]:
    brakes = build.brakes
    without = [name for name, each in (("front", brakes.front), ("rear", brakes.rear)) if each.kind == "none"]
    if without:
        named = " and ".join(f"brakes.{name}.kind" for name in without)
        verb = "are" if len(without) > 1 else "is"
        yield (
            f'{named} {verb} "none": regen is no second brake, for a full or cold pack takes none and a broken drive '
            "ends it. Fit two friction brakes, each of which stops the bike alone; local law asks for them too."
        )


def _assist(build: Build) -> Iterator[str]:
    if build.controller.throttle_law == "assist" and build.rider.power_w * build.controller.assist_factor == 0:
        yield (
            "controller.throttle_law is assist, but rider.power_w x controller.assist_factor is 0 W: the motor never "
            "helps. Raise both above 0, or choose another law."
        )


def _pack_start_c(build: Build) -> float:
    start = build.pack.start_temperature_c
    return build.weather.temperature_c if start is None else start


def _weather(build: Build) -> Iterator[str]:
    air, pack = build.weather.temperature_c, _pack_start_c(build)
    if pack < 0 and build.controller.brake_current_limit_a > 0:
        yield (
            f"The pack starts at {pack:g} °C: lithium cells must not be charged below 0 °C, so there is no regen until "
            "they are warm. Keep the pack indoors and set pack.start_temperature_c."
        )
    elif pack < COLD_C:
        yield (
            f"The pack starts at {pack:g} °C: cold cells sag more and give less range. Keep the pack indoors and set "
            "pack.start_temperature_c."
        )
    if air > HOT_C:
        yield f"Air of {air:g} °C leaves motor and pack less room to warm up. Ride in the morning, or lower the limits."


LOOKS_WRONG: tuple[Callable[[Build], Iterator[str]], ...] = (
    _supply_voltage,
    _cell_curve,
    _low_voltage,
    _pack_sag,
    _cell_currents,
    _electrical_frequency,
    _wheel_kv,
    _speed,
    _regen,
    _motor_heat,
    _brakes,
    _no_load,
    _assist,
    _weather,
)
