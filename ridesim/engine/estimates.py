"""What a builder rarely measures, estimated from mass and size. Every figure made here is shown as an estimate."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from ridesim.bike.schema import (
    LOW_VOLTAGE_END_SHARE,
    LOW_VOLTAGE_START_SHARE,
    Build,
    Motor,
    NoLoadPoint,
    Pack,
)
from ridesim.engine.columns import by_row
from ridesim.physics import cooling
from ridesim.units import to_si

COPPER_SHARE = 0.18
"""Copper in the mass of a hobby motor (guess)."""
COPPER_HEAT = 385.0
"""Specific heat of copper [J/(kg K)] (handbooks)."""
STEEL_HEAT = 460.0
"""Specific heat of steel [J/(kg K)] (handbooks)."""
SLOT_WALL = 100.0
"""Winding to body, per area of the can's side [W/(m2 K)] (guess, between published small motors)."""
WARMER_K = 60.0
"""Body above air for which still-air cooling is taken [K]."""
EMISSIVITY = 0.85
"""Of a painted or anodised can (guess)."""
ROTOR_SHARE = 0.45
"""Bell and magnets in the mass of an exterior-rotor motor (guess)."""
ROTOR_RADIUS_SHARE = 0.46
"""Radius of gyration to can diameter (guess)."""
DRAG_PER_MASS = 0.05
"""Hysteresis torque, and again eddy torque at the no-load speed on 44 V, per motor mass [N m/kg] (guess)."""
DRAG_VOLTAGE = 44.0
CELL_HEAT = 1000.0
"""Specific heat of a lithium-ion cell [J/(kg K)]; measured cells lie between 900 and 1300."""
CASE_COEFFICIENT = 6.0
"""Pack case to still air [W/(m2 K)] (guess)."""
COOLING_REFERENCE_SPEED = 10.0
"""36 km/h [m/s]: where moving-air cooling is stated."""


@dataclass(frozen=True)
class Estimates:
    """The figures a ride uses, measured or estimated, in the build file's units; `guessed` names the estimated ones."""

    rotor_inertia_kg_m2: float
    winding_heat_capacity_j_per_k: float
    body_heat_capacity_j_per_k: float
    winding_to_body_w_per_k: float
    body_to_air_still_w_per_k: float
    body_to_air_at_36_km_h_w_per_k: float
    hysteresis_torque_nm: float
    eddy_torque_nm_s: float
    pack_to_air_w_per_k: float
    pack_heat_capacity_j_per_k: float
    charge_current_limit_a: float
    charge_voltage_limit_v: float
    full_current_above_v: float
    no_current_below_v: float
    guessed: tuple[str, ...]


def _of_all(limit_a: float | None, motors: int) -> float | None:
    """What several controllers let into one pack together."""
    return None if limit_a is None else limit_a * motors


def charge_share(build: Build) -> Any:
    """Return the share of what the cells may be charged with that this drive's controller is set to, by default.

    Two controllers on one pack know nothing of each other: as each may draw, so is each taken to be let charge.
    """
    if build.second is None:
        return 1.0
    own, other = build.controller.pack_current_limit_a, build.second.controller.pack_current_limit_a
    return own / (own + other)


def can_area(motor: Motor) -> float:
    """Return the outer surface of the motor's can, both ends included [m2]."""
    d, length = to_si(motor.can_diameter_mm, "mm"), to_si(motor.can_length_mm, "mm")
    return math.pi * d * length + 0.5 * math.pi * d * d


def still_conductance(motor: Motor) -> float:
    """Return body to still air [W/K]: Churchill and Chu (1975) and radiation over the can's surface."""
    air_k = cooling.FILM_TEMPERATURE_K - 0.5 * WARMER_K
    h = by_row(cooling.still_air_coefficient, to_si(motor.can_diameter_mm, "mm"), WARMER_K)
    return can_area(motor) * (h + cooling.radiation_coefficient(EMISSIVITY, air_k + WARMER_K, air_k))


def moving_conductance(motor: Motor) -> float:
    """Return body to air at 10 m/s [W/K]: Churchill and Bernstein (1977) and radiation over the can's surface."""
    air_k = cooling.FILM_TEMPERATURE_K - 0.5 * WARMER_K
    h = by_row(cooling.moving_air_coefficient, to_si(motor.can_diameter_mm, "mm"), COOLING_REFERENCE_SPEED)
    return can_area(motor) * (h + cooling.radiation_coefficient(EMISSIVITY, air_k + WARMER_K, air_k))


def drag_terms(motor: Motor) -> tuple[float, float]:
    """Return tau_0 [N m] and tau_1 [N m s/rad]: stated, else by least squares over no-load points, or from the mass.

    Torque at a point is K_t I. A negative term is noise of the readings: it is set to zero and the other refitted.
    """
    still, growth = motor.drag_torque_nm, motor.drag_growth_nm_s
    tau_0, tau_1 = _unstated_drag(motor)
    stated = None if growth is None else growth * (1.0 + motor.extra_eddy_fraction)
    return tau_0 if still is None else still, tau_1 if stated is None else stated


