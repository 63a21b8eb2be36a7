"""Pieces of a sizing by hand: what a candidate tells, the belts, limits and words of its pack, and its trials' verdict.

One trial bike is ridden for all of it; figures that lie just inside and just outside are laid into its rides.
"""

from __future__ import annotations

import dataclasses
import math
from types import SimpleNamespace
from typing import Any

import pytest

from ridesim.bike.load import build_from_dict
from ridesim.engine.codes import Total
from ridesim.ride.simulate import Ride
from ridesim.sure.spread import Chance
from ridesim.workshop.pack.design import PackNeeds
from ridesim.workshop.size import candidate as candidates
from ridesim.workshop.size import pack as packs
from ridesim.workshop.size.belts import StageBelt, _least_bad, belts_for
from ridesim.workshop.size.candidate import Candidate, stage_words, try_ratio
from ridesim.workshop.size.drawn import Drawn
from ridesim.workshop.size.gears import hub_of
from ridesim.workshop.size.judged import (
    HUB_BINDS,
    Trials,
    _slow_on_the_hill,
    is_empty,
    judge_trials,
)
from ridesim.workshop.size.pack import CURRENT_RESERVE, _Draft, belts_of
from ridesim.workshop.size.parts import SIZE_CLASSES, Layout
from ridesim.workshop.size.trial import controller_for, motor_torque_nm, trial, with_limits
from ridesim.workshop.size.wish import Wish, demand_at

WISH = Wish(140.0, 30.0, 8.0, 1.0, 10.0, voltages_v=(48.0,))
SMALL = next(each for each in SIZE_CLASSES if each.mass_kg == 1.25)
GEARED = Layout(SMALL, 2, 2, hub_of(3))


