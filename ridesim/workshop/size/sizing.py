"""Which motor? From a wish to candidates that are ridden: top speed, the range with its hill, the hill from warm.

The lightest whose whole build (belts, limits and pack with it) passes its own rides and its own check is taken.

Every figure comes from simulated rides of scaled generic parts (`size_parts`); rules of thumb stand beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.errors import BuildError, RidesimError
from ridesim.physics.motor import AMPLITUDE_TO_DC
from ridesim.ride.limits import ORDER
from ridesim.units import from_si
from ridesim.workshop.limits import Verdict, worst_verdict
from ridesim.workshop.loads import loads_of
from ridesim.workshop.size.belts import verdict_on
from ridesim.workshop.size.judged import LOW_CHARGE, Trials, hill_ride, is_empty, judge_trials, ride_all
from ridesim.workshop.size.pack import PackAnswer, answer_for_voltage, belts_of
from ridesim.workshop.size.parts import SIZE_CLASSES, SizeClass
from ridesim.workshop.size.trial import HIGHEST_MOTOR_RPM, RATIO_OF_STAGES, ratio_of, trial, tuned, with_limits
from ridesim.workshop.size.wish import Demand, Wish, demand_at

REFERENCE_V = 48.0
"""Pack on which sizes are compared; heat at a torque does not depend on it (`winding`)."""
RATIO_STEP, RATIO_TRIES = 0.8, 5
"""Faster gearings are tried in these steps while the motor gets cooler: iron loss grows with the motor's speed."""
HOPELESS_K = -60.0
"""A motor so far past its limits is not saved by another gearing once one step made it no cooler."""
ROUGH_PACKS = (1.3, 1.7, 2.2)
"""By how much a first pack grows until the range ride tells of the motor, not of the pack."""
OTHERS_TRIED = 3
"""So many sizes are built whole for each other number of stages."""
MOST_PROPOSED = 8
"""So many candidates are built whole at the most, lightest first."""


