"""How does the throttle law matter? One climb under three laws, with the controller's limits on and off.

All six rides want the same speed. `torque`: the rider asks for the motor current it takes, up to the set one.
`voltage`: the throttle stays where it gives that speed on the level, as a share of the pack's voltage. `governor`: the
controller holds the speed at any current. Each starts from rest on the level and then meets the hill.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.bike.second import refuse_second
from ridesim.engine.circuit import PEAK_POWER_SHARE
from ridesim.engine.codes import Channel, Stop
from ridesim.engine.params import current_scale
from ridesim.errors import RideError
from ridesim.physics import controller
from ridesim.physics.motor import REFERENCE_C
from ridesim.ride.bounds import STOP_WORDS
from ridesim.ride.drives import named_drives, with_motor_of
from ridesim.ride.figures import READINGS
from ridesim.ride.judge import Word, judge
from ridesim.ride.simulate import Ride, RideOptions, as_loaded
from ridesim.road.load import load_road
from ridesim.road.made import make_ramp
from ridesim.road.profile import Road
from ridesim.studies.many import Wish, ride_many
from ridesim.studies.steady import circuit, motor_at, still_of
from ridesim.sure.common import Candidate, Common, in_common
from ridesim.units import convert, from_si, to_si

LAWS = ("torque", "voltage", "governor")
GRADE_PERCENT, LENGTH_KM = 12.0, 2.0
"""The climb where none is named: steep enough that a loaded bike leans on its limits (guess)."""
APPROACH_M = 150.0
"""Level road before the climb, long enough to reach the cruise speed (guess)."""
TIME_LIMIT_H = 6.0
RIDES = 2 * len(LAWS)


@dataclass(frozen=True)
class ThrottleCase:
    """One law with the limits on or off. Motor currents as the controller's commutation reads them."""

    law: str
    limits: bool
    finished: bool
    stop: str
    stop_reason: str
    verdict: Word
    reasons: tuple[str, ...]
    distance_km: float
    time_min: float
    mean_speed_km_h: float
    slowest_on_climb_km_h: float
    """The least speed past the approach (on a road: past the start)."""
    peak_motor_current_a: float
    rms_motor_current_a: float
    peak_pack_current_a: float
    peak_winding_temp_c: float
    peak_body_temp_c: float
    winding_over_limit_s: float
    limit_passed_after_min: float | None
    """When the winding passed its limit; None: it did not."""
    copper_loss_wh: float
    lowest_pack_voltage_v: float


@dataclass(frozen=True, eq=False, repr=False)
class Throttle(Answer):
    """One climb, six ways. `rides` are in the order of `cases`."""

    loaded: LoadedBuild
    road: Road
    cruise_speed_km_h: float
    made_climb: bool
    cases: tuple[ThrottleCase, ...]
    rides: tuple[Ride, ...]
    """As the drive had them that is told of."""
    motor_current_reading: str
    motor_current_limit_a: float
    pack_current_limit_a: float
    winding_limit_c: float
    stall_current_a: float
    """What full duty would drive through the standing cold motor, the pack's sag and its power peak included."""
    warnings: tuple[str, ...] = field(default=())
    common: Common | None = None
    """The six rides in the same bikes, where it was asked how sure the differences are."""
    drive: str = ""
    """Which of two different drives is told of, its motor, currents and heat; empty for a bike of one."""

    def case(self, law: str, *, limits: bool) -> ThrottleCase:
        """Return one of the six."""
        return next(case for case in self.cases if case.law == law and case.limits == limits)


def throttle(
    build: str | Path | Build | LoadedBuild,
    road: str | Path | Road | None = None,
    *,
    grade_percent: float | None = None,
    length_km: float | None = None,
    speed_km_h: float | None = None,
    how_sure: bool = False,
    threads: int | None = None,
    done: Callable[[int], None] | None = None,
) -> Throttle:
    """Ride one climb under the laws torque, voltage and governor, with limits on and off.

    Give a road, or grade and length (default 12 % for 2 km). `how_sure`: whether the laws can be told apart, by rides
    in the same bikes drawn from the tolerances. Raises BuildError, RoadError or RideError.
    """
    loaded = as_loaded(build)
    if loaded.build.drive.gears.ratios:
        refuse_second(
            loaded.build, "the voltage law of a drive with gears", "ride each law alone: `ridesim ride --law`"
        )
    ridden = _road_of(road, grade_percent, length_km)
    cruise = speed_km_h or loaded.build.rider.cruise_speed_km_h
    chosen = [(law, limits) for limits in (True, False) for law in LAWS]
    wishes = [
        Wish(
            loaded,
            ridden,
            RideOptions(cruise_speed_km_h=cruise, throttle_law=law, limits=limits, time_limit_h=TIME_LIMIT_H),
            trace=True,
        )
        for law, limits in chosen
    ]
    whole = ride_many(wishes, threads=threads, done=done)
    drive, rides = _told_of(whole)
    motor, box, common = rides[0].build.motor, rides[0].build.controller, _common(wishes, threads) if how_sure else None
    cases = tuple(
        _case(law, on, one, ride, road is None) for (law, on), one, ride in zip(chosen, whole, rides, strict=True)
    )
    return Throttle(
        loaded=loaded,
        road=ridden,
        cruise_speed_km_h=cruise,
        made_climb=road is None,
        cases=cases if common is None else common.heeding(cases),
        rides=tuple(rides),
        motor_current_reading=READINGS[box.commutation],
        motor_current_limit_a=box.motor_current_limit_a,
        pack_current_limit_a=box.pack_current_limit_a,
        winding_limit_c=motor.winding_limit_c,
        stall_current_a=_stall_current(rides[0]),
        warnings=(*loaded.warnings, *ridden.warnings),
        common=common,
        drive=drive,
    )


