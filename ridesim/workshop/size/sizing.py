"""Which motor? From a wish to candidates that are ridden: top speed, the range with its hill, the hill from warm.

The lightest whose whole build (belts, limits and pack with it) passes its own rides and its own check is taken. One
motor and one ratio come first; gears behind the motor or two motors are tried where those do not do it, or by the wish.

Every figure comes from simulated rides of scaled generic parts (`size_parts`); rules of thumb stand beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from ridesim.answers import Answer
from ridesim.errors import BuildError, RidesimError
from ridesim.ride.limits import ORDER
from ridesim.units import from_si
from ridesim.workshop.limits import Verdict
from ridesim.workshop.size.candidate import HOPELESS_K, REFERENCE_V, Candidate, candidate_words, coolest, try_ratio
from ridesim.workshop.size.drawn import likely
from ridesim.workshop.size.gears import fewer_gears, hub_of
from ridesim.workshop.size.judged import LOW_CHARGE
from ridesim.workshop.size.pack import PackAnswer, answer_for_voltage
from ridesim.workshop.size.parts import SIZE_CLASSES, Layout
from ridesim.workshop.size.trial import RATIO_OF_STAGES, at_top_speed, most_turns, ratio_of, refuse_impossible
from ridesim.workshop.size.wish import Demand, Wish, demand_at

OTHERS_TRIED = 3
"""So many sizes are built whole for each other number of stages."""
MOST_PROPOSED = 8
"""So many candidates are built whole at the most, lightest first."""
BEHIND_THE_MOTOR = 0.85
"""Share of the motor's power that reaches the wheel, for the rule of a kilogram a kilowatt (guess)."""
PLAIN = (1, 1)
"""One motor and one ratio: told beside what was asked for."""
USUAL_GEARS = 8
"""Of the hub that is tried where the wish leaves the gears open (a choice: common, and wide enough for a hill)."""


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
    """The lightest with other motors, gears or stages, built whole on the same pack as well."""
    verdict: Verdict
    reason: str
    simpler: str = ""
    """Why one motor with one ratio does not do it, where more was tried for it."""

    @property
    def usual_pack(self) -> PackAnswer | None:
        """The proposal nearest to the voltage on which sizes are compared; None without proposals."""
        return min(self.packs, key=lambda each: abs(each.nominal_voltage_v - REFERENCE_V), default=None)


@dataclass
class _Found:
    """What was tried by now, and what came of it."""

    wish: Wish
    tell: Callable[[int], None]
    candidates: list[Candidate] = field(default_factory=list)
    packs: tuple[PackAnswer, ...] = ()
    left_out: tuple[str, ...] = ()
    chosen: Candidate | None = None
    simpler: str = ""

    def __post_init__(self) -> None:
        self.builds = _Builds(self.wish)


def expected_steps(wish: Wish) -> int:
    """Return how many candidates and packs a sizing goes through where its first try does it, for a progress bar."""
    return sum(len(_layouts(wish, *each)) for each in _tries(wish)[0]) + len(wish.voltages_v)


def size_drive(wish: Wish, done: Callable[[int], None] | None = None) -> Sizing:
    """Find the lightest motor that carries the wish, by riding candidates.

    Raises RidesimError where no candidate can be ridden, and for a cell or a further key that no bike can have.
    """
    refuse_impossible(wish)
    found = _Found(wish, done or (lambda _count: None))
    for ways in _tries(wish):
        _try_ways(found, [_layouts(wish, *way) for way in ways])
        if found.packs:
            break
    if found.packs and PLAIN not in _tries(wish)[0]:
        found.candidates += _ridden_down(found, _layouts(wish, *PLAIN))
    if not found.candidates:
        raise BuildError("size", "no candidate can be ridden at all", "ask for less speed, less hill or less mass")
    chosen = found.chosen or max(found.candidates, key=lambda each: each.room_k)
    verdict, reason = _overall(chosen, found.packs, found.left_out)
    total = chosen.total_mass_kg
    demands = (
        demand_at(wish, "hill", wish.hill_speed_km_h, wish.hill_percent, total),
        at_top_speed(wish, total),
        demand_at(wish, "cruise, level", wish.cruise, 0.0, total),
    )
    words = f"{candidate_words(chosen)}: {reason}"
    others = _others(found.builds, found.candidates, chosen, found.packs)
    left_out, simpler = found.left_out, found.simpler if found.packs else ""
    return Sizing(
        wish, demands, tuple(found.candidates), chosen, found.packs, left_out, others, verdict, words, simpler
    )


