"""Which motor? From a wish to candidates that are ridden: top speed on the level, the hill, then the range.

Every figure comes from simulated rides of scaled generic parts (`size_parts`); rules of thumb stand beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from ridesim.errors import BuildError, RidesimError
from ridesim.physics.motor import AMPLITUDE_TO_DC
from ridesim.ride.judge import NEAR_LIMIT_K
from ridesim.ride.simulate import Ride
from ridesim.units import from_si
from ridesim.workshop.level_run import run_level
from ridesim.workshop.limits import Verdict
from ridesim.workshop.loads import loads_of
from ridesim.workshop.size.pack import PackAnswer, answer_for_voltage
from ridesim.workshop.size.parts import SIZE_CLASSES, SizeClass
from ridesim.workshop.size.trial import (
    HIGHEST_MOTOR_RPM,
    LOW_CHARGE,
    RATIO_OF_STAGES,
    TUNING_RUN_M,
    hill_ride,
    ratio_of,
    tuned,
    with_limits,
)
from ridesim.workshop.size.wish import Demand, Wish, demand_at

REFERENCE_V = 48.0
"""Pack on which sizes are compared; heat at a torque does not depend on it (`winding`)."""


@dataclass(frozen=True)
class Candidate:
    """One size of motor behind one reduction, ridden up the wished hill. Currents DC-equivalent.

    `motor_current_limit_amplitude_a`: the same limit as a sine controller reads it.
    """

    size: SizeClass
    stages: int
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
    hill_energy_wh: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True, eq=False)
class Sizing:
    """The answer: demands at the wheel, every size tried, the lightest that does it, and its packs."""

    wish: Wish
    demands: tuple[Demand, ...]
    candidates: tuple[Candidate, ...]
    chosen: Candidate
    packs: tuple[PackAnswer, ...]
    left_out: tuple[str, ...]
    verdict: Verdict
    reason: str


def expected_steps(wish: Wish) -> int:
    """Return how many candidates and packs a sizing goes through, for a progress bar."""
    return len(_layouts(wish)) + len(wish.voltages_v)


def size_drive(wish: Wish, done: Callable[[int], None] | None = None) -> Sizing:
    """Find the lightest motor that carries the wish, by riding candidates. Raises RidesimError when none does."""
    tell = done or (lambda _count: None)
    candidates = []
    for size, stages in _layouts(wish):
        found = _try(wish, size, stages)
        tell(1)
        if found is not None:
            candidates.append(found)
    if not candidates:
        raise BuildError("size", "no candidate can be ridden at all", "ask for less speed, less hill or less mass")
    order: tuple[Verdict, ...] = ("fine", "look again", "stop")
    chosen = min(candidates, key=lambda each: (order.index(each.verdict), each.size.mass_kg, each.stages))
    packs, left_out = _packs(wish, chosen, tell)
    total = chosen.total_mass_kg
    demands = (
        demand_at(wish, "hill", wish.hill_speed_km_h, wish.hill_percent, total),
        demand_at(wish, "top speed, level", wish.top_speed_km_h, 0.0, total),
        demand_at(wish, "cruise, level", wish.cruise, 0.0, total),
    )
    words = f"{chosen.size.words}, {stage_words(chosen)}: {chosen.reason}"
    return Sizing(wish, demands, tuple(candidates), chosen, packs, left_out, chosen.verdict, words)


def _packs(
    wish: Wish, chosen: Candidate, tell: Callable[[int], None]
) -> tuple[tuple[PackAnswer, ...], tuple[str, ...]]:
    """The packs that carry the chosen motor, and why a voltage is left out; none for a motor that does not do it."""
    packs, left_out = [], []
    for volts in wish.voltages_v if chosen.verdict != "stop" else ():
        try:
            packs.append(answer_for_voltage(wish, chosen.size, chosen.stages, chosen.ratio, volts))
        except RidesimError as error:
            left_out.append(f"{volts:g} V is left out: {error.what}")
        tell(1)
    return tuple(packs), tuple(left_out)


def stage_words(each: Candidate) -> str:
    """Return a candidate's reduction in words."""
    return {0: "in the wheel", 1: f"one stage of {each.ratio:.1f} to 1"}.get(
        each.stages, f"{each.stages} stages, {each.ratio:.1f} to 1 in all"
    )


def _layouts(wish: Wish) -> list[tuple[SizeClass, int]]:
    """Every size with every reduction that the wheel's top speed leaves sense in."""
    most = HIGHEST_MOTOR_RPM / wish.wheel_rpm(wish.top_speed_km_h)
    found = []
    for size in SIZE_CLASSES:
        for stages in (0,) if size.hub else (1, 2):
            if size.hub or most > RATIO_OF_STAGES[stages - 1]:
                found.append((size, stages))
    return found


