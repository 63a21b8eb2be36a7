"""The build file: every key, its unit, range, default and meaning.

Section name = model name = field of `Build`. The metadata here writes the starter file, the key reference and the
JSON schema; nothing else states a default. Where a default comes from a source, the help text names it; where it
does not, it says "guess".
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from ridesim.bike.brakes import Brakes
from ridesim.bike.controller import LOW_VOLTAGE_END_SHARE, LOW_VOLTAGE_START_SHARE, Controller
from ridesim.bike.drive import STAGE_EFFICIENCY, Drive, Stage
from ridesim.bike.gears import Gear, Gears
from ridesim.bike.motor import INSULATION_LIMIT_C, MAGNET_LIMIT_C, Motor, NoLoadPoint
from ridesim.bike.mount import Mount
from ridesim.bike.pack import Cell, Pack
from ridesim.bike.second import Second, why_not_together
from ridesim.schema.section import Section, fault, key
from ridesim.schema.tolerance import by_source

__all__ = [
    "INSULATION_LIMIT_C", "LOW_VOLTAGE_END_SHARE", "LOW_VOLTAGE_START_SHARE", "MAGNET_LIMIT_C", "STAGE_EFFICIENCY",
    "Bicycle", "Brakes", "Build", "Cell", "Controller", "Drive", "Gear", "Gears", "Motor", "Mount", "NoLoadPoint",
    "Pack", "Rider", "Second", "Stage", "Tyre", "Weather",
]  # fmt: skip


class Rider(Section):
    """Who rides, and how."""

    mass_kg: float = key(
        ..., "rider with clothes and bag", 20, 250, tolerance=by_source("10 %", "3 %", "0.5 %", "guess; 0.5 %: a scale")
    )
    power_w: float = key(
        75.0,
        "pedal power while pedalling; 0 = never pedals (default: guess)",
        0,
        600,
        tolerance=by_source("25 %", None, "3 %", "guess; a power meter states 1 to 2 %"),
    )
    crank_torque_limit_nm: float = key(80.0, "hardest push on the cranks (default: guess)", 0, 300)
    lowest_gear: float = key(0.9, "wheel turns per crank turn in the lowest gear (default: guess)", 0.2, 5)
    chain_efficiency: float = key(0.977, "pedal chain efficiency (default: Martin et al. 1998)", 0.5, 1)
    cruise_speed_km_h: float = key(25.0, "speed wanted on a free road", 3, 120)
    cornering_m_per_s2: float = key(2.0, "sideways acceleration accepted in bends (default: guess)", 0.3, 8)
    braking_m_per_s2: float = key(1.5, "braking used for stops and bends (default: guess)", 0.2, 6)
    response_time_s: float = key(1.0, "time in which speed is brought to the plan", 0.2, 20)
    pushes_up_to_m: float = key(
        50.0, "longest ramp that is pushed up where the bike gets stuck; 0 = never (default: guess)", 0, 1000
    )
    pushing_force_n: float = key(
        200.0,
        "push on the bike that a walker keeps up for a minute (default: Snook and Ciriello 1991, from memory)",
        20,
        600,
    )
    pushing_speed_km_h: float = key(3.0, "walking pace up a ramp (default: Tobler 1993 at 15 %, from memory)", 0.5, 7)


class Bicycle(Section):
    """Frame, load and aerodynamics."""

    mass_kg: float = key(
        ...,
        "bicycle without motor, controller and pack",
        5,
        150,
        tolerance=by_source("10 %", "3 %", "0.5 %", "guess; 0.5 %: a scale"),
    )
    cargo_kg: float = key(
        0.0, "load carried", 0, 300, tolerance=by_source("10 %", "3 %", "0.5 %", "guess; 0.5 %: a scale")
    )
    drag_area_m2: float = key(
        0.559,
        "CdA, rider and bicycle (default: Tengattini 2017, city riders)",
        0.1,
        2,
        tolerance=by_source(
            "x/ 1.3",
            None,
            "5 %",
            "upright to crouch 0.32 to 0.63 m2 (Wilson); city riders 0.559 (Tengattini 2017); a coast-down: guess",
        ),
    )
    wheel_drag_area_m2: float = key(
        0.0044,
        "drag area of the turning wheels (default: Martin 1998)",
        0,
        0.1,
        tolerance=by_source("x/ 1.5", None, None, "guess"),
    )
    wheels_inertia_kg_m2: float = key(
        0.14,
        "moment of inertia of both wheels (default: Martin 1998)",
        0,
        2,
        tolerance=by_source("x/ 1.3", None, "5 %", "guess"),
    )
    wheelbase_mm: float = key(1100.0, "distance of the wheel contacts (default: guess)", 500, 3000)
    mass_centre_height_mm: float = key(1100.0, "centre of mass above the road, loaded (default: guess)", 200, 2000)
    mass_centre_ahead_mm: float = key(500.0, "centre of mass ahead of the rear contact (default: guess)", 0, 3000)
    grip: float = key(
        0.8,
        "friction coefficient of tyre on road (default: dry asphalt, guess)",
        0.05,
        1.5,
        tolerance=by_source("x/ 1.25", None, None, "guess: dry asphalt, old and new"),
    )

    @model_validator(mode="after")
    def _centre_between_wheels(self) -> Bicycle:
        if self.mass_centre_ahead_mm >= self.wheelbase_mm:
            raise fault(
                "mass_centre_ahead_mm", "is not less than wheelbase_mm; the centre of mass lies between the wheels"
            )
        return self


class Tyre(Section):
    """The driven wheel's tyre. Can live in a part file of its own."""

    name: str = key("tyre", "what you call it")
    circumference_mm: float = key(
        ...,
        "rolled length of one wheel turn, loaded",
        500,
        3000,
        tolerance=by_source("1 %", "1 %", "0.3 %", "guess: pressure and wear; 0.3 %: rolled out and taped"),
    )
    rolling_resistance: float = key(
        0.0077,
        "rolling coefficient on asphalt (default: Tengattini 2017, city riders)",
        0.001,
        0.1,
        tolerance=by_source(
            "x/ 1.5", "x/ 1.25", "10 %", "0.0032 (Martin 1998) to 0.0077 (Tengattini 2017); a coast-down: guess"
        ),
    )