def _tries(wish: Wish) -> tuple[tuple[tuple[int, int], ...], ...]:
    """Return what is tried, the plainest first: ways of so many motors and gears, those of a round equally plain."""
    motors = (1, 2) if wish.motors is None else (wish.motors,)
    gears = (1, USUAL_GEARS) if wish.gears is None else (wish.gears,)
    rounds: dict[int, list[tuple[int, int]]] = {}
    for more_motors, motor_count in enumerate(motors):
        for more_gears, gear_count in enumerate(gears):
            rounds.setdefault(more_motors + more_gears, []).append((motor_count, gear_count))
    return tuple(tuple(rounds[each]) for each in sorted(rounds))


def _try_ways(found: _Found, ways: Sequence[Sequence[Layout]]) -> None:
    """Ride the layouts of some ways, and build the lightest whole."""
    tried = [each for layouts in ways for each in (_ridden if not found.candidates else _ridden_down)(found, layouts)]
    if not tried:
        return
    found.candidates += tried
    found.chosen, found.packs, found.left_out = _chosen(found.builds, tried, found.tell)
    if not found.packs and not found.simpler:
        found.simpler = _why_not(tried, found.left_out)


def _ridden(found: _Found, layouts: Sequence[Layout]) -> list[Candidate]:
    """Ride every layout."""
    tried = []
    for layout in layouts:
        candidate = coolest(found.wish, layout)
        found.tell(1)
        if candidate is not None:
            tried.append(candidate)
    return tried


def _ridden_down(found: _Found, layouts: Sequence[Layout]) -> list[Candidate]:
    """Ride layouts from the heaviest down to one that burns: what is lighter burns too. The lightest come first."""
    tried = []
    for stages in sorted({each.stages for each in layouts}):
        for layout in sorted((each for each in layouts if each.stages == stages), key=lambda one: -one.size.mass_kg):
            candidate = coolest(found.wish, layout)
            if candidate is not None:
                tried.append(candidate)
            if candidate is not None and candidate.verdict == "stop" and candidate.room_k < HOPELESS_K:
                break
    return sorted(tried, key=lambda each: (each.size.mass_kg, each.stages))


def _why_not(tried: Sequence[Candidate], left_out: Sequence[str]) -> str:
    """Return why none of some candidates does it: the nearest one's reason, or its builds'."""
    nearest = max(tried, key=lambda each: (each.verdict != "stop", each.room_k))
    if nearest.verdict != "stop" and left_out:
        return left_out[0]
    return f"{candidate_words(nearest)} comes nearest: {nearest.reason}"


def _chosen(
    builds: _Builds, candidates: Sequence[Candidate], tell: Callable[[int], None]
) -> tuple[Candidate | None, tuple[PackAnswer, ...], tuple[str, ...]]:
    """Return the lightest candidate whose whole builds are as good as any, with its packs and the voltages left out.

    Lightest first; one whose builds all stop, or that bikes like it do not all bear, is passed over for the next. None
    where no build is carried.
    """
    ordered = sorted(candidates, key=lambda each: (ORDER.index(each.verdict), each.layout.drive_kg, each.stages))
    able = [each for each in ordered if each.verdict != "stop"][:MOST_PROPOSED]
    best: _Built | None = None
    unsure: list[Candidate] = []
    tried: dict[Layout, str] = {}
    for each in _with_slower(builds.wish, able):
        if any(each.layout == one.layout for one in unsure):
            continue  # its slower gearing is no cooler
        first = builds.on(each, builds.usual_v)
        if isinstance(first, PackAnswer) and likely(first.chances):  # heat, on any voltage: the others can wait
            unsure.append(each)
            tried.setdefault(each.layout, f"{candidate_words(each)}: {first.reason}")
            continue
        built = builds.whole(each, tell if best is None else lambda _count: None)
        if built.packs and (best is None or built.worth < best.worth):
            best = built
        if best is not None and best.worth <= ORDER.index(each.verdict):
            break
        packs, left_out = built.packs, built.left_out
        why = packs[0].reason if packs else left_out[0] if left_out else "no build of it is carried"
        tried.setdefault(each.layout, f"{candidate_words(each)}: {why}")
    best = _or_unsure(builds, best, unsure, tell)
    if best is None:
        return None, (), tuple(tried.values())
    lighter = (f"Passed over: {why}" for layout, why in tried.items() if layout != best.candidate.layout)
    chosen, packs, left_out = _with_fewer_gears(builds, best)
    return chosen, packs, (*left_out, *lighter)


