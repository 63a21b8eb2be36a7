"""The build file: every key, its unit, range, default and meaning.

Section name = model name = field of `Build`. The metadata here writes the starter file, the key reference and the
JSON schema; nothing else states a default. Where a default comes from a source, the help text names it; where it
does not, it says "guess".
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, Strict, model_validator
from pydantic_core import PydanticCustomError

INSULATION_LIMIT_C = {"A": 105.0, "E": 120.0, "B": 130.0, "F": 155.0, "H": 180.0, "N": 200.0, "R": 220.0}
"""Hottest allowed winding temperature by thermal class. Source: IEC 60085:2007, table 1."""

MAGNET_LIMIT_C = {
    "plain": 80.0, "M": 100.0, "H": 120.0, "SH": 150.0, "UH": 180.0, "EH": 200.0,
}  # fmt: skip
"""Hottest working temperature of neodymium magnets by grade letter (makers' charts; common practice, no standard)."""

STAGE_EFFICIENCY = {"belt": 0.97, "chain": 0.97, "gear": 0.96}
"""Load efficiency of one stage. Belt: 96 to 98 % (synchronous-belt handbooks); chain and gear: guess."""


LOW_VOLTAGE_START_SHARE, LOW_VOLTAGE_END_SHARE = 0.35, 0.15
"""Low-voltage foldback between the cells' min_voltage_v and max_voltage_v, where a build names none (guess)."""

Number = Annotated[float, Strict()]
"""A number in a list; text is not read as one."""


def key(
    default: Any,
    help_text: str,
    low: float | None = None,
    high: float | None = None,
    *,
    above: float | None = None,
) -> Any:
    """Return a field with its help text and allowed range; `...` as default makes the key required."""
    number = low is not None or above is not None
    return Field(default, description=help_text, ge=low, le=high, gt=above, strict=True if number else None)


class Section(BaseModel):
    """A part of a build: frozen, and strict about unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


TOGETHER = "together:"
"""Marks, in pydantic's error type, a key that is at odds with its neighbours. The message reads `fault; cure`."""


def _fault(name: str, message: str) -> PydanticCustomError:
    """A fault of the key `name`. Braces in the message would be read as a template."""
    return PydanticCustomError(TOGETHER + name, message)


class Rider(Section):
    """Who rides, and how."""

    mass_kg: float = key(..., "rider with clothes and bag", 20, 250)
    power_w: float = key(75.0, "pedal power while pedalling; 0 = never pedals (default: guess)", 0, 600)
    crank_torque_limit_nm: float = key(80.0, "hardest push on the cranks (default: guess)", 0, 300)
    lowest_gear: float = key(0.9, "wheel turns per crank turn in the lowest gear (default: guess)", 0.2, 5)
    chain_efficiency: float = key(0.977, "pedal chain efficiency (default: Martin et al. 1998)", 0.5, 1)
    cruise_speed_km_h: float = key(25.0, "speed wanted on a free road", 3, 120)
    cornering_m_per_s2: float = key(2.0, "sideways acceleration accepted in bends (default: guess)", 0.3, 8)
    braking_m_per_s2: float = key(1.5, "braking used for stops and bends (default: guess)", 0.2, 6)
    response_time_s: float = key(1.0, "time in which speed is brought to the plan", 0.2, 20)


class Bicycle(Section):
    """Frame, load and aerodynamics."""

    mass_kg: float = key(..., "bicycle without motor, controller and pack", 5, 150)
    cargo_kg: float = key(0.0, "load carried", 0, 300)
    drag_area_m2: float = key(0.559, "CdA, rider and bicycle (default: Tengattini 2017, city riders)", 0.1, 2)
    wheel_drag_area_m2: float = key(0.0044, "drag area of the turning wheels (default: Martin 1998)", 0, 0.1)
    wheels_inertia_kg_m2: float = key(0.14, "moment of inertia of both wheels (default: Martin 1998)", 0, 2)
    wheelbase_mm: float = key(1100.0, "distance of the wheel contacts (default: guess)", 500, 3000)
    mass_centre_height_mm: float = key(1100.0, "centre of mass above the road, loaded (default: guess)", 200, 2000)
    mass_centre_ahead_mm: float = key(500.0, "centre of mass ahead of the rear contact (default: guess)", 0, 3000)
    grip: float = key(0.8, "friction coefficient of tyre on road (default: dry asphalt, guess)", 0.05, 1.5)

    @model_validator(mode="after")
    def _centre_between_wheels(self) -> Bicycle:
        if self.mass_centre_ahead_mm >= self.wheelbase_mm:
            raise _fault(
                "mass_centre_ahead_mm", "is not less than wheelbase_mm; the centre of mass lies between the wheels"
            )
        return self


class Tyre(Section):
    """The driven wheel's tyre. Can live in a part file of its own."""

    name: str = key("tyre", "what you call it")
    circumference_mm: float = key(..., "rolled length of one wheel turn, loaded", 500, 3000)
    rolling_resistance: float = key(
        0.0077, "rolling coefficient on asphalt (default: Tengattini 2017, city riders)", 0.001, 0.1
    )


class Stage(Section):
    """One reduction, motor side first."""

    kind: Literal["belt", "chain", "gear"] = key("belt", "what transmits")
    driver_teeth: int | None = key(None, "teeth on the motor side", 5, 400)
    driven_teeth: int | None = key(None, "teeth on the wheel side", 5, 400)
    ratio: float | None = key(None, "turns in per turn out, instead of teeth", 0.05, 100)
    efficiency: float | None = key(None, "of the load; empty: 0.97 belt or chain, 0.96 gear", 0.5, 1)
    drag_torque_nm: float = key(0.0, "drag without load, at the faster shaft", 0, 10)
    pitch_mm: float = key(5.0, "tooth pitch of the belt", 2, 20)
    width_mm: float = key(15.0, "belt width", 3, 100)
    centre_distance_mm: float | None = key(None, "distance of the shafts", 10, 1500)

    @model_validator(mode="after")
    def _one_way_to_say_it(self) -> Stage:
        teeth = (self.driver_teeth, self.driven_teeth)
        if self.ratio is None and None in teeth:
            raise _fault("ratio", "is missing, and so are the teeth; give driver_teeth and driven_teeth, or ratio")
        if self.ratio is not None and teeth != (None, None):
            raise _fault("ratio", "is given together with teeth; give the teeth or the ratio, not both")
        return self

    @property
    def turns(self) -> float:
        """Motor-side turns per wheel-side turn."""
        if self.ratio is not None:
            return self.ratio
        return self.driven_teeth / self.driver_teeth  # type: ignore[operator]

    @property
    def load_efficiency(self) -> float:
        """Share of the torque that a loaded stage passes on."""
        return self.efficiency if self.efficiency is not None else STAGE_EFFICIENCY[self.kind]


class Drive(Section):
    """From motor shaft to wheel. No stage: a direct hub motor."""

    stage: tuple[Stage, ...] = Field((), description="reductions, motor side first; none for a direct hub motor")
    coupling: Literal["fixed", "freewheel"] = key("fixed", "fixed: can regenerate; freewheel: coasts freely")
    driven_wheel: Literal["rear", "front"] = key("rear", "the wheel the motor drives")

    @property
    def turns(self) -> float:
        """Motor turns per wheel turn."""
        product = 1.0
        for stage in self.stage:
            product *= stage.turns
        return product


class NoLoadPoint(Section):
    """A bench reading with nothing on the shaft."""

    speed_rpm: float = key(..., "shaft speed", above=0, high=100000)
    current_a: float = key(..., "DC current into the motor alone", above=0, high=100)


class Motor(Section):
    """A brushless permanent-magnet motor. Can live in a part file of its own."""

    name: str = key("motor", "what you call it")
    kv_rpm_per_v: float = key(..., "unloaded speed per volt, line to line, peak", 1, 5000)
    resistance_mohm: float = key(..., "between two leads, at 20 °C", 0.1, 20000)
    inductance_uh: float = key(60.0, "between two leads (default: guess)", 0, 100000)
    pole_pairs: int = key(..., "magnets / 2", 1, 100)
    no_load: tuple[NoLoadPoint, ...] = Field(
        (), description="bench readings at two speeds or more; empty: estimated from the mass"
    )
    extra_eddy_fraction: float = key(0.0, "more eddy drag, for metal close to the magnets", 0, 10)
    mass_kg: float = key(..., "motor alone", 0.02, 60)
    can_diameter_mm: float = key(..., "outer diameter", 10, 600)
    can_length_mm: float = key(..., "length without the shaft", 5, 600)
    rotor_inertia_kg_m2: float | None = key(None, "moment of inertia; empty: estimated from mass and diameter", 0, 1)
    winding_heat_capacity_j_per_k: float | None = key(None, "empty: estimated from the mass", 1, 20000)
    body_heat_capacity_j_per_k: float | None = key(None, "empty: estimated from the mass", 1, 50000)
    winding_to_body_w_per_k: float | None = key(None, "empty: estimated from the size", 0.01, 200)
    body_to_air_still_w_per_k: float | None = key(None, "in still air; empty: estimated from the size", 0.001, 100)
    body_to_air_at_36_km_h_w_per_k: float | None = key(
        None, "in air moving at 36 km/h; empty: estimated from the size", 0.001, 300
    )
    cooling_exponent: float = key(0.6, "how cooling grows with speed", 0.1, 1.5)
    enclosure: float = key(1.0, "less than 1 for a cover or a dust filter", 0.01, 3)
    magnet_coefficient_percent_per_k: float = key(-0.12, "torque constant with body temperature (NdFeB)", -1, 0)
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
            raise _fault(
                "no_load", "needs readings at two different speeds, or none; measure at half and at full voltage"
            )
        return self

    @model_validator(mode="after")
    def _cooling_grows(self) -> Motor:
        still, moving = self.body_to_air_still_w_per_k, self.body_to_air_at_36_km_h_w_per_k
        if (still is None) != (moving is None):
            raise _fault(
                "body_to_air_still_w_per_k", "and body_to_air_at_36_km_h_w_per_k belong together; give both, or neither"
            )
        if still is not None and moving is not None and moving < still:
            raise _fault(
                "body_to_air_at_36_km_h_w_per_k", "is less than body_to_air_still_w_per_k; moving air cools more"
            )
        return self


class Controller(Section):
    """The inverter and its limits. Can live in a part file of its own."""

    name: str = key("controller", "what you call it")
    commutation: Literal["sine", "six_step"] = key(
        ..., "sine: motor currents are amplitudes of the phase current; six_step: DC-equivalent currents"
    )
    mass_kg: float = key(0.5, "controller alone (default: guess)", 0, 20)
    motor_current_limit_a: float = key(..., "most motor current when driving, read by the commutation", 1, 1500)
    brake_current_limit_a: float = key(0.0, "most motor current when braking; 0 = no regen", 0, 1500)
    pack_current_limit_a: float = key(..., "most current from the pack", 1, 1000)
    charge_current_limit_a: float | None = key(None, "most current into the pack; empty: the cells' rating", 0, 500)
    voltage_limit_v: float | None = key(None, "highest supply voltage it stands; empty: not checked", 5, 500)
    charge_voltage_limit_v: float | None = key(None, "no regen above it; empty: full cells", 5, 500)
    low_voltage_start_v: float | None = key(
        None, f"current folds back below; empty: {LOW_VOLTAGE_START_SHARE:.0%} up from empty to full cells", 1, 500
    )
    low_voltage_end_v: float | None = key(
        None, f"no current below; empty: {LOW_VOLTAGE_END_SHARE:.0%} up from empty to full cells", 1, 500
    )
    duty_limit: float = key(0.95, "largest share of the pack voltage at the motor", 0.3, 1)
    electrical_speed_limit_rpm: float = key(100000.0, "rpm x pole pairs (default: common practice)", 100, 2000000)
    motor_foldback_start_c: float | None = key(None, "winding temperature; empty: no motor sensor", 0, 250)
    motor_foldback_end_c: float | None = key(None, "no current above; empty: no motor sensor", 1, 300)
    controller_foldback_start_c: float = key(80.0, "its own temperature (default: guess)", 0, 200)
    controller_foldback_end_c: float = key(100.0, "no current above (default: guess)", 1, 250)
    throttle_law: Literal["torque", "voltage", "governor", "assist"] = key("torque", "what the throttle asks for")
    assist_factor: float = key(1.0, "motor power per pedal power, law assist", 0, 20)
    assist_speed_limit_km_h: float | None = key(None, "no motor above it; empty: none", 3, 120)
    motor_power_limit_w: float | None = key(None, "most power at the motor shaft; empty: none", 10, 100000)
    standby_power_w: float = key(1.5, "always drawn (default: guess)", 0, 50)
    on_resistance_mohm: float = key(6.0, "switches in the current path and leads (default: guess)", 0, 500)
    switching_loss_fraction: float = key(0.004, "switching loss per |motor current| x pack voltage (guess)", 0, 0.1)
    heat_capacity_j_per_k: float = key(350.0, "of switches and heat sink (default: guess)", 5, 20000)
    to_air_w_per_k: float = key(1.5, "from heat sink to air (default: guess)", 0.05, 100)
    capacitance_uf: float = key(1000.0, "of the input capacitors (default: guess)", 1, 100000)

    @model_validator(mode="after")
    def _foldbacks(self) -> Controller:
        if (self.motor_foldback_start_c is None) != (self.motor_foldback_end_c is None):
            raise _fault("motor_foldback_start_c", "and motor_foldback_end_c belong together; give both, or neither")
        pairs = (
            ("motor_foldback_end_c", "motor_foldback_start_c"),
            ("controller_foldback_end_c", "controller_foldback_start_c"),
            ("low_voltage_start_v", "low_voltage_end_v"),
        )
        for name, other in pairs:
            low, high = getattr(self, other), getattr(self, name)
            if low is not None and high is not None and high <= low:
                raise _fault(name, f"is not above {other}; currents fold back from start to end")
        return self


class Cell(Section):
    """One lithium-ion cell. Can live in a part file of its own."""

    name: str = key("cell", "what you call it")
    capacity_ah: float = key(..., "measured at a low rate", 0.1, 500)
    resistance_mohm: float = key(..., "fast part, at 25 °C and half charge", 0.05, 1000)
    polarisation_resistance_mohm: float = key(12.0, "slow part of the resistance (default: guess)", 0, 1000)
    polarisation_time_s: float = key(30.0, "time constant of the slow part (default: guess)", 1, 3600)
    activation_kj_per_mol: float = key(20.0, "how the fast part rises in the cold, Arrhenius (guess)", 0, 100)
    polarisation_activation_kj_per_mol: float = key(0.0, "how the slow part rises in the cold; 0 = not at all", 0, 100)
    max_voltage_v: float = key(4.2, "full", 2, 5)
    min_voltage_v: float = key(2.5, "empty, under load", 1, 4)
    charge_fraction: tuple[Number, ...] = Field(
        (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0),
        description="points of the voltage curve, rising from 0 to 1",
        min_length=2,
    )
    open_circuit_v: tuple[Number, ...] = Field(
        (2.5, 3.109, 3.296, 3.485, 3.581, 3.667, 3.751, 3.841, 3.948, 4.042, 4.097, 4.2),
        description="resting voltage at these points, rising (default: Chen et al. 2020, an NMC cell)",
        min_length=2,
    )
    resistance_curve: tuple[Number, ...] = Field(
        (), description="fast resistance at these points, 1 = resistance_mohm; empty: flat"
    )
    max_discharge_a: float = key(..., "continuous rating", 0.1, 500)
    max_charge_a: float = key(..., "charging rating", 0, 500)
    mass_kg: float = key(..., "one cell", 0.005, 10)
    diameter_mm: float = key(18.3, "of a round cell", 5, 200)
    length_mm: float = key(65.0, "of a round cell", 10, 500)
    price: float = key(0.0, "in your own money", 0, 1000)

    @model_validator(mode="after")
    def _curve(self) -> Cell:
        _rising("charge_fraction", self.charge_fraction)
        if self.charge_fraction[0] != 0.0 or self.charge_fraction[-1] != 1.0:
            raise _fault("charge_fraction", "does not run from 0 to 1; give the curve from empty to full")
        if len(self.open_circuit_v) != len(self.charge_fraction):
            raise _fault("open_circuit_v", "has not as many values as charge_fraction; give one for each point")
        _rising("open_circuit_v", self.open_circuit_v)
        if self.open_circuit_v[0] <= 0.0 or self.open_circuit_v[-1] > 6.0:
            raise _fault("open_circuit_v", "does not lie between 0 and 6 V; give volts of one cell")
        if self.resistance_curve and len(self.resistance_curve) != len(self.charge_fraction):
            raise _fault(
                "resistance_curve", "has not as many values as charge_fraction; give one for each point, or none"
            )
        if any(not 0.05 <= factor <= 20.0 for factor in self.resistance_curve):
            raise _fault("resistance_curve", "has a factor outside 0.05 to 20; 1 stands for resistance_mohm")
        if self.max_voltage_v <= self.min_voltage_v:
            raise _fault("max_voltage_v", "is not more than min_voltage_v; check both in the data sheet")
        return self


def _rising(name: str, values: tuple[float, ...]) -> None:
    for before, after in pairwise(values):
        if not after > before:
            raise _fault(
                name, f"does not rise ({before:g} is followed by {after:g}); list the points from empty to full"
            )


class Pack(Section):
    """Cells in series and parallel, welded and wired."""

    series: int = key(..., "groups in series", 1, 200)
    parallel: int = key(..., "cells in a group", 1, 200)
    cell: Cell = Field(..., description="the cell, or the name of a part")
    weakest_group_fraction: float = key(0.98, "capacity of the weakest group to the mean (default: guess)", 0.2, 1)
    capacity_fraction: float = key(1.0, "capacity left by age", 0.1, 1)
    resistance_factor: float = key(1.0, "cell resistance by age", 0.5, 10)
    interconnect_mohm: float = key(8.0, "strips and welds of the whole pack (default: guess)", 0, 1000)
    wiring_mohm: float = key(8.0, "leads, connectors and fuse (default: guess)", 0, 1000)
    extra_mass_kg: float = key(0.8, "case, strips, board, leads (default: guess)", 0, 50)
    start_charge_fraction: float = key(1.0, "charge at the start of the ride", 0.01, 1)
    charge_floor_fraction: float = key(0.0, "charge at which the rider stops using it", 0, 0.9)
    start_temperature_c: float | None = key(None, "empty: as the air", -30, 60)
    to_air_w_per_k: float | None = key(None, "cooling of the case; empty: estimated from the cells", 0.01, 100)
    temperature_limit_c: float = key(60.0, "hottest allowed (default: common in cell data sheets)", 20, 100)

    @property
    def cells(self) -> int:
        """Number of cells."""
        return self.series * self.parallel

    @property
    def mass_kg(self) -> float:
        """Mass of cells and case, kg."""
        return self.cells * self.cell.mass_kg + self.extra_mass_kg


class Weather(Section):
    """The air of the day."""

    temperature_c: float = key(20.0, "air temperature at the start", -30, 50)
    sea_level_pressure_hpa: float = key(1013.25, "pressure reduced to sea level", 850, 1100)
    relative_humidity_percent: float = key(50.0, "relative humidity", 0, 100)
    wind_speed_km_h: float = key(0.0, "reported wind", 0, 150)
    wind_from_deg: float = key(0.0, "where it blows from, clockwise from north", 0, 360)
    wind_exposure: float = key(0.6, "wind at rider height to reported wind (default: guess)", 0, 1.5)


class Build(Section):
    """One bike, ready to ride."""

    name: str = key("unnamed build", "what you call the bike")
    rider: Annotated[Rider, Field(description="who rides, and how")]
    bicycle: Annotated[Bicycle, Field(description="frame, load and aerodynamics")]
    tyre: Annotated[Tyre, Field(description="the driven wheel's tyre, or the name of a part")]
    drive: Drive = Field(default_factory=Drive, description="from motor shaft to wheel")
    motor: Annotated[Motor, Field(description="the motor, or the name of a part")]
    controller: Annotated[Controller, Field(description="the controller, or the name of a part")]
    pack: Annotated[Pack, Field(description="the battery pack")]
    weather: Weather = Field(default_factory=Weather, description="the air of the day")

    @property
    def mass_kg(self) -> float:
        """Everything that rolls, kg."""
        parts = (self.rider, self.bicycle, self.motor, self.controller, self.pack)
        return sum(part.mass_kg for part in parts) + self.bicycle.cargo_kg