def _try(wish: Wish, size: SizeClass, stages: int) -> Candidate | None:
    """Ride one size behind one reduction, at the hill's speed and as fast as it will; None where it cannot start."""
    ratio = ratio_of(wish, stages)
    try:
        wound = tuned(wish, size, stages, ratio, REFERENCE_V, wish.top_speed_km_h, LOW_CHARGE)
        loaded, limit = with_limits(wish, wound)
        ride = hill_ride(wish, loaded)
        fast = loads_of(hill_ride(wish, loaded, wish.top_speed_km_h))
    except RidesimError:
        return None  # past the schema's ranges, or unable to start: no candidate
    loads = loads_of(ride)
    motor = loaded.build.motor
    winding = max(loads.peak_winding_temp_c, fast.peak_winding_temp_c)
    body = max(loads.peak_body_temp_c, fast.peak_body_temp_c)
    verdict, reason = _judge(ride, winding, body)
    if verdict != "stop" and run_level(loaded, LOW_CHARGE, TUNING_RUN_M).top_speed_km_h < 0.98 * wish.top_speed_km_h:
        verdict, reason = "stop", "it cannot hold the top speed"
    return Candidate(
        size=size,
        stages=stages,
        ratio=ratio,
        kv_rpm_per_v=motor.kv_rpm_per_v,
        resistance_mohm=motor.resistance_mohm,
        can_diameter_mm=motor.can_diameter_mm,
        total_mass_kg=loaded.build.mass_kg,
        top_motor_rpm=ratio * wish.wheel_rpm(wish.top_speed_km_h),
        sustained_torque_nm=loads.sustained_shaft_torque_nm,
        peak_torque_nm=loads.peak_shaft_torque_nm,
        motor_current_limit_a=limit,
        motor_current_limit_amplitude_a=limit / AMPLITUDE_TO_DC,
        pack_current_limit_a=float(math.ceil(1.1 * max(loads.peak_pack_current_a, fast.peak_pack_current_a))),
        hill_speed_km_h=loads.distance_km / from_si(loads.total_time_s, "h"),
        peak_winding_temp_c=winding,
        winding_limit_c=motor.winding_limit_c,
        peak_body_temp_c=body,
        magnet_limit_c=motor.magnet_limit_c,
        hill_energy_wh=ride.figures.pack_energy_out_wh,
        verdict=verdict,
        reason=reason,
    )


def _judge(ride: Ride, winding_c: float, body_c: float) -> tuple[Verdict, str]:
    """The hill by its end and by the temperatures of winding and magnets."""
    motor = ride.build.motor
    if not ride.finished:
        return "stop", ride.figures.stop_reason
    heat = f"the winding reaches {winding_c:.0f} °C of {motor.winding_limit_c:.0f} °C"
    heat += f", the magnets {body_c:.0f} °C of {motor.magnet_limit_c:.0f} °C"
    room = min(motor.winding_limit_c - winding_c, motor.magnet_limit_c - body_c)
    if room < 0.0:
        return "stop", f"{heat}: too hot"
    return ("fine", heat) if room >= NEAR_LIMIT_K else ("look again", f"{heat}: little is left")


def thumb_rules(sizing: Sizing) -> tuple[tuple[str, str, str], ...]:
    """Return (rule, what it says, what the model says); every rule is common practice without a source."""
    if not sizing.packs:
        return ()
    wish, chosen, hill = sizing.wish, sizing.chosen, sizing.demands[0]
    pack = min(sizing.packs, key=lambda each: abs(each.nominal_voltage_v - REFERENCE_V))
    volts, low, high = pack.nominal_voltage_v, pack.kv_low_rpm_per_v, pack.kv_high_rpm_per_v
    unloaded = 1.25 * chosen.ratio * wish.wheel_rpm(wish.top_speed_km_h) / volts
    lasting_kw = from_si(hill.wheel_power_w, "kw") / 0.85
    mass = "a direct hub motor weighs 7 kg and more" if chosen.size.hub else f"{lasting_kw:.2f} kg"
    return (
        ("9 to 11 rpm per volt at the wheel", f"Kv {9 * chosen.ratio:.0f} to {11 * chosen.ratio:.0f} rpm/V",
         f"Kv {low:.0f} to {high:.0f} rpm/V at {volts:g} V"),
        ("unloaded speed a quarter above the top speed", f"Kv {unloaded:.0f} rpm/V at {volts:g} V",
         f"Kv {low:.0f} rpm/V holds it at {LOW_CHARGE:.0%} of charge"),
        ("1 kg of outrunner for each kW that lasts", mass, f"{chosen.size.mass_kg:g} kg ({chosen.reason})"),
        ("10 to 15 Wh for each km", f"{10 * wish.range_km:.0f} to {15 * wish.range_km:.0f} Wh",
         f"{pack.design.energy_wh:.0f} Wh ({pack.wh_per_km:.1f} Wh/km)"),
    )  # fmt: skip