@dataclass
class _Builds:
    """Whole builds of candidates, each made and ridden once."""

    wish: Wish
    known: dict[tuple[Layout, float, float], PackAnswer | str] = field(default_factory=dict)

    @property
    def usual_v(self) -> float:
        """The voltage asked for that is nearest to the one on which sizes are compared."""
        return min(self.wish.voltages_v, key=lambda volts: abs(volts - REFERENCE_V))

    def on(self, each: Candidate, volts: float) -> PackAnswer | str:
        """Return the build of a candidate on one voltage, or why that is left out."""
        key = (each.layout, each.ratio, volts)
        if key not in self.known:
            self.known[key] = _pack_or_why(self.wish, each, volts)
        return self.known[key]

    def whole(self, each: Candidate, tell: Callable[[int], None]) -> _Built:
        """Return the builds that carry a candidate, and why a voltage is left out."""
        packs, left_out = [], []
        for volts in self.wish.voltages_v:
            pack = self.on(each, volts)
            if isinstance(pack, PackAnswer):
                packs.append(pack)
            else:
                left_out.append(pack)
            tell(1)
        return _Built(each, tuple(packs), tuple(left_out))


class _Built(NamedTuple):
    """A candidate with its whole builds, and how good the best of them is (0: fine)."""

    candidate: Candidate
    packs: tuple[PackAnswer, ...]
    left_out: tuple[str, ...]

    @property
    def worth(self) -> int:
        """Place of the best build's verdict, or the candidate's own where that is graver."""
        best = min((ORDER.index(pack.verdict) for pack in self.packs), default=len(ORDER))
        return max(best, ORDER.index(self.candidate.verdict))


def _or_unsure(
    builds: _Builds, best: _Built | None, unsure: Sequence[Candidate], tell: Callable[[int], None]
) -> _Built | None:
    """Return the best build, or the lightest that its chances speak against where none that is surer is fine."""
    if not unsure or (best is not None and best.worth <= ORDER.index(unsure[0].verdict)):
        return best
    built = builds.whole(unsure[0], tell if best is None else lambda _count: None)
    return built if built.packs and (best is None or built.worth <= best.worth) else best


def _with_fewer_gears(builds: _Builds, best: _Built) -> _Built:
    """Return a geared candidate with fewer gears, where their number is left open and it is as good with them."""
    chosen, wish = best.candidate, builds.wish
    other = fewer_gears(wish, chosen) if chosen.gears and wish.gears is None else None
    if other is None:
        return best
    built = builds.whole(other, lambda _count: None)
    return best if built.worth > best.worth else built


def _with_slower(wish: Wish, able: Sequence[Candidate]) -> Iterator[Candidate]:
    """Go through candidates, each again at its slowest gearing: `check` rides a longer climb, where that is cooler."""
    for each in able:
        yield each
        most = ratio_of(wish, each.layout)
        slower = try_ratio(wish, each.layout, most) if each.ratio < most else None
        if slower is not None and slower.verdict == each.verdict:
            yield slower


def _others(
    builds: _Builds, candidates: Sequence[Candidate], chosen: Candidate, packs: tuple[PackAnswer, ...]
) -> tuple[tuple[Candidate, PackAnswer], ...]:
    """Return the lightest fine candidate of each other kind of drive whose whole build is fine too.

    Where those tried are all fine as they stand but not in bikes like them, the lightest of these.
    """
    if not packs:
        return ()
    volts = min(packs, key=lambda each: abs(each.nominal_voltage_v - REFERENCE_V)).nominal_voltage_v
    found = []
    for kind in sorted({each.layout.kind for each in candidates} - {chosen.layout.kind}):
        able = [each for each in candidates if each.layout.kind == kind and each.verdict == "fine"]
        tried: list[tuple[Candidate, PackAnswer]] = []
        for each in sorted(able, key=lambda one: one.size.mass_kg)[:OTHERS_TRIED]:
            pack = builds.on(each, volts)
            if isinstance(pack, PackAnswer) and (pack.verdict == "fine" or likely(pack.chances)):
                tried.append((each, pack))
            if tried and tried[-1][1].verdict == "fine":
                break
        if tried:  # the lightest of those that are equally sure
            found.append(min(tried, key=lambda one: ORDER.index(one[1].verdict)))
    return tuple(found)


