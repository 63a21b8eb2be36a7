"""What a simulated ride asks of belt, wires and pack: peaks, what lasts, and the course of it.

Motor currents are DC-equivalent and of one motor, torques at the motor's shaft and of all motors, plus drives. Without
a road the ride is a climb of stated grade and length, so that every answer rests on the same simulation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build, Stage
from ridesim.bike.second import geared_drive, refuse_second
from ridesim.engine.params import motor_scale
from ridesim.engine.state import Channel
from ridesim.errors import RideError
from ridesim.ride.drives import each_drive
from ridesim.ride.result import Ridden
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb
from ridesim.road.profile import Road
from ridesim.units import convert, from_si, shown, to_si
from ridesim.workshop.limits import require_between

Floats = NDArray[np.float64]

CLIMB_GRADE_PERCENT = 6.0
CLIMB_MIN = 10.0
"""The climb that stands in for a road that nobody named: 6 % for ten minutes (guess)."""

PEAK_SHARE = 0.9
"""A current above this share of the ride's peak counts as the peak when its length is taken (guess)."""

SUSTAINED_S = 60.0
"""Width of the running mean behind the sustained torque, as the engine takes it for currents."""


@dataclass(frozen=True, eq=False)
class RideLoads:
    """What one ride asks of the parts. `pack_peak_s`, `motor_peak_s`: the longest stay near the peak.

    `peak_motor_current_a`: driving or braking, whichever is larger, DC-equivalent, of one motor.
    """

    ridden: str
    finished: bool
    distance_km: float
    total_time_s: float
    peak_shaft_torque_nm: float
    sustained_shaft_torque_nm: float
    peak_brake_torque_nm: float
    top_motor_speed_rpm: float
    peak_motor_current_a: float
    rms_motor_current_a: float
    sustained_motor_current_a: float
    peak_pack_current_a: float
    rms_pack_current_a: float
    sustained_pack_current_a: float
    peak_charge_current_a: float
    pack_peak_s: float
    motor_peak_s: float
    highest_pack_voltage_v: float
    lowest_pack_voltage_v: float
    peak_winding_temp_c: float
    peak_winding_temp_at_km: float
    peak_body_temp_c: float
    time_s: Floats
    shaft_torque_nm: Floats
    motor_speed_rpm: Floats
    motor_current_a: Floats
    pack_current_a: Floats
    cut_short: str = ""
    """How the ride ended early, in words; empty where it arrived, or rode the time it was asked for."""


class StageLoad(NamedTuple):
    """One stage of the drive and what its driving pulley carries along a ride."""

    number: int
    stage: Stage
    peak_torque_nm: float
    sustained_torque_nm: float
    speed_rpm: float
    time_s: Floats
    torque_nm: Floats
    speed_along_rpm: Floats


def climb_for(
    build: Build,
    grade_percent: float = CLIMB_GRADE_PERCENT,
    minutes: float = CLIMB_MIN,
    speed_km_h: float | None = None,
) -> Road:
    """Return the climb that takes `minutes` at the build's cruise speed. Raises BuildError, RoadError."""
    require_between("check", "climb_min", minutes, 0.5, 240.0)
    speed = to_si(speed_km_h or build.rider.cruise_speed_km_h, "km_h")
    name = f"climb of {grade_percent:g} % for {minutes:g} min"
    return make_climb(speed * to_si(minutes, "min"), grade_percent, name=name)


def ride_of(
    loaded: LoadedBuild,
    road: Road | None,
    grade_percent: float = CLIMB_GRADE_PERCENT,
    minutes: float = CLIMB_MIN,
) -> Ride:
    """Ride the road, or the climb that stands in for it, for its stated time. Raises RidesimError."""
    if road is not None:
        return simulate(loaded, road)
    return simulate(loaded, climb_for(loaded.build, grade_percent, minutes), time_limit_h=convert(minutes, "min", "h"))


NAME_A_DRIVE = "name the one that is asked of: --drive 1 or --drive 2"


def loads_of_drive(ride: Ridden, number: int | None = None) -> tuple[LoadedBuild, RideLoads]:
    """Return the loads of a ride with a trace, behind the build; of two different drives those of one (1 or 2).

    The build is then as that drive sees it. Raises RideError for a ride without a trace, BuildError where two drives
    are there and none is named, or for one that is not there.
    """
    if number is None:
        return ride.loaded, loads_of(ride)
    geared_drive(ride.build, number)  # refuses a drive that is not there
    own = (each_drive(ride) or (ride,))[number - 1]
    return own.loaded, loads_of(own, of_a_drive=True)