def _told_of(rides: list[Ride]) -> tuple[str, list[Ride]]:
    """Return the rides as one of two different drives had them, behind its name: whose winding comes nearest to its
    limit in any of them; rides of one drive as they are.
    """
    if rides[0].raw.second is None:
        return "", rides
    drives = [named_drives(ride) for ride in rides]
    left = [
        min(each[at][1].figures.winding_limit_c - each[at][1].figures.peak_winding_temp_c for each in drives)
        for at in range(2)
    ]
    at = left.index(min(left))
    return drives[0][at][0], [each[at][1] for each in drives]


def _common(wishes: list[Wish], threads: int | None) -> Common | None:
    words = {True: "with limits", False: "without limits"}
    each_of = [
        Candidate(f"{wish.options.throttle_law} {words[wish.options.limits]}", wish.loaded, wish.options)
        for wish in wishes
    ]
    return in_common(each_of, wishes[0].road, threads=threads)


def _road_of(road: str | Path | Road | None, grade: float | None, length_km: float | None) -> Road:
    if road is not None:
        if grade is not None or length_km is not None:
            raise RideError("throttle", "a road and a constant grade are both given", "give one of them")
        return road if isinstance(road, Road) else load_road(road)
    steep, far = (GRADE_PERCENT if grade is None else grade), (LENGTH_KM if length_km is None else length_km)
    if not 0.0 <= steep <= 60.0:
        raise RideError("--grade", f"{steep:g} % is no climb to ask about (allowed 0 to 60 %)", "choose a climb")
    if not 0.05 <= far <= 500.0:
        raise RideError("--length", f"{far:g} km is out of range (allowed 0.05 to 500 km)", "choose inside it")
    return make_ramp(APPROACH_M, to_si(far, "km"), steep, name=f"{steep:g} % for {far:g} km")


def _case(law: str, limits: bool, whole: Ride, ride: Ride, made: bool) -> ThrottleCase:
    """`ride`: the whole one, as the drive had it that is told of."""
    f, verdict = with_motor_of(whole.figures, ride.figures), judge(whole)
    return f.into(
        ThrottleCase,
        law=law,
        limits=limits,
        stop_reason=_stop_words(ride.raw.stop, limits),
        verdict=verdict.word,
        reasons=verdict.reasons,
        time_min=convert(f.total_time_s, "s", "min"),
        slowest_on_climb_km_h=_slowest(ride, APPROACH_M + ride.road.spacing_m if made else APPROACH_M),
        limit_passed_after_min=_passed_after(ride) if f.winding_over_limit_s > 0.0 else None,
        copper_loss_wh=ride.ledger["motor_copper_loss"],
    )


def _stop_words(stop: Stop, limits: bool) -> str:
    if stop is Stop.LOW_VOLTAGE and not limits:
        return "the pack was drawn below its cut-off"
    return STOP_WORDS[stop]


def _slowest(ride: Ride, past_m: float) -> float:
    """Return the least speed past a place [km/h]; the end of the ride if it did not get there."""
    trace = ride.raw.trace
    past = trace[:, Channel.DISTANCE] >= past_m
    if not past.any():
        return ride.figures.end_speed_km_h
    return from_si(float(trace[past, Channel.SPEED].min()), "km_h")


def _passed_after(ride: Ride) -> float:
    """Return when the winding first passed its limit [min], from the trace."""
    trace, limit = ride.raw.trace, ride.params.winding_limit
    hot = np.flatnonzero(trace[:, Channel.WINDING_TEMP] > limit)
    return convert(float(trace[hot[0], Channel.TIME]) if hot.size else ride.figures.total_time_s, "s", "min")


def _stall_current(ride: Ride) -> float:
    """Return the current of a standing cold motor at full duty, or what the pack can feed at most [A], as read."""
    p = ride.params
    still = still_of(ride.build, ride.start.charge)
    pack_ohm = still.pack_resistance - still.slow
    c = circuit(p, motor_at(p, 0.0, REFERENCE_C, REFERENCE_C), still.open_voltage, pack_ohm)
    free = controller.UNBOUNDED
    most = controller.drive_current_at_pack_current(c, PEAK_POWER_SHARE * c.open_voltage / c.pack_resistance)
    if controller.voltage_excess(c, most, p.duty, free, 0.0, 0.0) > 0.0:
        most = controller.current_within_voltage(c, most, p.duty, free, 0.0, 0.0)
    return most / current_scale(ride.build)
