"""How long do two different drives hold a speed on a grade? Ridden from cold, as the map of one motor is.

The map's closed form is of one motor. Here every point is one ride with both, the throttle shared as on any ride: it
ends where a winding, magnets or cells pass their limit, or where the speed is not held any more. The pack's charge is
held, the air is still and stays that of the start, as there.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.second import drives_of
from ridesim.engine.batch import Job, Raw, run_one
from ridesim.engine.codes import Channel, Limit, Stop
from ridesim.engine.gears import at_speed
from ridesim.engine.halting import on_all_cores
from ridesim.engine.pace import DRAFT
from ridesim.engine.params import both_parameters, start_state
from ridesim.engine.state import Parameters, State
from ridesim.ride.bounds import BOUNDS
from ridesim.ride.drives import FIRST, SECOND
from ridesim.ride.limits import ROUNDING
from ridesim.studies.climb_map import SPOT_GRADES, SPOT_SPEEDS, refuse_charge
from ridesim.studies.steady import HALF_CHARGE, Still, endless_road, still_of
from ridesim.units import from_si, to_si

Array = NDArray[np.float64]

LOOK_S = to_si(2.0, "h")
"""A point that is held for so long is told as held: heat has hardly more to rise (guess)."""
EVERY_S = 10.0
FOLDBACKS = (Limit.MOTOR_TEMPERATURE, Limit.CONTROLLER_TEMPERATURE, Limit.LOW_VOLTAGE)
HELD_SHARE = 0.97
"""A speed is held while no more than this share of it is lost (guess)."""


@dataclass(frozen=True)
class HeldSpot:
    """One grade at one speed; `minutes` inf: held for as long as was looked; `drive`: whose heat or bound ended it."""

    grade_percent: float
    speed_km_h: float
    minutes: float
    ended_by: str
    drive: str


def held_by_both(
    loaded: LoadedBuild, charge_fraction: float = HALF_CHARGE, *, threads: int | None = None,
    done: Callable[[int], None] | None = None,
) -> tuple[HeldSpot, ...]:  # fmt: skip
    """Ride round grades at round speeds from cold and return for how long each is held.

    Raises RideError for a charge that no rider would use, and Interrupted.
    """
    build = loaded.build
    refuse_charge(build, charge_fraction)
    still = still_of(build, charge_fraction)
    p = _without_time(both_parameters(build), still)
    points = [(to_si(float(g), "percent"), to_si(float(v), "km_h")) for g in SPOT_GRADES for v in SPOT_SPEEDS]

    def work(point: tuple[float, float]) -> HeldSpot:
        """Ride one point."""
        grade, speed = point
        road, start = endless_road(still, grade, speed), _start(loaded, p, charge_fraction, speed)
        rows = int(LOOK_S / EVERY_S) + 2
        raw = run_one(Job(p, road, start, DRAFT, 1, LOOK_S), rows, EVERY_S)
        seconds, cause, drive = _ended(loaded, raw, speed)
        return HeldSpot(from_si(grade, "percent"), from_si(speed, "km_h"), from_si(seconds, "min"), cause, drive)

    return tuple(on_all_cores(work, points, threads, done))


def _without_time(p: Parameters, still: Still) -> Parameters:
    """Return both drives with their charge held, and no more from the cells than they are rated for."""
    if p.second is None:
        raise ValueError("this bike has one drive")
    share = min(1.0, ROUNDING * still.cell_rating / (p.pack_current + p.second.pack_current))
    hot = max(p.winding_limit, p.second.winding_limit)
    first, second = (
        one._replace(
            throttle=-1.0, charge_per_coulomb=0.0, winding_stop=hot, pack_current=share * one.pack_current, second=None
        )
        for one in (p, p.second)
    )
    return first._replace(second=second)


def _start(loaded: LoadedBuild, p: Parameters, charge: float, speed: float) -> State:
    start = start_state(loaded.build, speed_m_per_s=speed)._replace(charge=charge)
    first, second = (
        0.5 * one.rotor_inertia * (at_speed(one, speed).turned * speed) ** 2 for one in (p, p.second) if one is not None
    )
    return start._replace(rotor_energy=first, second=start.second._replace(rotor_energy=second))


def _ended(loaded: LoadedBuild, raw: Raw, speed: float) -> tuple[float, str, str]:
    """Return for how long a ride held its speed [s], what ended it and whose that was."""
    assert raw.second is not None  # both drives ride
    found = [_slowed(raw, speed)]
    for name, build, rows in zip((FIRST, SECOND), drives_of(loaded.build), (raw.trace, raw.second.trace), strict=True):
        for cause, channel, limit in (
            ("winding", Channel.WINDING_TEMP, build.motor.winding_limit_c),
            ("magnets", Channel.BODY_TEMP, build.motor.magnet_limit_c),
        ):
            found.append((_first(raw.trace, rows[:, channel] > limit), cause, name))
    cells = raw.trace[:, Channel.PACK_TEMP] > loaded.build.pack.temperature_limit_c
    found.append((_first(raw.trace, cells), "cells", ""))
    if raw.stop not in (Stop.TIME_LIMIT, Stop.FINISHED, Stop.OVER_TEMPERATURE):
        found.append((float(raw.end.time), raw.stop.name.lower(), ""))
    return min(found, key=lambda each: each[0])


def _slowed(raw: Raw, speed: float) -> tuple[float, str, str]:
    """Return when a ride lost its speed, and the bound that held it then."""
    assert raw.second is not None
    slow = raw.trace[:, Channel.SPEED] < HELD_SHARE * speed
    at = _first(raw.trace, slow)
    if not math.isfinite(at):
        return at, "nothing", ""
    row = int(np.argmax(slow))
    limits = [(Limit(int(rows[row, Channel.LIMIT])), name)
              for name, rows in ((FIRST, raw.trace), (SECOND, raw.second.trace))]  # fmt: skip
    # What folds back made the other one meet its own bound.
    found = sorted((each for each in limits if each[0] is not Limit.NONE), key=lambda each: each[0] not in FOLDBACKS)
    limit, name = found[0] if found else (Limit.MOTOR_CURRENT, "")
    # Lost within the first rows it was never held: heat had no part in it.
    return (at if at > 2.0 * EVERY_S else 0.0), BOUNDS[limit].name, name


def _first(rows: Array, past: NDArray[np.bool_]) -> float:
    return float(rows[int(np.argmax(past)), Channel.TIME]) if past.any() else math.inf
