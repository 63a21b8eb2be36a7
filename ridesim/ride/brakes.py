"""How hot the friction brakes get along a ride: read from its trace, riding nothing.

The bike's motion does not depend on it (fade is left out), so that the lumps follow the ride. The friction energy of
the trace's rows is brought to the ledger's, and the heat is accounted for: in the metal, in the pads, in the air.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.brakes import Brake
from ridesim.bike.schema import Build
from ridesim.engine.lumps import follow_lump
from ridesim.engine.state import Channel
from ridesim.physics.brakes import disc_coefficient, plate_coefficient
from ridesim.physics.resistance import GRAVITY
from ridesim.ride.limits import LIMITS
from ridesim.units import from_si, to_si

if TYPE_CHECKING:
    from ridesim.ride.result import Ridden

Array = NDArray[np.float64]

RIM_CHORD_MM = 25.0
"""Depth of a rim along the air stream (guess)."""
STILL_M_PER_S = 0.5
"""Air speed past a standing brake (guess: warm air rises)."""
LONGEST_S = 2.0
"""The lumps' step: a fiftieth of a light disc's time constant."""


@dataclass(frozen=True, eq=False)
class BrakeHeat:
    """One brake along a ride. Arrays by row of the trace; energies [Wh]. `guessed`: the build does not state it."""

    wheel: str
    kind: str
    guessed: bool
    temp_c: Array
    hottest_c: float
    hottest_at_km: float
    limit_c: float
    over_limit_s: float
    taken_wh: float
    pads_wh: float
    metal_wh: float
    air_wh: float


@dataclass(frozen=True, eq=False)
class BrakesHeat:
    """Both brakes, and the trace's axis. `residual_fraction`: what the heat's account misses of the friction energy."""

    distance_km: Array
    altitude_m: Array
    speed_km_h: Array
    friction_wh: float
    brakes: tuple[BrakeHeat, ...]
    residual_fraction: float

    @property
    def hottest(self) -> BrakeHeat | None:
        """The brake that comes nearest to its limit; None for a bike without brakes."""
        return max(self.brakes, key=lambda each: each.hottest_c - each.limit_c, default=None)


def brakes_heat(ride: Ridden) -> BrakesHeat:
    """Return how hot the brakes of a ride with a trace get. A brake that is not stated counts as a disc."""
    second = None if ride.raw.second is None else ride.raw.second.trace
    return brakes_along(ride.raw.trace, ride.build, to_si(ride.ledger["friction_brakes"], "wh"), second)


def may_pass(ride: Ridden) -> bool:
    """Return whether a brake could pass what it may reach if it took all of the friction and gave nothing to the air.

    Where it could not, nobody need follow it along the trace.
    """
    heat_j, brakes = to_si(ride.ledger["friction_brakes"], "wh"), ride.build.brakes
    warmest_c = float(ride.raw.trace[:, Channel.AIR_TEMP].max())
    lumps = [(each.lump, each.heat_share * heat_j) for each in (brakes.front, brakes.rear) if each.kind != "none"]
    return any(warmest_c + into_j / lump.capacity_j_per_k > lump.limit_c for lump, into_j in lumps)


def brakes_too_hot(rows: Array, build: Build, friction_j: float) -> bool:
    """Return whether a brake passes what it may reach, along the rows of a trace."""
    return hottest_over_k(rows, build, friction_j) > LIMITS["brake_heat"].tolerance


def hottest_over_k(rows: Array, build: Build, friction_j: float, second: Array | None = None) -> float:
    """Return how far the hottest brake lies above what it may reach [K], below zero where it stays cooler.

    Minus infinity without a brake or a trace. second: the rows of a second, different drive.
    """
    found = brakes_along(rows, build, friction_j, second).brakes if len(rows) > 1 else ()
    return max((each.hottest_c - each.limit_c for each in found), default=-math.inf)


def brakes_along(rows: Array, build: Build, total: float, second: Array | None = None) -> BrakesHeat:
    """Return how hot the brakes get along the rows of a trace, whose ride left `total` in them [J].

    second: the rows of a second, different drive.
    """
    time = rows[:, Channel.TIME]
    span = np.diff(time, prepend=time[0] if len(time) else 0.0)
    speed, friction = rows[:, Channel.SPEED], rows[:, Channel.BRAKE_FORCE]
    energy = _between(friction * speed) * span
    summed = float(energy.sum())
    energy = energy * (total / summed) if summed > 0.0 else np.zeros_like(energy)
    front = _between(front_shares(build, friction, *_motor_braking(rows, build, second)))
    wheels = (("front", build.brakes.front, front), ("rear", build.brakes.rear, 1.0 - front))
    air = to_si(_between(rows[:, Channel.AIR_TEMP]), "c")
    found = tuple(
        _one(name, brake, energy * _only(share, build, name), span, _between(speed), air, rows)
        for name, brake, share in wheels
        if brake.kind != "none"
    )
    told = sum(each.taken_wh for each in found)
    wanted = from_si(total, "wh") if found else 0.0
    return BrakesHeat(
        distance_km=from_si(rows[:, Channel.DISTANCE], "km"),
        altitude_m=rows[:, Channel.ALTITUDE],
        speed_km_h=from_si(speed, "km_h"),
        friction_wh=from_si(total, "wh"),
        brakes=found,
        residual_fraction=abs(told - wanted) / wanted if wanted > 0.0 else 0.0,
    )


def _motor_braking(rows: Array, build: Build, second: Array | None) -> tuple[Array, Array | None]:
    """Return what all motors brake with [N], and what of it at the front wheel; None: one motor, at its own wheel."""
    force = rows[:, Channel.MOTOR_FORCE]
    if second is None or build.second is None:
        return np.maximum(-force, 0.0), None
    wheels = (build.drive.driven_wheel, build.second.drive.driven_wheel)
    own = second[:, Channel.MOTOR_FORCE]
    each = [np.maximum(-part, 0.0) for part in (force - own, own)]
    at_front = [part for wheel, part in zip(wheels, each, strict=True) if wheel == "front"]
    return each[0] + each[1], np.sum([np.zeros_like(force), *at_front], axis=0)


def front_shares(
    build: Build, friction_n: Array, motor_braking_n: Array, motor_at_front_n: Array | None = None
) -> Array:
    """Return the front brake's share of the friction braking.

    As the wheels are loaded: `b/L + h F/(m g L)` of all braking on the front contact (moments about the rear one), of
    which a motor's braking takes its part at its own wheel first; or as the build says.
    """
    fixed = build.brakes.front_share
    if fixed is not None:
        return np.full_like(friction_n, fixed)
    bike, weight = build.bicycle, build.mass_kg * GRAVITY
    braking = friction_n + motor_braking_n
    loaded = (bike.mass_centre_ahead_mm + bike.mass_centre_height_mm * braking / weight) / bike.wheelbase_mm
    front = np.clip(loaded, 0.0, 1.0) * braking
    if motor_at_front_n is not None:
        front = front - motor_at_front_n
    elif build.drive.driven_wheel == "front":
        front = front - motor_braking_n
    share = np.divide(front, friction_n, out=np.full_like(friction_n, 0.5), where=friction_n > 0.0)
    return np.clip(share, 0.0, 1.0)


def _only(share: Array, build: Build, name: str) -> Array:
    """A bike with one brake takes all of it there."""
    other = build.brakes.rear if name == "front" else build.brakes.front
    return np.ones_like(share) if other.kind == "none" else share


def _between(values: Array) -> Array:
    """The mean of each row and the one before it."""
    return 0.5 * (values + np.concatenate((values[:1], values[:-1]))) if len(values) else values


def _one(
    wheel: str, brake: Brake, energy_j: Array, span_s: Array, speed: Array, air_k: Array, rows: Array
) -> BrakeHeat:
    """Follow one lump along the rows."""
    lump = brake.lump
    capacity, area = lump.capacity_j_per_k, to_si(lump.area_cm2, "cm2")
    temps = np.empty(len(rows))
    start = float(air_k[0]) if len(air_k) else to_si(20.0, "c")
    power = brake.heat_share * np.divide(energy_j, span_s, out=np.zeros_like(energy_j), where=span_s > 0.0)
    to_air = coefficient(brake, speed) * brake.cooling_factor * area
    given = follow_lump(temps, start, power, to_air, lump.emissivity * area, air_k, span_s, capacity, LONGEST_S)
    now = float(temps[-1]) if len(temps) else start
    celsius = from_si(temps, "c")
    hot = int(celsius.argmax()) if len(celsius) else 0
    return BrakeHeat(
        wheel=wheel,
        kind="disc" if brake.kind == "not_stated" else brake.kind,
        guessed=brake.kind == "not_stated",
        temp_c=celsius,
        hottest_c=float(celsius[hot]) if len(celsius) else from_si(start, "c"),
        hottest_at_km=float(from_si(rows[hot, Channel.DISTANCE], "km")) if len(celsius) else 0.0,
        limit_c=lump.limit_c,
        over_limit_s=float(span_s[celsius > lump.limit_c].sum()),
        taken_wh=from_si(given + capacity * (now - start), "wh")
        + from_si(float(energy_j.sum()) * (1.0 - brake.heat_share), "wh"),
        pads_wh=from_si(float(energy_j.sum()) * (1.0 - brake.heat_share), "wh"),
        metal_wh=from_si(capacity * (now - start), "wh"),
        air_wh=from_si(given, "wh"),
    )


def coefficient(brake: Brake, speed: Array) -> Array:
    """Return h of a brake at a bike's speeds [W/(m2 K)]. Source: as `physics.brakes`."""
    size = to_si(RIM_CHORD_MM if brake.kind == "rim" else brake.lump.diameter_mm, "mm")
    of = plate_coefficient if brake.kind == "rim" else disc_coefficient
    return np.array([of(size, max(v, STILL_M_PER_S)) for v in speed.tolist()])
