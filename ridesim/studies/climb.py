"""Does it cook on the climb? Temperatures along a road or a constant grade, the limits met, the rest it needs."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.codes import Channel, Limit
from ridesim.errors import RideError
from ridesim.ride.bounds import BOUNDS
from ridesim.ride.cooling import REST_TO_C, rest_from_end_s, rest_from_hottest_s
from ridesim.ride.drives import named_drives
from ridesim.ride.judge import Verdict, judge
from ridesim.ride.simulate import Ride, as_loaded, simulate
from ridesim.road.load import load_road
from ridesim.road.made import make_climb
from ridesim.road.profile import Road
from ridesim.studies.steady import SteadyState, steady_state
from ridesim.sure.beside import beside, judged
from ridesim.sure.spread import Spread
from ridesim.units import convert, from_si, to_si

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ridesim.ride.figures import LimitMet as BoundMet

SAMPLES = 12
"""Rows of the table along the road."""
HELD_BACK_M_PER_S = 0.1
"""So far below the plan a speed counts as held back: 0.4 km/h (guess)."""
SPEEDING_UP_M_PER_S2 = 0.05
"""A bike that speeds up by more than this is still getting away, not held back."""
DRIVING_LIMITS = (
    Limit.MOTOR_CURRENT,
    Limit.PACK_CURRENT,
    Limit.PACK_POWER,
    Limit.MODULATION,
    Limit.ELECTRICAL_FREQUENCY,
    Limit.MOTOR_TEMPERATURE,
    Limit.CONTROLLER_TEMPERATURE,
    Limit.LOW_VOLTAGE,
    Limit.ASSIST_SPEED,
    Limit.MOTOR_POWER,
    Limit.GRIP,
)
FOLDBACKS = tuple(
    BOUNDS[limit].name for limit in (Limit.MOTOR_TEMPERATURE, Limit.CONTROLLER_TEMPERATURE, Limit.LOW_VOLTAGE)
)


@dataclass(frozen=True)
class LimitMet:
    """One bound that was met while driving."""

    name: str
    is_foldback: bool
    first_at_km: float
    seconds: float
    held_back_s: float
    """Of that time, how long the bike rode below its planned speed without gaining; the rest is getting away."""
    slowest_km_h: float | None
    """The speed that was left, at its least; None: it took no speed."""
    slowest_at_km: float | None
    planned_km_h: float | None
    """The speed wanted at that place."""


@dataclass(frozen=True)
class ClimbPlace:
    """The ride at one place."""

    distance_km: float
    grade_percent: float
    speed_km_h: float
    motor_current_a: float
    winding_temp_c: float
    body_temp_c: float
    controller_temp_c: float
    limit: str


@dataclass(frozen=True, eq=False, repr=False)
class Climb(Answer):
    """A climb and its heat."""

    ride: Ride
    hot: Ride
    """The ride as the drive had it whose heat and bounds are told: of two different ones that nearer to its limit."""
    drive: str
    """Which of two different drives that is; empty for a bike of one."""
    arrived: bool
    stop: str
    stop_reason: str
    verdict: Verdict
    distance_km: float
    time_min: float
    peak_winding_temp_c: float
    peak_winding_at_km: float
    winding_limit_c: float
    winding_over_limit_s: float
    winding_over_limit_from_km: float | None
    peak_body_temp_c: float
    peak_body_at_km: float
    magnet_limit_c: float
    peak_controller_temp_c: float
    controller_full_current_below_c: float
    motor_full_current_below_c: float | None
    limits: tuple[LimitMet, ...]
    places: tuple[ClimbPlace, ...]
    rest_to_c: float
    rest_min: float | None
    """Standing still from the end of the ride until winding and body are below `rest_to_c`; None: never."""
    rest_from_hottest_min: float | None
    """The same from the hottest place."""
    steady: SteadyState | None
    """Where a constant climb would settle if it never ended and no limit took the speed; None on a road, and of two
    different drives."""
    warnings: tuple[str, ...] = field(default=())
    spread: Spread | None = None
    """Bikes like it on the same climb, where it was asked how sure the answer is; the verdict heeds them."""

    @property
    def foldbacks(self) -> tuple[LimitMet, ...]:
        """The foldbacks among the limits."""
        return tuple(met for met in self.limits if met.is_foldback)


def climb(
    build: str | Path | Build | LoadedBuild,
    road: str | Path | Road | None = None,
    *,
    grade_percent: float | None = None,
    length_km: float | None = None,
    speed_km_h: float | None = None,
    how_sure: bool = False,
) -> Climb:
    """Ride a road, or a constant grade begun at full speed, and return the heat along it.

    Give a road, or `grade_percent` and `length_km`. `how_sure`: how far the heat may be off, by rides of bikes drawn
    from the tolerances. Raises BuildError, RoadError or RideError.
    """
    loaded = as_loaded(build)
    cruise = speed_km_h or loaded.build.rider.cruise_speed_km_h
    ridden = road_of(road, grade_percent, length_km)
    rolling, steady = road is None, None
    if rolling and grade_percent is not None and loaded.build.second is None:
        steady = steady_state(loaded, grade_percent, cruise)
    ride = simulate(loaded, ridden, cruise_speed_km_h=cruise, start_speed_km_h=cruise if rolling else 0.0)
    whose, hot = _nearest_its_limit(ride)
    f, told, box = hot.figures, beside(ride) if how_sure else None, hot.build.controller
    return f.into(
        Climb,
        ride=ride,
        hot=hot,
        drive=whose,
        arrived=ride.finished,
        stop_reason=ride.figures.stop_reason,
        verdict=judged(judge(ride), told),
        spread=told,
        time_min=convert(f.total_time_s, "s", "min"),
        peak_winding_at_km=f.peak_winding_temp_at_km,
        peak_body_at_km=f.peak_body_temp_at_km,
        controller_full_current_below_c=box.controller_full_current_below_c,
        motor_full_current_below_c=box.motor_full_current_below_c,
        limits=_limits_met(hot),
        places=_places(hot),
        rest_to_c=REST_TO_C,
        rest_min=_minutes(rest_from_end_s(hot)),
        rest_from_hottest_min=_minutes(rest_from_hottest_s(hot)),
        steady=steady,
        warnings=(*loaded.warnings, *ridden.warnings),
    )


def _nearest_its_limit(ride: Ride) -> tuple[str, Ride]:
    """Return the drive whose winding comes nearest to its limit: its name, and the ride as it had it; "" of one."""
    drives = named_drives(ride) or (("", ride),)
    return min(drives, key=lambda each: each[1].figures.winding_limit_c - each[1].figures.peak_winding_temp_c)


def road_of(road: str | Path | Road | None, grade: float | None, length_km: float | None) -> Road:
    """Return the road to ride, or one of a constant grade. Raises RideError for a question that is not one."""
    if road is not None:
        if grade is not None or length_km is not None:
            raise RideError("climb", "a road and a constant grade are both given", "give one of them")
        return road if isinstance(road, Road) else load_road(road)
    if grade is None or length_km is None:
        missing = "length" if grade is not None else "grade"
        raise RideError("climb", f"the {missing} of the climb is missing", "give --grade PERCENT and --length KM")
    if not 0.0 <= grade <= 60.0:
        hint = "ask `ridesim regen` what a descent returns" if grade < 0.0 else "no bike climbs that"
        raise RideError("--grade", f"{grade:g} % is no climb to ask about (allowed 0 to 60 %)", hint)
    if not 0.05 <= length_km <= 500.0:
        raise RideError("--length", f"{length_km:g} km is out of range (allowed 0.05 to 500 km)", "choose inside it")
    return make_climb(to_si(length_km, "km"), grade, name=f"{grade:g} % for {length_km:g} km")


def _limits_met(ride: Ride) -> tuple[LimitMet, ...]:
    """Return every driving bound met, the longest first."""
    back, held = held_back(ride), ride.raw.trace[:, Channel.LIMIT].astype(np.int64)
    codes = {BOUNDS[limit].name: limit for limit in DRIVING_LIMITS}
    met = (each for each in ride.figures.limits if each.name in codes)
    return tuple(_limit_met(ride, each, np.flatnonzero(back & (held == codes[each.name]))) for each in met)


def held_back(ride: Ride) -> NDArray[np.bool_]:
    """Return per row of the trace whether the bike rides below its planned speed without gaining on it."""
    trace = ride.raw.trace
    speed, plan, time = (trace[:, column] for column in (Channel.SPEED, Channel.PLAN_SPEED, Channel.TIME))
    gaining = np.gradient(speed, time) > SPEEDING_UP_M_PER_S2 if len(time) > 1 else np.zeros(len(time), dtype=bool)
    return (plan - speed > HELD_BACK_M_PER_S) & ~gaining


def _limit_met(ride: Ride, met: BoundMet, rows: NDArray[np.int64]) -> LimitMet:
    trace = ride.raw.trace
    slowest = rows[np.argmin(trace[rows, Channel.SPEED])] if rows.size else None
    spans = np.diff(trace[:, Channel.TIME], prepend=ride.start.time)
    return LimitMet(
        name=met.name,
        is_foldback=met.name in FOLDBACKS,
        first_at_km=met.first_at_km,
        seconds=met.seconds,
        held_back_s=min(float(spans[rows].sum()), met.seconds),
        slowest_km_h=None if slowest is None else from_si(float(trace[slowest, Channel.SPEED]), "km_h"),
        slowest_at_km=None if slowest is None else from_si(float(trace[slowest, Channel.DISTANCE]), "km"),
        planned_km_h=None if slowest is None else from_si(float(trace[slowest, Channel.PLAN_SPEED]), "km_h"),
    )


def _places(ride: Ride) -> tuple[ClimbPlace, ...]:
    """Return the ride at even distances, and at its hottest place."""
    table = ride.trace
    along = table["distance_km"].to_numpy()
    wanted = np.linspace(along[-1] / SAMPLES, along[-1], SAMPLES)
    rows = {int(np.searchsorted(along, km)) for km in wanted} | {int(table["winding_temp_c"].to_numpy().argmax())}
    names = [name for name in ClimbPlace.__dataclass_fields__ if name != "limit"]
    found = []
    for row in sorted(min(row, len(table) - 1) for row in rows):
        at = table.iloc[row]
        found.append(ClimbPlace(**{name: float(at[name]) for name in names}, limit=str(at["limit"])))
    return tuple(found)


def _minutes(seconds: float) -> float | None:
    return from_si(seconds, "min") if math.isfinite(seconds) else None


def is_burnt(result: Climb) -> bool:
    """Return whether the winding passed its limit."""
    return result.winding_over_limit_s > 0.0 or result.stop == "over_temperature"
