"""The motor's keys, and the limits that its insulation class and magnet grade set."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from ridesim.schema.section import Section, fault, key
from ridesim.schema.tolerance import by_source

INSULATION_LIMIT_C = {"A": 105.0, "E": 120.0, "B": 130.0, "F": 155.0, "H": 180.0, "N": 200.0, "R": 220.0}
"""Hottest allowed winding temperature by thermal class. Source: IEC 60085:2007, table 1."""

MAGNET_LIMIT_C = {
    "plain": 80.0, "M": 100.0, "H": 120.0, "SH": 150.0, "UH": 180.0, "EH": 200.0,
}  # fmt: skip
"""Hottest working temperature of neodymium magnets by grade letter (makers' charts; common practice, no standard)."""


class NoLoadPoint(Section):
    """A bench reading with nothing on the shaft."""

    speed_rpm: float = key(..., "shaft speed", above=0, high=100000)
    current_a: float = key(..., "DC current into the motor alone", above=0, high=100)


class Motor(Section):
    """A brushless permanent-magnet motor. Can live in a part file of its own."""

    name: str = key("motor", "what you call it")
    kv_rpm_per_v: float = key(
        ...,
        "unloaded speed per volt, line to line, peak",
        1,
        5000,
        tolerance=by_source(
            "8 %",
            "8 %",
            "1 %",
            "12 of 13 measured outrunners lie within -10 to +11 % of the label; 1 %: drill and meter",
        ),
    )
    resistance_mohm: float = key(
        ...,
        "between two leads, at 20 °C",
        0.1,
        20000,
        tolerance=by_source("x/ 1.25", "10 %", "3 %", "20 % from size (Saemi 2024); 3 %: the drop at 20 A"),
    )
    inductance_uh: float = key(
        60.0,
        "between two leads, the largest while the rotor is turned (default: guess)",
        0,
        100000,
        tolerance=by_source("x/ 1.5", "20 %", "5 %", "guess"),
    )
    salience: float = key(
        1.0,
        "largest over smallest inductance while the rotor is turned, Lq/Ld; 1: magnets on the surface. Acts with "
        "field_weakening_current_a; d-axis current below the voltage limit (most torque per ampere) is not ridden",
        1,
        10,
        tolerance=by_source("exact", "10 %", "3 %", "guess; 3 %: a meter across two leads at both places"),
    )
    pole_pairs: int = key(..., "magnets / 2", 1, 100)
    no_load: tuple[NoLoadPoint, ...] = key(
        (),
        "bench readings at two speeds or more; empty: estimated from the mass",
        tolerance=by_source("x/ 1.6", "20 %", "7 %", "guess: hysteresis and eddy drag together"),
    )
    drag_torque_nm: float | None = key(
        None,
        "part of the drag that is there at any speed (bearings, hysteresis); empty: from no_load",
        0,
        100,
        tolerance=by_source("x/ 1.6", "20 %", "7 %", "as no_load"),
    )
    drag_growth_nm_s: float | None = key(
        None,
        "part of the drag that grows with speed, per rad/s (eddy currents); empty: from no_load",
        0,
        1,
        tolerance=by_source("x/ 1.6", "20 %", "7 %", "as no_load"),
    )
    extra_eddy_fraction: float = key(0.0, "more eddy drag, for metal close to the magnets", 0, 10)
    mass_kg: float = key(
        ...,
        "motor alone",
        0.02,
        60,
        tolerance=by_source(
            "10 %", "3 %", "0.5 %", "guess; 10 % for a motor sized from its can (Saemi 2024); 0.5 %: a scale"
        ),
    )
    can_diameter_mm: float = key(..., "outer diameter", 10, 600)
    can_length_mm: float = key(..., "length without the shaft", 5, 600)
    shaft_diameter_mm: float | None = key(None, "of the shaft that carries the pulley; empty: not known", 2, 60)
    shaft_side_load_limit_n: float | None = key(
        None, "side load that its maker allows on the shaft; empty: not stated", 1, 50000
    )
    rotor_inertia_kg_m2: float | None = key(
        None,
        "moment of inertia; empty: estimated from mass and diameter",
        0,
        1,
        tolerance=by_source("x/ 1.25", "15 %", "5 %", "guess"),
    )
    winding_heat_capacity_j_per_k: float | None = key(
        None,
        "empty: estimated from the mass",
        1,
        20000,
        tolerance=by_source("x/ 1.25", "x/ 1.15", "7 %", "copper share of the mass, guess"),
    )
    body_heat_capacity_j_per_k: float | None = key(
        None,
        "empty: estimated from the mass",
        1,
        50000,
        tolerance=by_source("x/ 1.25", "x/ 1.15", "7 %", "copper share of the mass, guess"),
    )
    winding_to_body_w_per_k: float | None = key(
        None,
        "empty: estimated from the size",
        0.01,
        200,
        tolerance=by_source("x/ 1.6", "x/ 1.4", "12 %", "outrunner heat within 10 K after a fit (Saemi 2024)"),
    )
    body_to_air_still_w_per_k: float | None = key(
        None,
        "in still air; empty: estimated from the size",
        0.001,
        100,
        tolerance=by_source(
            "x/ 1.6",
            "x/ 1.4",
            "12 %",
            "correlations for bluff bodies differ by 1.3 to 2; one factor with the moving air's",
        ),
    )
    body_to_air_at_36_km_h_w_per_k: float | None = key(
        None, "in air moving at 36 km/h; empty: estimated from the size", 0.001, 300
    )
    cooling_exponent: float = key(
        0.6,
        "how cooling grows with speed",
        0.1,
        1.5,
        tolerance=by_source(0.08, 0.05, None, "guess: 0.5 of laminar flow to 0.8 of turbulent"),
    )
    enclosure: float = key(1.0, "less than 1 for a cover or a dust filter", 0.01, 3)
    magnet_coefficient_percent_per_k: float = key(
        -0.12,
        "torque constant with body temperature (NdFeB)",
        -1,
        0,
        tolerance=by_source(0.01, None, None, "makers' sheets of NdFeB: -0.11 to -0.13 %/K"),
    )
    insulation_class: Literal["A", "E", "B", "F", "H", "N", "R"] = key("F", "thermal class of the winding, IEC 60085")
    magnet_grade: Literal["plain", "M", "H", "SH", "UH", "EH"] = key("H", "temperature grade of the magnets")

    @property
    def winding_limit_c(self) -> float:
        """Hottest allowed winding temperature of the insulation class, degC."""
        return INSULATION_LIMIT_C[self.insulation_class]

    @property
    def magnet_limit_c(self) -> float:
        """Hottest working temperature of the magnet grade, degC."""
        return MAGNET_LIMIT_C[self.magnet_grade]

    @model_validator(mode="after")
    def _two_no_load_points(self) -> Motor:
        speeds = {point.speed_rpm for point in self.no_load}
        if self.no_load and len(speeds) < 2:
            raise fault(
                "no_load", "needs readings at two different speeds, or none; measure at half and at full voltage"
            )
        return self

    @model_validator(mode="after")
    def _cooling_grows(self) -> Motor:
        still, moving = self.body_to_air_still_w_per_k, self.body_to_air_at_36_km_h_w_per_k
        if (still is None) != (moving is None):
            raise fault(
                "body_to_air_still_w_per_k", "and body_to_air_at_36_km_h_w_per_k belong together; give both, or neither"
            )
        if still is not None and moving is not None and moving < still:
            raise fault(
                "body_to_air_at_36_km_h_w_per_k", "is less than body_to_air_still_w_per_k; moving air cools more"
            )
        return self