def loads_of(ride: Ridden, *, of_a_drive: bool = False) -> RideLoads:
    """Return the loads of a ride with a trace. Raises RideError when it has none.

    `of_a_drive`: the ride is that of one of two different drives (`ride.drives`); BuildError where both are asked.
    """
    if not of_a_drive:
        refuse_second(ride.build, "a question of one motor's loads", NAME_A_DRIVE)
    f, rows = ride.figures, ride.raw.trace
    if len(rows) < 2:
        raise RideError("loads", "the ride left no trace", "simulate it with a trace")
    time = np.ascontiguousarray(rows[:, Channel.TIME])
    pack = np.abs(rows[:, Channel.PACK_CURRENT_HIGH])
    ends = np.abs(rows[:, [Channel.MOTOR_CURRENT_HIGH, Channel.MOTOR_CURRENT_LOW]])
    motor = ends.max(axis=1) / ride.build.drive.motors
    peak = max(f.peak_motor_current_dc_equivalent_a, f.peak_brake_current_a * motor_scale(ride.build))
    torque = np.ascontiguousarray(rows[:, Channel.SHAFT_TORQUE])
    speed = from_si(1.0, "rpm") * np.ascontiguousarray(rows[:, Channel.MOTOR_SPEED])
    return f.into(
        RideLoads,
        ridden=ride.road.name,
        sustained_shaft_torque_nm=sustained(time, np.abs(torque)),
        top_motor_speed_rpm=float(np.max(np.abs(speed))),
        peak_motor_current_a=peak,
        rms_motor_current_a=f.rms_motor_current_dc_equivalent_a,
        sustained_motor_current_a=f.sustained_motor_current_dc_equivalent_a,
        pack_peak_s=longest_above(time, pack, PEAK_SHARE * f.peak_pack_current_a),
        motor_peak_s=longest_above(time, motor, PEAK_SHARE * peak),
        time_s=time,
        shaft_torque_nm=torque,
        motor_speed_rpm=speed,
        motor_current_a=rows[:, Channel.MOTOR_CURRENT] / ride.build.drive.motors,
        pack_current_a=np.ascontiguousarray(rows[:, Channel.PACK_CURRENT]),
        cut_short=_cut_short(ride),
    )


def _cut_short(ride: Ridden) -> str:
    """What a ride that ends early does not tell: the loads of the road that is left."""
    f = ride.figures
    if f.finished or f.stop == "time_limit":
        return ""
    return (
        f"the ride ends early, after {shown(f.distance_km, 'km')} of {shown(f.road_km, 'km')} ({f.stop_reason}): what "
        f"the rest asks is not in these loads; make the bike arrive first (`ridesim ride`)"
    )


def voltage_law_difference_a(build: Build, speed_rpm: float) -> float:
    """Return how far two motors' currents lie apart at equal voltage: `omega K d/R` [A, DC-equivalent]."""
    k = 1.0 / to_si(build.motor.kv_rpm_per_v, "rpm_per_v")
    apart = to_si(build.drive.kv_difference_percent, "percent")
    return to_si(speed_rpm, "rpm") * k * apart / to_si(build.motor.resistance_mohm, "mohm")


def heaviest_share(build: Build, loads: RideLoads) -> float:
    """Return what the harder worked motor carries of all motors' current at most, from even to all of it.

    Alike motors share evenly, and so do unlike ones under a law of torque; under the voltage law they lie
    `voltage_law_difference_a` apart at the top speed; two governors may leave the whole work to either.
    """
    motors, law = build.drive.motors, build.controller.throttle_law
    if motors == 1 or build.drive.kv_difference_percent == 0.0 or law not in ("voltage", "governor"):
        return 1.0 / motors
    if law == "governor":
        return 1.0
    half = 0.5 * voltage_law_difference_a(build, loads.top_motor_speed_rpm)
    return min(1.0, (1.0 + half / max(loads.sustained_motor_current_a, 1e-9)) / motors)


def sustained(time_s: Floats, values: Floats, width_s: float = SUSTAINED_S) -> float:
    """Return the largest mean of `values` over any `width_s` of the ride (all of it when shorter)."""
    area = np.concatenate(([0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(time_s))))
    if time_s[-1] - time_s[0] <= width_s:
        return float(area[-1] / (time_s[-1] - time_s[0]))
    starts = time_s[time_s <= time_s[-1] - width_s]
    means = (np.interp(starts + width_s, time_s, area) - area[: len(starts)]) / width_s
    return float(means.max())


def longest_above(time_s: Floats, values: Floats, level: float) -> float:
    """Return the longest stay [s] at or above a level, at least one sample's width where the level is met at all."""
    held = np.concatenate(([False], values >= level, [False]))
    edges = np.flatnonzero(held[1:] != held[:-1]).reshape(-1, 2)
    ends = np.append(time_s, time_s[-1])
    return float(max((ends[end] - time_s[start] for start, end in edges), default=0.0))


def stage_loads(build: Build, loads: RideLoads) -> tuple[StageLoad, ...]:
    """Return every stage, motor side first, with the torque and speed at its driving pulley.

    A stage passes a driving torque on times its ratio and efficiency, a braking one over its efficiency (as the
    ride model's drive does); drag torques are left out, which errs high.
    """
    found, torque, speed = [], loads.shaft_torque_nm, loads.motor_speed_rpm
    peak, braking = loads.peak_shaft_torque_nm, loads.peak_brake_torque_nm
    lasting, top = loads.sustained_shaft_torque_nm, loads.top_motor_speed_rpm
    for number, stage in enumerate(build.drive.stage, start=1):
        found.append(StageLoad(number, stage, max(peak, braking), lasting, top, loads.time_s, torque, speed))
        share = stage.load_efficiency
        torque = torque * stage.turns * np.where(torque >= 0.0, share, 1.0 / share)
        peak, braking = peak * stage.turns * share, braking * stage.turns / share
        lasting = lasting * stage.turns * share
        speed, top = speed / stage.turns, top / stage.turns
    return tuple(found)


def stages_at_peak(build: Build, peak_torque_nm: float, motor_speed_rpm: float) -> tuple[StageLoad, ...]:
    """Return every stage, motor side first, under a peak motor torque, where the ride's course is not at hand."""
    found, torque, speed, none = [], peak_torque_nm, motor_speed_rpm, np.zeros(0)
    for number, stage in enumerate(build.drive.stage, start=1):
        found.append(StageLoad(number, stage, torque, torque, speed, none, none, none))
        torque, speed = torque * stage.turns * stage.load_efficiency, speed / stage.turns
    return tuple(found)
