"""One layout of motors, belts and gears, ridden through the whole wish: a candidate of a sizing."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.bike.load import LoadedBuild
from ridesim.errors import RidesimError
from ridesim.physics.motor import AMPLITUDE_TO_DC
from ridesim.ride.limits import ORDER
from ridesim.units import from_si
from ridesim.workshop.limits import Verdict, worst_verdict
from ridesim.workshop.loads import loads_of
from ridesim.workshop.size.belts import verdict_on
from ridesim.workshop.size.judged import LOW_CHARGE, Trials, hill_ride, is_empty, judge_trials, ride_all
from ridesim.workshop.size.pack import CURRENT_RESERVE, belts_of
from ridesim.workshop.size.parts import Layout, SizeClass
from ridesim.workshop.size.trial import at_top_speed, motor_torque_nm, ratio_of, trial, tuned, with_limits
from ridesim.workshop.size.wish import Wish

REFERENCE_V = 48.0
"""Pack on which sizes are compared; heat at a torque does not depend on it (`winding`)."""
RATIO_STEP, RATIO_TRIES = 0.8, 5
"""Faster gearings are tried in these steps while the motor gets cooler: iron loss grows with the motor's speed."""
HOPELESS_K = -60.0
"""A motor so far past its limits is not saved by another gearing once one step made it no cooler."""
ROUGH_PACKS = (1.3, 1.7, 2.2)
"""By how much a first pack grows until the range ride tells of the motor, not of the pack."""


@dataclass(frozen=True)
class Candidate:
    """One layout of motors behind its coolest reduction, ridden through the whole wish. Currents DC-equivalent.

    Currents and limits are those of one motor, torques those of all: on the hill at its speed, or at the top speed.
    `ratio`: motor turns a turn of the wheel, or of the gears' input. `motor_current_limit_amplitude_a`: the same limit
    as a sine controller reads it.
    """

    size: SizeClass
    stages: int
    motors: int
    gears: tuple[float, ...]
    ratio: float
    kv_rpm_per_v: float
    resistance_mohm: float
    can_diameter_mm: float
    total_mass_kg: float
    top_motor_rpm: float
    sustained_torque_nm: float
    peak_torque_nm: float
    motor_current_limit_a: float
    motor_current_limit_amplitude_a: float
    pack_current_limit_a: float
    hill_speed_km_h: float
    peak_winding_temp_c: float
    winding_limit_c: float
    peak_body_temp_c: float
    magnet_limit_c: float
    room_k: float
    """How far winding and magnets stay below their limits, the nearer of both."""
    hill_energy_wh: float
    verdict: Verdict
    reason: str

    @property
    def layout(self) -> Layout:
        """What stands between pack and wheel."""
        return Layout(self.size, self.stages, self.motors, self.gears)


def stage_words(each: Candidate) -> str:
    """Return a candidate's reduction in words."""
    words = {0: "in the wheel", 1: f"one stage of {each.ratio:.1f} to 1"}.get(
        each.stages, f"{each.stages} stages, {each.ratio:.1f} to 1 in all"
    )
    return f"{words}, {hub_words(each.gears)}" if each.gears else words


def candidate_words(each: Candidate) -> str:
    """Return a candidate's motors and reduction in words."""
    return f"{each.layout.motor_words}, {stage_words(each)}"


def hub_words(gears: tuple[float, ...]) -> str:
    """Return a set of gears in words."""
    return f"then a hub of {len(gears)} gears, {gears[0]:.2f} to {gears[-1]:.2f}"


def coolest(wish: Wish, layout: Layout) -> Candidate | None:
    """Return one layout behind the gearing that leaves it coolest; None where it cannot start."""
    best, ratio = None, ratio_of(wish, layout)
    for _ in range(RATIO_TRIES if layout.stages else 1):
        found = try_ratio(wish, layout, ratio)
        if found is not None and (best is None or _rank(found) < _rank(best)):
            best = found
        elif best is not None and (best.verdict != "stop" or best.room_k < HOPELESS_K):
            break
        ratio *= RATIO_STEP
    return best


def _rank(each: Candidate) -> tuple[int, float]:
    return ORDER.index(each.verdict), -each.room_k


def reference_bike(wish: Wish, layout: Layout, ratio: float) -> LoadedBuild:
    """Return a layout wound and limited for the wish on the reference pack. Raises RidesimError."""
    return with_limits(wish, tuned(wish, layout, ratio, REFERENCE_V, wish.top_speed_km_h, LOW_CHARGE))[0]


def try_ratio(wish: Wish, layout: Layout, ratio: float) -> Candidate | None:
    """Ride one layout behind one reduction through the whole wish; None where it cannot start."""
    try:
        loaded = reference_bike(wish, layout, ratio)
        trials = _with_enough_pack(wish, layout, ratio, loaded)
        loads = loads_of(hill_ride(wish, trials.hill.loaded, wish.hill_speed_km_h, start=trials.hill.start, trace=True))
    except RidesimError:
        return None  # past the schema's ranges, or unable to start: no candidate
    verdict, reason = judge_trials(wish, trials, pack_too=False)
    if layout.stages:
        belts = verdict_on(belts_of(wish, loaded, layout, ratio), layout.stages)
        verdict, reason = worst_verdict([(verdict, reason), belts], reason)
    motor, limit = loaded.build.motor, loaded.build.controller.motor_current_limit_a
    peak_a = max(each.figures.peak_pack_current_a for each in (trials.whole, trials.hill))
    at_speed_nm = motor_torque_nm(loaded.build, at_top_speed(wish, loaded.build.mass_kg))
    return Candidate(
        size=layout.size,
        stages=layout.stages,
        motors=layout.motors,
        gears=layout.gears,
        ratio=ratio,
        kv_rpm_per_v=motor.kv_rpm_per_v,
        resistance_mohm=motor.resistance_mohm,
        can_diameter_mm=motor.can_diameter_mm,
        total_mass_kg=loaded.build.mass_kg,
        top_motor_rpm=ratio * layout.highest * wish.wheel_rpm(wish.top_speed_km_h),
        sustained_torque_nm=max(loads.sustained_shaft_torque_nm, at_speed_nm),
        peak_torque_nm=max(loads.peak_shaft_torque_nm, at_speed_nm),
        motor_current_limit_a=limit,
        motor_current_limit_amplitude_a=limit / AMPLITUDE_TO_DC,
        pack_current_limit_a=math.ceil(CURRENT_RESERVE * peak_a) / layout.motors,
        hill_speed_km_h=loads.distance_km / from_si(loads.total_time_s, "h"),
        peak_winding_temp_c=trials.hottest_winding_c,
        winding_limit_c=motor.winding_limit_c,
        peak_body_temp_c=trials.hottest_magnets_c,
        magnet_limit_c=motor.magnet_limit_c,
        room_k=trials.room_k,
        hill_energy_wh=trials.hill.figures.pack_energy_out_wh,
        verdict=verdict,
        reason=reason,
    )


def _with_enough_pack(wish: Wish, layout: Layout, ratio: float, loaded: LoadedBuild) -> Trials:
    """Return the rides of a trial bike; a rough pack that runs empty on the way is made larger first."""
    trials = ride_all(wish, loaded)
    for more in ROUGH_PACKS:
        if not is_empty(trials.whole):
            break
        kv = loaded.build.motor.kv_rpm_per_v
        trials = ride_all(wish, with_limits(wish, trial(wish, layout, ratio, kv, REFERENCE_V, more))[0])
    return trials
