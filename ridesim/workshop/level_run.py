"""Full throttle on the level: the speed that a build really reaches, by simulation."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.schema import Build
from ridesim.engine.gears import fastest_motor
from ridesim.engine.state import Channel, Limit
from ridesim.ride.bounds import BOUNDS, Bound
from ridesim.ride.drives import each_drive
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_flat
from ridesim.units import convert, from_si, to_si

RUN_M = 2500.0
"""Long enough for any bike to come within a few metres an hour of its top speed (guess)."""

NEARLY_EMPTY = 0.1
"""Charge at which the top speed of an empty pack is taken: below it controllers fold back (guess)."""


@dataclass(frozen=True)
class LevelRun:
    """A run without pedalling. `bound`: what holds the speed at its highest; `electrical_frequency_hz` there."""

    charge_fraction: float
    top_speed_km_h: float
    motor_speed_rpm: float
    electrical_frequency_hz: float
    peak_shaft_power_w: float
    bound: Bound
    hit_electrical_limit: bool
    end_pack_current_a: float

    @property
    def bounded_by(self) -> str:
        """What holds the speed where it is highest, in words."""
        return self.bound.words


def run_level(loaded: LoadedBuild, charge_fraction: float = 1.0, length_m: float = RUN_M) -> LevelRun:
    """Ride the level at full throttle, motor alone, in still air, from rest. Raises BuildError, RideError."""
    changed = replace_keys(
        loaded,
        {
            "rider.power_w": 0.0,
            "pack.start_charge_fraction": charge_fraction,
            "pack.charge_floor_fraction": 0.0,
            "weather.wind_speed_km_h": 0.0,
        },
    )
    ride = simulate(changed, make_flat(length_m), throttle=1.0, throttle_law="torque", time_limit_h=1.0)
    f = ride.figures
    motor = from_si(fastest_motor(ride.params, to_si(f.top_speed_km_h, "km_h")), "rpm")
    return LevelRun(
        charge_fraction=charge_fraction,
        top_speed_km_h=f.top_speed_km_h,
        motor_speed_rpm=motor,
        electrical_frequency_hz=convert(motor, "rpm", "rev_per_s") * loaded.build.motor.pole_pairs,
        peak_shaft_power_w=sum(each.figures.peak_shaft_power_w for each in each_drive(ride) or (ride,)),
        bound=BOUNDS[_limit_at_top(ride)],
        hit_electrical_limit=f.on_limit_s(Limit.ELECTRICAL_FREQUENCY) > 0.0,
        end_pack_current_a=float(ride.raw.trace[-1, Channel.PACK_CURRENT]),
    )


def turned_by(run: LevelRun, build: Build) -> LevelRun:
    """Return a run as one of two different drives had it, which `build` has in the first one's place."""
    wheel = to_si(run.top_speed_km_h, "km_h") / to_si(build.tyre.circumference_mm, "mm")
    rpm = convert(wheel * build.drive.fastest_turns, "rev_per_s", "rpm")
    hertz = convert(rpm, "rpm", "rev_per_s") * build.motor.pole_pairs
    return replace(run, motor_speed_rpm=rpm, electrical_frequency_hz=hertz)


def _limit_at_top(ride: Ride) -> Limit:
    """The limit that held the motor where a run at full throttle was fastest; a hot motor is held by another later."""
    trace = ride.raw.trace
    return Limit(int(trace[trace[:, Channel.SPEED].argmax(), Channel.LIMIT]))