class Weather(Section):
    """The air of the day."""

    temperature_c: float = key(
        20.0,
        "air temperature at the start",
        -30,
        50,
        tolerance=by_source(3.0, None, 1.0, "a forecast; 1 K: a thermometer in the shade"),
    )
    sea_level_pressure_hpa: float = key(
        1013.25,
        "pressure reduced to sea level",
        850,
        1100,
        tolerance=by_source(8.0, None, 1.0, "guess: from low to high in a week"),
    )
    relative_humidity_percent: float = key(
        50.0, "relative humidity", 0, 100, tolerance=by_source(15.0, None, 5.0, "guess")
    )
    wind_speed_km_h: float = key(0.0, "reported wind", 0, 150, tolerance=by_source("30 %", None, "10 %", "guess"))
    wind_from_deg: float = key(
        0.0,
        "where it blows from, clockwise from north",
        0,
        360,
        tolerance=by_source(20.0, None, 10.0, "guess", circle=True),
    )
    wind_exposure: float = key(
        0.6,
        "wind at rider height to reported wind (default: guess)",
        0,
        1.5,
        tolerance=by_source(0.15, None, 0.1, "guess"),
    )


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
    brakes: Brakes = Field(default_factory=Brakes, description="the friction brakes, for heat on descents")
    mount: Mount = Field(default_factory=Mount, description="what holds the drive, for `ridesim mount`")
    second: Second | None = Field(None, description="a second, different drive, with drive, motor and controller")

    @model_validator(mode="after")
    def _one_throttle(self) -> Build:
        wrong = why_not_together(self)
        if wrong is not None:
            raise fault(*wrong)
        return self

    @property
    def mass_kg(self) -> float:
        """Everything that rolls, kg."""
        driving = self.drive.motors * (self.motor.mass_kg + self.controller.mass_kg)
        driving = driving if self.second is None else driving + self.second.mass_kg
        return self.rider.mass_kg + self.bicycle.mass_kg + self.bicycle.cargo_kg + driving + self.pack.mass_kg