def _overall(chosen: Candidate, packs: tuple[PackAnswer, ...], left_out: tuple[str, ...]) -> tuple[Verdict, str]:
    """Return the verdict of the best build, or of the candidate where no build stands behind it."""
    if packs:
        best = min(packs, key=lambda each: ORDER.index(each.verdict))
        return best.verdict, best.reason
    if chosen.verdict == "stop":
        return "stop", chosen.reason
    named = f"{candidate_words(chosen)}: "
    why = next((each.removeprefix(named) for each in left_out if each.startswith(named)), chosen.reason)
    return "stop", f"no pack carries it; {why}"


def _pack_or_why(wish: Wish, chosen: Candidate, volts: float) -> PackAnswer | str:
    """Return the build of a candidate on one voltage, or why that is left out."""
    try:
        pack = answer_for_voltage(wish, chosen.layout, chosen.ratio, volts)
    except RidesimError as error:
        return f"{volts:g} V is left out: no such bike can be put together ({error.what})"
    return f"{volts:g} V is left out: {pack.reason}" if pack.verdict == "stop" else pack


def _layouts(wish: Wish, motors: int, gears: int) -> list[Layout]:
    """Every size with every reduction that the wheel's top speed leaves sense in; a hub motor is alone in its wheel."""
    found = []
    most_kg = wish.heaviest_motor_kg or math.inf
    for size in (each for each in SIZE_CLASSES if each.mass_kg <= most_kg):
        for stages in (0,) if size.hub else (1, 2):
            layout = Layout(size, stages, motors, hub_of(gears))
            alone = motors == 1 and gears == 1
            if (size.hub and alone) or (not size.hub and most_turns(wish, layout) > RATIO_OF_STAGES[stages - 1]):
                found.append(layout)
    return found


def thumb_rules(sizing: Sizing) -> tuple[tuple[str, str, str], ...]:
    """Return (rule, what it says, what the model says); every rule is common practice without a source."""
    pack = sizing.usual_pack
    if pack is None:
        return ()
    wish, chosen = sizing.wish, sizing.chosen
    volts, low, high = pack.nominal_voltage_v, pack.kv_low_rpm_per_v, pack.kv_high_rpm_per_v
    turns = chosen.ratio * chosen.layout.highest
    unloaded = 1.25 * turns * wish.wheel_rpm(wish.top_speed_km_h) / volts
    lasting_kw = from_si(max(each.wheel_power_w for each in sizing.demands), "kw") / BEHIND_THE_MOTOR
    heat = f"the winding reaches {pack.peak_winding_temp_c:.0f} °C of {chosen.winding_limit_c:.0f} °C"
    mass = "a direct hub motor weighs 7 kg and more" if chosen.size.hub else f"{lasting_kw:.2f} kg"
    return (
        ("9 to 11 rpm per volt at the wheel", f"Kv {9 * turns:.0f} to {11 * turns:.0f} rpm/V",
         f"Kv {low:.0f} to {high:.0f} rpm/V at {volts:g} V"),
        ("unloaded speed a quarter above the top speed", f"Kv {unloaded:.0f} rpm/V at {volts:g} V",
         f"Kv {low:.0f} rpm/V holds it at {LOW_CHARGE:.0%} of charge"),
        ("1 kg of outrunner for each kW that lasts", mass, f"{chosen.layout.motors_kg:g} kg ({heat})"),
        ("10 to 15 Wh/km", f"{10 * wish.range_km:.0f} to {15 * wish.range_km:.0f} Wh",
         f"{pack.design.energy_wh:.0f} Wh ({pack.wh_per_km:.1f} Wh/km)"),
    )  # fmt: skip