@pytest.fixture(scope="module")
def told() -> tuple[Candidate, Trials]:
    """Two motors behind a hub of three gears, and the rides that its figures come from."""
    ridden: list[Trials] = []
    plain = candidates._with_enough_pack

    def kept(*asked: Any) -> Trials:
        ridden.append(plain(*asked))
        return ridden[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(candidates, "_with_enough_pack", kept)
        found = try_ratio(WISH, GEARED, 14.0)
    assert found is not None
    return found, ridden[-1]


def changed(ride: Ride, totals: dict[Total, float]) -> Ride:
    new = ride.raw.totals.copy()
    for name, value in totals.items():
        new[name] = value
    return dataclasses.replace(ride, raw=ride.raw._replace(totals=new))


def test_a_candidate_tells_currents_of_one_motor_and_what_a_sine_controller_reads(
    told: tuple[Candidate, Trials],
) -> None:
    """Amplitude is 2 / root 3 of the DC-equivalent (120-degree six-step against sine, textbook)."""
    found, trials = told
    assert found.motor_current_limit_amplitude_a == pytest.approx(found.motor_current_limit_a * 2.0 / math.sqrt(3.0))
    most = max(ride.figures.peak_pack_current_a for ride in (trials.whole, trials.hill))
    assert found.pack_current_limit_a == math.ceil(CURRENT_RESERVE * most) / 2
    assert found.top_motor_rpm == pytest.approx(14.0 * GEARED.gears[-1] * 30.0 / 3.6 / 2.07 * 60.0)


def test_the_pack_current_counts_the_range_and_the_hill(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever of both takes more, with a tenth over it."""
    layout, seen = Layout(SMALL, 2), []
    plain = candidates._with_enough_pack
    for whole_a, hill_a in ((40.0, 20.0), (20.0, 40.0)):

        def laid(*asked: Any, whole_a: float = whole_a, hill_a: float = hill_a) -> Trials:
            trials = plain(*asked)
            whole = changed(trials.whole, {Total.PEAK_PACK_CURRENT: whole_a})
            return dataclasses.replace(
                trials, whole=whole, hill=changed(trials.hill, {Total.PEAK_PACK_CURRENT: hill_a})
            )

        monkeypatch.setattr(candidates, "_with_enough_pack", laid)
        found = try_ratio(WISH, layout, 14.0)
        assert found is not None
        seen.append(found.pack_current_limit_a)
    assert seen == [44.0, 44.0]


def test_a_candidate_s_heat_is_held_against_each_part_s_own_limit(told: tuple[Candidate, Trials]) -> None:
    """Winding and magnets, each by its part's own limit and its own hottest ride; energy and speed are the hill's."""
    found, trials = told
    motor = trials.hill.build.motor
    assert motor.winding_limit_c != motor.magnet_limit_c
    assert (found.winding_limit_c, found.magnet_limit_c) == (motor.winding_limit_c, motor.magnet_limit_c)
    rides = (trials.whole, trials.hill, trials.fast)
    assert found.peak_winding_temp_c == max(ride.figures.peak_winding_temp_c for ride in rides)
    assert found.peak_body_temp_c == max(ride.figures.peak_body_temp_c for ride in rides) < found.peak_winding_temp_c
    assert found.hill_energy_wh == trials.hill.figures.pack_energy_out_wh < trials.whole.figures.pack_energy_out_wh
    assert found.hill_speed_km_h == pytest.approx(3600.0 / trials.hill.figures.total_time_s, rel=2e-3)


def test_the_room_is_that_of_the_nearer_limit(told: tuple[Candidate, Trials]) -> None:
    """10 K below the winding's and 20 K below the magnets' limit, and the other way round, on whichever ride."""
    _, trials = told
    motor = trials.hill.build.motor
    for winding_k, magnets_k in ((10.0, 20.0), (20.0, 10.0)):
        hot = {Total.PEAK_WINDING: motor.winding_limit_c - winding_k, Total.PEAK_BODY: motor.magnet_limit_c - magnets_k}
        for name in ("whole", "hill", "fast"):
            moved = dataclasses.replace(trials, **{name: changed(getattr(trials, name), hot)})
            assert moved.room_k == pytest.approx(10.0)


def test_magnets_just_inside_and_just_outside(told: tuple[Candidate, Trials]) -> None:
    """1 K to either side of the magnets' limit and of the 15 K that are worth a look; the winding is cool."""
    _, trials = told
    limit_c = trials.hill.build.motor.magnet_limit_c
    for room_k, word in ((16.0, "fine"), (14.0, "look again"), (-1.0, "stop")):
        hot = {Total.PEAK_WINDING: 60.0, Total.PEAK_BODY: limit_c - room_k}
        moved = dataclasses.replace(trials, hill=changed(trials.hill, hot))
        assert judge_trials(WISH, moved, pack_too=False)[0] == word
        assert ("little is left" in judge_trials(WISH, moved, pack_too=False)[1]) == (word == "look again")


def test_belts_that_tear_stop_a_candidate(monkeypatch: pytest.MonkeyPatch) -> None:
    assert (sound := try_ratio(WISH, Layout(SMALL, 2), 14.0)) is not None and sound.verdict == "fine"
    monkeypatch.setattr(candidates, "verdict_on", lambda *_: ("stop", "the belt tears"))
    assert (torn := try_ratio(WISH, Layout(SMALL, 2), 14.0)) is not None
    assert (torn.verdict, torn.reason) == ("stop", "the belt tears")


def _stub(ratio: float, verdict: str, room_k: float) -> Any:
    return SimpleNamespace(ratio=ratio, verdict=verdict, room_k=room_k)


def test_faster_gearings_are_tried_while_they_cool_and_a_hopeless_motor_is_left(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The coolest is kept; one that is fine ends the search at the first hotter one; 60 K past it too, 59 K not yet."""
    layout, tried = Layout(SMALL, 1), []

    def rooms(*by_try: float, verdict: str = "stop") -> Any:
        tried.clear()

        def ride(wish: Wish, layout: Layout, ratio: float) -> Any:
            tried.append(ratio)
            return _stub(ratio, verdict, by_try[len(tried) - 1])

        monkeypatch.setattr(candidates, "try_ratio", ride)
        return candidates.coolest(WISH, layout)

    most = candidates.ratio_of(WISH, layout)
    assert rooms(10.0, 12.0, 11.0, 20.0, 20.0, verdict="fine").ratio == pytest.approx(0.8 * most)
    assert len(tried) == 3  # the one that is hotter ends it
    assert rooms(-61.0, -62.0, 20.0, 20.0, 20.0).room_k == -61.0 and len(tried) == 2
    assert rooms(-59.0, -62.0, -20.0, -30.0, -40.0).room_k == -20.0 and len(tried) == 5
    assert [share / most for share in tried] == pytest.approx([0.8**step for step in range(5)])


def test_a_rough_pack_that_runs_empty_is_made_larger_before_the_motor_is_judged(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    layout, asked = Layout(SMALL, 2), []
    loaded = candidates.reference_bike(WISH, layout, 14.0)
    plain = candidates.trial

    def noted(*args: Any) -> Any:
        asked.append(args[-1])
        return plain(*args)

    monkeypatch.setattr(candidates, "trial", noted)
    for empty, grown in ((1, [1.3]), (2, [1.3, 1.7]), (9, [1.3, 1.7, 2.2])):
        asked.clear()
        left = iter([True] * empty + [False] * 9)
        monkeypatch.setattr(candidates, "ride_all", lambda *_: SimpleNamespace(whole=None))
        monkeypatch.setattr(candidates, "is_empty", lambda _, left=left: next(left))
        candidates._with_enough_pack(WISH, layout, 14.0, loaded)
        assert asked == grown


def test_a_reduction_in_words(told: tuple[Candidate, Trials]) -> None:
    found = told[0]
    low, high = (f"{found.gears[at]:.2f}" for at in (0, -1))
    assert float(low) > float(high)
    assert stage_words(found) == f"2 stages, 14.0 to 1 in all, then a hub of 3 gears, {low} to {high}"
    one = dataclasses.replace(found, stages=1, ratio=7.25, gears=())
    assert stage_words(one) == "one stage of 7.2 to 1"
    assert stage_words(dataclasses.replace(one, stages=0)) == "in the wheel"


@pytest.mark.parametrize(("stop", "empty"), [("pack_empty", True), ("low_voltage", True), ("stalled", False),
                                             ("finished", False)])  # fmt: skip
def test_what_a_larger_pack_puts_off(stop: str, empty: bool) -> None:
    assert is_empty(SimpleNamespace(figures=SimpleNamespace(stop=stop))) is empty  # type: ignore[arg-type]


def test_a_gear_hub_is_named_where_it_is_what_holds_the_bike_back(told: tuple[Candidate, Trials]) -> None:
    """A hill ridden too slowly: at 89 % of what the hub's input stands it is the motor, at 91 % the hub."""
    ride = changed(told[1].hill, {Total.TIME: 3600.0})
    stands = ride.build.drive.gears.input_torque_limit_nm
    assert stands == 90.0 and HUB_BINDS == 0.9
    for share, named in ((0.89, False), (0.91, True)):
        (words,) = _slow_on_the_hill(WISH, changed(ride, {Total.PEAK_GEAR_TORQUE: share * stands}))
        assert words.startswith("it climbs the hill at 1 km/h")
        assert ("the 90 N·m that the gear hub's input stands" in words) is named


def test_hill_and_wide_open_both_begin_as_warm_as_the_level_half_leaves_the_bike(
    told: tuple[Candidate, Trials],
) -> None:
    trials = told[1]
    assert trials.hill.start.body_temp == trials.fast.start.body_temp > WISH.temperature_c + 2.0
    assert trials.hill.start.winding_temp == trials.fast.start.winding_temp


def test_belts_are_asked_for_the_torque_of_all_motors_at_the_highest_gear_s_speed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[tuple[float, ...]] = []
    monkeypatch.setattr(packs, "belts_for", lambda *args: asked.append(args) or ())
    for motors in (1, 2):
        layout = Layout(SMALL, 2, motors, hub_of(3))
        loaded, limit = with_limits(WISH, trial(WISH, layout, 14.0, 100.0, 48.0))
        belts_of(WISH, loaded, layout, 14.0)
        stages, ratio, torque_nm, rpm, radius_mm = asked[-1]
        assert (stages, ratio, radius_mm) == (2, 14.0, pytest.approx(2070.0 / math.tau))
        assert torque_nm == pytest.approx(motors * limit * 60.0 / (math.tau * 100.0))  # Kt = 60 / (2 pi Kv)
        assert rpm == pytest.approx(14.0 * layout.gears[-1] * 30.0 / 3.6 / 2.07 * 60.0)
    assert belts_of(WISH, loaded, Layout(SMALL, 0), 1.0) == ()


def test_each_stage_of_belts_gets_what_the_one_before_leaves(monkeypatch: pytest.MonkeyPatch) -> None:
    """Torque grows by the turns less a belt's loss, speed falls by the turns; only the last sits in the wheel."""
    asked: list[tuple[Any, ...]] = []
    monkeypatch.setattr(
        "ridesim.workshop.size.belts._options", lambda *args: asked.append(args) or iter([_belt("fine")])
    )
    assert len(belts_for(2, 9.0, 10.0, 3000.0, 330.0)) == 2
    (first, second) = asked
    assert first == (3.0, 10.0, 3000.0, None)
    assert second[0] == 3.0 and second[3] == 330.0
    assert 3.0 * 10.0 * 0.9 < second[1] < 3.0 * 10.0 and second[2] == pytest.approx(1000.0)


def _belt(verdict: Any, safety: float = 1.0, teeth: int = 20) -> StageBelt:
    return StageBelt(teeth, 3 * teeth, 5.0, 15.0, verdict, "", safety)


def test_of_belts_that_are_not_fine_the_strongest_of_the_least_bad_is_told() -> None:
    weak, strong, torn = _belt("look again", 0.9), _belt("look again", 1.1), _belt("stop", 1.2)
    assert _least_bad(iter([torn, weak, strong])) is strong
    assert _least_bad(iter([torn, weak, fine := _belt("fine", 0.5)])) is fine
    assert _least_bad(iter([])) is None


def _draft(layout: Layout, **more: Any) -> _Draft:
    belts = tuple(_belt("fine") for _ in range(layout.stages))
    needs = PackNeeds(48.0, 300.0, 40.0, usable_fraction=0.85)
    return dataclasses.replace(_Draft(WISH, layout, 48.0, belts, 100.0, needs), **more)


def test_a_proposal_s_box_shares_the_pack_current_and_stands_the_full_pack() -> None:
    """One controller a motor: half of 40 A each; a tenth over full pack and over what the motor turns unloaded."""
    for motors in (1, 2):
        draft = _draft(Layout(SMALL, 2, motors))
        box, full_v = draft.keys()["controller"], draft.design().full_voltage_v
        assert box["pack_current_limit_a"] == 40.0 / motors
        assert box["voltage_limit_v"] == math.ceil(1.1 * full_v)
        assert box["electrical_frequency_limit_hz"] == 1667.0  # what the schema's own controller has
    fast = _draft(Layout(SMALL, 1), kv=400.0)
    poles = build_from_dict(fast.keys()).build.motor.pole_pairs
    unloaded_hz = poles * 400.0 * fast.design().full_voltage_v / 60.0
    assert fast.keys()["controller"]["electrical_frequency_limit_hz"] == math.ceil(1.1 * unloaded_hz) > 1667.0


def test_what_set_the_pack_is_told_by_what_made_it_grow() -> None:
    """Only a pack that would be of the range's size was made larger for its cells: one set by its current is not."""
    one = Layout(SMALL, 2)
    far, hungry = PackNeeds(48.0, 3000.0, 5.0), PackNeeds(48.0, 100.0, 90.0)
    for needs, grown, word in ((far, False, "range"), (far, True, "cell limits"), (hungry, True, "current"),
                               (hungry, False, "current")):  # fmt: skip
        assert _draft(one, needs=needs, grown_for_cells=grown).set_by == word


def test_a_first_pack_is_asked_for_what_range_hill_and_level_take(
    told: tuple[Candidate, Trials], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The most of the three with a tenth over it, in whole amperes; half a road ridden asks for twice its energy."""
    trials = told[1]
    for level_a, whole_a, hill_a in ((51.0, 30.0, 20.0), (20.0, 51.0, 30.0), (30.0, 20.0, 51.0)):
        laid = dataclasses.replace(trials, whole=changed(trials.whole, {Total.PEAK_PACK_CURRENT: whole_a}),
                                   hill=changed(trials.hill, {Total.PEAK_PACK_CURRENT: hill_a}))  # fmt: skip
        monkeypatch.setattr(packs, "ride_all", lambda *_, laid=laid: laid)
        level = SimpleNamespace(end_pack_current_a=level_a)
        monkeypatch.setattr(packs, "run_level", lambda *_, level=level: level)
        assert packs._first_needs(WISH, trials.whole.loaded, 48.0).discharge_a == 57.0
    for ridden_km, needed_wh in ((10.0, 100.0), (5.0, 200.0), (0.1, 2000.0)):
        figures = SimpleNamespace(net_energy_wh=100.0, distance_km=ridden_km, road_km=10.0)
        part = SimpleNamespace(whole=SimpleNamespace(figures=figures))
        assert packs._energy_wh(part) == pytest.approx(needed_wh)  # type: ignore[arg-type]


@dataclasses.dataclass(frozen=True)
class _Answer:
    verdict: str
    reason: str
    chances: tuple[Chance, ...] = ()


HOT, DOUBT = Chance("winding", "winding too hot", 60, 100), Chance("winding", "winding too hot", 6, 100)
RARE = Chance("winding", "winding too hot", 5, 100)


@pytest.mark.parametrize(
    ("own", "chance", "also", "word"),
    [
        ("fine", RARE, "fine", "fine"),
        ("fine", DOUBT, "fine", "look again"),
        ("fine", HOT, "fine", "stop"),
        ("fine", RARE, "look again", "look again"),
        ("look again", RARE, "fine", "look again"),
        ("look again", HOT, "look again", "stop"),
        ("stop", DOUBT, "look again", "stop"),
    ],
)
def test_a_proposal_s_word_is_the_gravest_of_its_rides_its_chances_and_its_range(
    own: str, chance: Chance, also: str, word: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One in twenty is fine, more is a look, more than half a stop; whatever speaks against it is told."""
    monkeypatch.setattr(packs, "range_verdict", lambda _: (also, "on the range ride cells come near"))
    heeded = packs._heeding(_Answer(own, "its own reason"), Drawn((chance,), 0.0), None)  # type: ignore[arg-type, type-var]
    assert (heeded.verdict, heeded.chances) == (word, (chance,))
    assert heeded.reason.startswith("its own reason")
    assert ("cells come near" in heeded.reason) == (also != "fine")
    assert ("of bikes like it" in heeded.reason) == (chance is not RARE)


def test_the_current_limit_is_for_the_harder_of_hill_and_top_speed() -> None:
    """Force with 30 % over it (FORCE_RESERVE, a guess) by a motor that is warm: 7 % less torque from each ampere."""
    for layout in (Layout(SMALL, 2), Layout(SMALL, 2, 2)):
        for wish in (WISH, dataclasses.replace(WISH, hill_percent=0.5, top_speed_km_h=50.0)):
            loaded = trial(wish, layout, 10.0, 100.0, 48.0)
            limit = with_limits(wish, loaded)[1]
            mass = loaded.build.mass_kg
            hill = demand_at(wish, "", wish.hill_speed_km_h, wish.hill_percent, mass)
            level = demand_at(wish, "", wish.top_speed_km_h, 0.0, mass, pedalled=False)
            steeper = hill.wheel_torque_nm > level.wheel_torque_nm
            assert steeper == (wish is WISH)
            torque = motor_torque_nm(loaded.build, hill if steeper else level)
            amperes = 1.3 * torque / (layout.motors * 0.93 * 60.0 / (math.tau * 100.0))
            assert amperes < limit < amperes + 0.1 and round(limit, 1) == limit


def test_a_controller_is_as_large_as_its_current_asks() -> None:
    for limit_a, share in ((59.0, 1.0), (60.0, 1.0), (120.0, 2.0)):
        keys = controller_for(limit_a)
        assert keys["controller.on_resistance_mohm"] == pytest.approx(6.0 / share)
        assert keys["controller.heat_capacity_j_per_k"] == pytest.approx(350.0 * share)
        assert keys["controller.to_air_w_per_k"] == pytest.approx(1.5 * share)