@dataclass(frozen=True)
class Candidate:
    """One size of motor behind its coolest reduction, ridden through the whole wish. Currents DC-equivalent.

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
    room_k: float
    """How far winding and magnets stay below their limits, the nearer of both."""
    hill_energy_wh: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True, eq=False, repr=False)
class Sizing(Answer):
    """The answer: demands at the wheel, every size tried, the lightest that does it, and its packs."""

    wish: Wish
    demands: tuple[Demand, ...]
    candidates: tuple[Candidate, ...]
    chosen: Candidate
    packs: tuple[PackAnswer, ...]
    left_out: tuple[str, ...]
    others: tuple[tuple[Candidate, PackAnswer], ...]
    """The lightest with another number of stages, built whole on the same pack as well."""
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
    chosen, packs, left_out = _chosen(wish, candidates, tell)
    verdict, reason = _overall(chosen, packs)
    total = chosen.total_mass_kg
    demands = (
        demand_at(wish, "hill", wish.hill_speed_km_h, wish.hill_percent, total),
        demand_at(wish, "top speed, level", wish.top_speed_km_h, 0.0, total),
        demand_at(wish, "cruise, level", wish.cruise, 0.0, total),
    )
    words = f"{chosen.size.words}, {stage_words(chosen)}: {reason}"
    others = _others(wish, candidates, chosen, packs)
    return Sizing(wish, demands, tuple(candidates), chosen, packs, left_out, others, verdict, words)


def _chosen(
    wish: Wish, candidates: Sequence[Candidate], tell: Callable[[int], None]
) -> tuple[Candidate, tuple[PackAnswer, ...], tuple[str, ...]]:
    """Return the lightest candidate whose whole builds are as good as any, with its packs and the voltages left out.

    Lightest first; one whose builds all stop is passed over for the next.
    """
    ordered = sorted(candidates, key=lambda each: (ORDER.index(each.verdict), each.size.mass_kg, each.stages))
    able = [each for each in ordered if each.verdict != "stop"][:MOST_PROPOSED]
    best: tuple[int, Candidate, tuple[PackAnswer, ...], tuple[str, ...]] | None = None
    for each in _with_slower(wish, able):
        packs, left_out = _packs(wish, each, tell if best is None else lambda _count: None)
        worth = min((ORDER.index(pack.verdict) for pack in packs), default=len(ORDER))
        worth = max(worth, ORDER.index(each.verdict))
        if packs and (best is None or worth < best[0]):
            best = (worth, each, packs, left_out)
        if best is not None and best[0] <= ORDER.index(each.verdict):
            break
    if best is None:
        tell(len(wish.voltages_v))
        tried = tuple(f"{each.size.words}, {stage_words(each)}: no build of it is carried" for each in able)
        return ordered[0], (), tried
    return best[1], best[2], best[3]


def _with_slower(wish: Wish, able: Sequence[Candidate]) -> Iterator[Candidate]:
    """Go through candidates, each again at its slowest gearing: `check` rides a longer climb, where that is cooler."""
    for each in able:
        yield each
        most = ratio_of(wish, each.stages)
        slower = try_ratio(wish, each.size, each.stages, most) if each.ratio < most else None
        if slower is not None and slower.verdict == each.verdict:
            yield slower


def _others(
    wish: Wish, candidates: Sequence[Candidate], chosen: Candidate, packs: tuple[PackAnswer, ...]
) -> tuple[tuple[Candidate, PackAnswer], ...]:
    """Return the lightest fine candidate of each other number of stages whose whole build is fine too."""
    if not packs:
        return ()
    volts = min(packs, key=lambda each: abs(each.nominal_voltage_v - REFERENCE_V)).nominal_voltage_v
    found = []
    for stages in sorted({each.stages for each in candidates} - {chosen.stages}):
        able = [each for each in candidates if each.stages == stages and each.verdict == "fine"]
        for each in sorted(able, key=lambda one: one.size.mass_kg)[:OTHERS_TRIED]:
            try:
                pack = answer_for_voltage(wish, each.size, stages, each.ratio, volts)
            except RidesimError:
                continue
            if pack.verdict == "fine":
                found.append((each, pack))
                break
    return tuple(found)


def _overall(chosen: Candidate, packs: tuple[PackAnswer, ...]) -> tuple[Verdict, str]:
    """Return the verdict of the best build, or of the candidate where no build stands behind it."""
    if not packs:
        return "stop", chosen.reason if chosen.verdict == "stop" else f"no pack carries it; {chosen.reason}"
    best = min(packs, key=lambda each: ORDER.index(each.verdict))
    return best.verdict, best.reason


def _packs(
    wish: Wish, chosen: Candidate, tell: Callable[[int], None]
) -> tuple[tuple[PackAnswer, ...], tuple[str, ...]]:
    """The builds that carry the chosen motor, and why a voltage is left out."""
    packs, left_out = [], []
    for volts in wish.voltages_v:
        try:
            pack = answer_for_voltage(wish, chosen.size, chosen.stages, chosen.ratio, volts)
        except RidesimError as error:
            left_out.append(f"{volts:g} V is left out: {error.what}")
        else:
            if pack.verdict == "stop":
                left_out.append(f"{volts:g} V is left out: {pack.reason}")
            else:
                packs.append(pack)
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
    """Return one size behind the gearing that leaves it coolest; None where it cannot start."""
    best, ratio = None, ratio_of(wish, stages)
    for _ in range(RATIO_TRIES if stages else 1):
        found = try_ratio(wish, size, stages, ratio)
        if found is not None and (best is None or _rank(found) < _rank(best)):
            best = found
        elif best is not None and (best.verdict != "stop" or best.room_k < HOPELESS_K):
            break
        ratio *= RATIO_STEP
    return best


def _rank(each: Candidate) -> tuple[int, float]:
    return ORDER.index(each.verdict), -each.room_k


def try_ratio(wish: Wish, size: SizeClass, stages: int, ratio: float) -> Candidate | None:
    """Ride one size behind one reduction through the whole wish; None where it cannot start."""
    try:
        wound = tuned(wish, size, stages, ratio, REFERENCE_V, wish.top_speed_km_h, LOW_CHARGE)
        loaded, limit = with_limits(wish, wound)
        trials = _with_enough_pack(wish, size, stages, ratio, loaded)
        loads = loads_of(hill_ride(wish, trials.hill.loaded, wish.hill_speed_km_h, start=trials.hill.start, trace=True))
    except RidesimError:
        return None  # past the schema's ranges, or unable to start: no candidate
    verdict, reason = judge_trials(wish, trials, pack_too=False)
    if stages:
        verdict, reason = worst_verdict(
            [(verdict, reason), verdict_on(belts_of(wish, loaded, stages, ratio), stages)], reason
        )
    motor = loaded.build.motor
    peaks = (trials.whole, trials.hill)
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
        pack_current_limit_a=float(math.ceil(1.1 * max(each.figures.peak_pack_current_a for each in peaks))),
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


def _with_enough_pack(wish: Wish, size: SizeClass, stages: int, ratio: float, loaded: LoadedBuild) -> Trials:
    """Return the rides of a trial bike; a rough pack that runs empty on the way is made larger first."""
    trials = ride_all(wish, loaded)
    for more in ROUGH_PACKS:
        if not is_empty(trials.whole):
            break
        kv = loaded.build.motor.kv_rpm_per_v
        trials = ride_all(wish, with_limits(wish, trial(wish, size, stages, ratio, kv, REFERENCE_V, more))[0])
    return trials


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
        ("10 to 15 Wh/km", f"{10 * wish.range_km:.0f} to {15 * wish.range_km:.0f} Wh",
         f"{pack.design.energy_wh:.0f} Wh ({pack.wh_per_km:.1f} Wh/km)"),
    )  # fmt: skip
