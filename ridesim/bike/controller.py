"""The controller: the inverter, its limits, and what the throttle asks for."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from ridesim.schema.section import Section, fault, key
from ridesim.schema.tolerance import by_source

LOW_VOLTAGE_START_SHARE, LOW_VOLTAGE_END_SHARE = 0.35, 0.15
"""Low-voltage foldback between the cells' min_voltage_v and max_voltage_v, where a build names none (guess)."""


class Controller(Section):
    """The inverter and its limits. Can live in a part file of its own."""

    name: str = key("controller", "what you call it")
    commutation: Literal["sine", "six_step"] = key(
        ..., "sine: motor currents are amplitudes of the phase current; six_step: DC-equivalent currents"
    )
    mass_kg: float = key(
        0.5,
        "controller alone (default: guess)",
        0,
        20,
        tolerance=by_source("10 %", "3 %", "0.5 %", "guess; 0.5 %: a scale"),
    )
    motor_current_limit_a: float = key(..., "most motor current when driving, read by the commutation", 1, 1500)
    brake_current_limit_a: float = key(0.0, "most motor current when braking; 0 = no regen", 0, 1500)
    pack_current_limit_a: float = key(..., "most current from the pack", 1, 1000)
    charge_current_limit_a: float | None = key(None, "most current into the pack; empty: the cells' rating", 0, 500)
    voltage_limit_v: float | None = key(None, "highest supply voltage it stands; empty: not checked", 5, 500)
    charge_voltage_limit_v: float | None = key(None, "no regen above it; empty: full cells", 5, 500)
    full_current_above_v: float | None = key(
        None, f"current folds back below; empty: {LOW_VOLTAGE_START_SHARE:.0%} up from empty to full cells", 1, 500
    )
    no_current_below_v: float | None = key(
        None, f"no current below; empty: {LOW_VOLTAGE_END_SHARE:.0%} up from empty to full cells", 1, 500
    )
    modulation_limit: float = key(0.95, "largest share of the pack voltage at the motor", 0.3, 1)
    electrical_frequency_limit_hz: float = key(
        1667.0, "pole pairs x turns a second, at most (default: common practice)", 2, 33400
    )
    motor_full_current_below_c: float | None = key(None, "winding temperature; empty: no motor sensor", 0, 250)
    motor_no_current_above_c: float | None = key(None, "no current above; empty: no motor sensor", 1, 300)
    controller_full_current_below_c: float = key(80.0, "its own temperature (default: guess)", 0, 200)
    controller_no_current_above_c: float = key(100.0, "no current above (default: guess)", 1, 250)
    field_weakening_current_a: float = key(
        0.0, "most current against the magnets, to go faster than the voltage allows; 0 = none", 0, 1500
    )
    throttle_law: Literal["torque", "voltage", "governor", "assist"] = key("torque", "what the throttle asks for")
    assist_factor: float = key(1.0, "motor power per pedal power, law assist", 0, 20)
    assist_speed_limit_km_h: float | None = key(None, "no motor above it; empty: none", 3, 120)
    motor_power_limit_w: float | None = key(None, "most power at the motor shaft; empty: none", 10, 100000)
    standby_power_w: float = key(
        1.5, "always drawn (default: guess)", 0, 50, tolerance=by_source("x/ 1.5", "x/ 1.3", "5 %", "guess")
    )
    on_resistance_mohm: float = key(
        6.0,
        "switches in the current path and leads (default: guess)",
        0,
        500,
        tolerance=by_source("x/ 1.5", "x/ 1.3", "10 %", "guess"),
    )
    switching_loss_fraction: float = key(
        0.004,
        "switching loss per |motor current| x pack voltage (guess)",
        0,
        0.1,
        tolerance=by_source("x/ 1.5", "x/ 1.3", "10 %", "guess"),
    )
    heat_capacity_j_per_k: float = key(
        350.0,
        "of switches and heat sink (default: guess)",
        5,
        20000,
        tolerance=by_source("x/ 1.25", "x/ 1.15", "5 %", "guess"),
    )
    to_air_w_per_k: float = key(
        1.5,
        "from heat sink to air (default: guess)",
        0.05,
        100,
        tolerance=by_source("x/ 1.6", "x/ 1.4", "10 %", "correlations for bluff bodies differ by 1.3 to 2"),
    )
    capacitance_uf: float = key(1000.0, "of the input capacitors (default: guess)", 1, 100000)

    @model_validator(mode="after")
    def _foldbacks(self) -> Controller:
        if (self.motor_full_current_below_c is None) != (self.motor_no_current_above_c is None):
            raise fault(
                "motor_full_current_below_c", "and motor_no_current_above_c belong together; give both, or neither"
            )
        pairs = (
            ("motor_no_current_above_c", "motor_full_current_below_c"),
            ("controller_no_current_above_c", "controller_full_current_below_c"),
            ("full_current_above_v", "no_current_below_v"),
        )
        for name, other in pairs:
            low, high = getattr(self, other), getattr(self, name)
            if low is not None and high is not None and high <= low:
                raise fault(name, f"is not above {other}; currents fold back from start to end")
        return self