def _unstated_drag(motor: Motor) -> tuple[float, float]:
    k = 1.0 / to_si(motor.kv_rpm_per_v, "rpm_per_v")
    if not motor.no_load:
        half = DRAG_PER_MASS * motor.mass_kg
        return half, half * (1.0 + motor.extra_eddy_fraction) * k / DRAG_VOLTAGE
    still, per_speed = _fitted_line(motor.no_load)
    return k * still, k * per_speed * (1.0 + motor.extra_eddy_fraction)


def _fitted_line(points: tuple[NoLoadPoint, ...]) -> tuple[float, float]:
    """Return the no-load current at rest [A] and its rise with speed [A s/rad], neither negative."""
    speeds = [to_si(point.speed_rpm, "rpm") for point in points]
    n = len(points)
    mean_w, mean_i = sum(speeds) / n, sum(point.current_a for point in points) / n
    slope = sum((w - mean_w) * (point.current_a - mean_i) for w, point in zip(speeds, points, strict=True))
    slope /= sum((w - mean_w) ** 2 for w in speeds)
    if slope < 0.0:
        return mean_i, 0.0
    if mean_i - slope * mean_w < 0.0:
        return 0.0, mean_i / mean_w
    return mean_i - slope * mean_w, slope


def pack_case_conductance(pack: Pack) -> float:
    """Return pack to air [W/K]: a cube around the cells, square packed, in still air."""
    cell = pack.cell
    volume = pack.cells * to_si(cell.diameter_mm, "mm") ** 2 * to_si(cell.length_mm, "mm")
    return CASE_COEFFICIENT * 6.0 * volume ** (2 / 3)


def _cell_voltage(pack: Pack, share: float) -> float:
    cell = pack.cell
    return pack.series * (cell.min_voltage_v + share * (cell.max_voltage_v - cell.min_voltage_v))


def estimate(build: Build) -> Estimates:
    """Return every figure that a build may leave open, with the names of those that were estimated."""
    motor, box, pack = build.motor, build.controller, build.pack
    tau_0, tau_1 = drag_terms(motor)
    radius = ROTOR_RADIUS_SHARE * to_si(motor.can_diameter_mm, "mm")
    side = math.pi * to_si(motor.can_diameter_mm, "mm") * to_si(motor.can_length_mm, "mm")
    found: dict[str, tuple[float | None, float]] = {
        "motor.rotor_inertia_kg_m2": (motor.rotor_inertia_kg_m2, ROTOR_SHARE * motor.mass_kg * radius**2),
        "motor.winding_heat_capacity_j_per_k": (
            motor.winding_heat_capacity_j_per_k, COPPER_SHARE * motor.mass_kg * COPPER_HEAT),
        "motor.body_heat_capacity_j_per_k": (
            motor.body_heat_capacity_j_per_k, (1.0 - COPPER_SHARE) * motor.mass_kg * STEEL_HEAT),
        "motor.winding_to_body_w_per_k": (motor.winding_to_body_w_per_k, SLOT_WALL * side),
        "motor.body_to_air_still_w_per_k": (motor.body_to_air_still_w_per_k, still_conductance(motor)),
        "motor.body_to_air_at_36_km_h_w_per_k": (motor.body_to_air_at_36_km_h_w_per_k, moving_conductance(motor)),
        "pack.to_air_w_per_k": (pack.to_air_w_per_k, pack_case_conductance(pack)),
        "controller.charge_current_limit_a": (
            _of_all(box.charge_current_limit_a, build.drive.motors),
            charge_share(build) * pack.parallel * pack.cell.max_charge_a),
        "controller.charge_voltage_limit_v": (
            box.charge_voltage_limit_v, pack.series * pack.cell.max_voltage_v),
        "controller.full_current_above_v": (box.full_current_above_v, _cell_voltage(pack, LOW_VOLTAGE_START_SHARE)),
        "controller.no_current_below_v": (box.no_current_below_v, _cell_voltage(pack, LOW_VOLTAGE_END_SHARE)),
    }  # fmt: skip
    values = {name.split(".")[1]: given if given is not None else made for name, (given, made) in found.items()}
    values["pack_to_air_w_per_k"] = values.pop("to_air_w_per_k")
    guessed = [name for name, (given, _) in found.items() if given is None]
    if not motor.no_load and (motor.drag_torque_nm is None or motor.drag_growth_nm_s is None):
        guessed.append("motor.no_load")
    return Estimates(
        **values,
        hysteresis_torque_nm=tau_0,
        eddy_torque_nm_s=tau_1,
        pack_heat_capacity_j_per_k=pack.cells * pack.cell.mass_kg * CELL_HEAT,
        guessed=tuple(guessed),
    )
