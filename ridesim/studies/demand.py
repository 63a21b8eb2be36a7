"""What a steady load takes of each bound: 1 is the bound itself, more cannot be held.

Two kinds: what a cold bike meets at once (currents, voltage, grip), and what heat meets in the end: winding, magnets,
the foldbacks of motor and controller, and the cells. The map, the rating and the way out all ask here.
"""

from __future__ import annotations

import math

from ridesim.engine.gears import at_speed
from ridesim.engine.state import Parameters
from ridesim.physics import controller, pack
from ridesim.ride.limits import ROUNDING
from ridesim.studies.steady import Electric, Load, Settled, Still, controller_temp, electric_at, out_of_reach_ohm
from ridesim.units import to_si

HEAT = ("winding", "magnets", "motor_temperature", "controller_temperature", "cells")
"""Names of the bounds that heat meets."""
CELL_PASSES = 30
"""Rounds of Newton's method, which from the cold side never passes the root: resistance falls, less and less."""
CELL_TOLERANCE_K, SLOPE_K = 1e-3, 1e-3
KELVIN = to_si(0.0, "c")


def cold_demands(p: Parameters, still: Still, load: Load) -> dict[str, float]:
    """Return what a load takes of each bound while everything is as warm as the air."""
    return demands(p, still, load, electric_at(p, load, still, still.air_temp, still.air_temp))


def demands(p: Parameters, still: Still, load: Load, found: Electric) -> dict[str, float]:
    """Return what a load takes of each bound but heat."""
    share = controller.foldback(found.pack_voltage, p.low_voltage_start, p.low_voltage_end)
    return {
        "motor_current": found.arrow / p.drive_current,
        "pack_current": _ratio(found.pack_current, p.pack_current),
        "cell_rating": _ratio(found.pack_current, ROUNDING * still.cell_rating),
        "modulation": modulation(p, found),
        "low_voltage": _ratio(found.current, p.drive_current * share) if share < 1.0 else 0.0,
        "electrical_frequency": load.speed / at_speed(p, load.speed).top_electrical_speed,
        "assist_speed": load.speed / p.assist_speed,
        "motor_power": load.shaft_torque * load.motor_speed / p.shaft_power,
        "grip": (load.motor_force + p.pedal_share * load.pedal_force) / (p.drive_grip * load.cos_theta),
    }


def hardest(taken: dict[str, float]) -> str:
    """Return the bound that a load takes most of; above the legal speed that one, whatever else is passed there."""
    if taken["assist_speed"] > 1.0:
        return "assist_speed"
    return max(taken, key=lambda name: taken[name])


def modulation(p: Parameters, found: Electric) -> float:
    """Return what a load takes of the voltage; where field weakening makes room, what it takes of the most field."""
    if not found.pack_voltage > 0.0:
        return math.inf
    if 0.0 < found.field < p.field_current:
        return found.field / p.field_current
    return math.sqrt(found.voltage_squared) / (p.duty * found.pack_voltage)


def heat_demands(p: Parameters, still: Still, settled: Settled, found: Electric) -> dict[str, float]:
    """Return what a settled load takes of each bound of heat, named as in `HEAT`.

    A temperature counts as its rise above the air over the rise allowed; a foldback as the current over what it
    leaves, where both act the deeper one bears both.
    """
    air = still.air_temp
    by_motor = controller.foldback(settled.winding_temp, p.motor_fold_start, p.motor_fold_end)
    by_box = controller.foldback(controller_temp(p, still, found), p.controller_fold_start, p.controller_fold_end)
    both, deeper = by_motor * by_box, min(by_motor, by_box)
    return {
        "winding": _rise(settled.winding_temp, p.winding_limit, air),
        "magnets": _rise(settled.body_temp, p.body_limit, air),
        "motor_temperature": _ratio(found.arrow, p.drive_current * (both if by_motor == deeper else by_motor)),
        "controller_temperature": _ratio(found.arrow, p.drive_current * (both if by_box == deeper else by_box)),
        "cells": _rise(cells_temp(p, still, found), p.pack_temp_limit, air),
    }


def warm_demands(p: Parameters, still: Still, load: Load, settled: Settled) -> dict[str, float]:
    """Return what a settled load takes of every bound, heat included."""
    found = electric_at(p, load, still, settled.winding_temp, settled.body_temp)
    return {**demands(p, still, load, found), **heat_demands(p, still, settled, found)}


def cells_temp(p: Parameters, still: Still, found: Electric) -> float:
    """Return where the cells settle at a pack current [degC]: the warmer they are, the less their resistance.

    The current is that of the pack at its starting temperature; a warm pack sags less and gives a little less.
    """
    if not math.isfinite(found.pack_current):
        return math.inf
    per_ohm, temp = found.pack_current**2 / p.pack_to_air, still.air_temp
    for _ in range(CELL_PASSES):
        fast, slow = (pack.arrhenius_factor(each, temp) for each in (p.activation, p.slow_activation))
        cells, lasting = still.cells * fast, p.polarisation_resistance * slow
        kept, warmer = (_cold_ohm(p, still, each) for each in (temp, temp + SLOPE_K))
        missing = still.air_temp + per_ohm * (cells + kept + lasting + p.wiring_resistance) - temp
        if missing < CELL_TOLERANCE_K:
            break
        falls = (cells * p.activation + lasting * p.slow_activation) / pack.GAS_CONSTANT / (temp + KELVIN) ** 2
        temp += missing / (1.0 + per_ohm * (falls + (kept - warmer) / SLOPE_K))
    return temp


def _cold_ohm(p: Parameters, still: Still, cells_c: float) -> float:
    """Return what the cold adds to the pack's resistance at the charge at which it is held [ohm]."""
    if p.cold_share <= 0.0 or cells_c >= pack.CAPACITY_REFERENCE_C:
        return 0.0
    return out_of_reach_ohm(p, still.charge, still.cells / p.cell_resistance, cells_c)


def _rise(temp: float, limit: float, air: float) -> float:
    return (temp - air) / (limit - air) if limit > air else math.inf


def _ratio(value: float, bound: float) -> float:
    """Return value over bound; a value that does not exist, or a bound of nothing, is past it."""
    if not math.isfinite(value) or bound <= 0.0:
        return math.inf
    return value / bound
