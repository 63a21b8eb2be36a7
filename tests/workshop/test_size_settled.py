"""How a proposal settles: what makes pack, current and Kv grow, what is wound and checked, and what is left over."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from types import SimpleNamespace
from typing import Any

import pytest

from ridesim.engine.codes import Stop
from ridesim.errors import BuildError
from ridesim.sure.spread import Chance
from ridesim.workshop.pack.design import PackNeeds
from ridesim.workshop.size import candidate as candidates
from ridesim.workshop.size import judged, sizing
from ridesim.workshop.size import pack as packs
from ridesim.workshop.size.drawn import Drawn, warm_road
from ridesim.workshop.size.judged import Trials, judge_trials, lacks_reserve, ride_all
from ridesim.workshop.size.pack import MORE_CURRENT, MORE_FOR_DRAWS, MORE_KV, MORE_PACK, USABLE, _Draft
from ridesim.workshop.size.parts import SIZE_CLASSES, Layout
from ridesim.workshop.size.trial import TUNING_STEPS, _rough_parallel, trial, with_limits
from ridesim.workshop.size.wish import Wish

from .test_size_choice import BY_KG, candidate, pack

WISH = Wish(140.0, 30.0, 8.0, 1.0, 10.0, voltages_v=(48.0,))
SMALL = next(each for each in SIZE_CLASSES if each.mass_kg == 1.25)
ONE = Layout(SMALL, 2)


@pytest.fixture(scope="module")
def trials() -> Trials:
    """One motor behind two stages, on a pack large enough."""
    return ride_all(WISH, with_limits(WISH, trial(WISH, ONE, 14.0, 90.0, 48.0, 3.0))[0])


def test_what_a_motor_must_give_is_the_most_of_hill_and_top_speed(monkeypatch: pytest.MonkeyPatch) -> None:
    """At the shaft, for long and at its peak: the level's 2 N m count where the hill asks for less."""
    seen = {}
    for hill_nm in (0.01, 9.0):
        loads = SimpleNamespace(
            sustained_shaft_torque_nm=hill_nm, peak_shaft_torque_nm=2.0 * hill_nm, distance_km=1.0, total_time_s=240.0
        )
        monkeypatch.setattr(candidates, "loads_of", lambda _, loads=loads: loads)
        found = candidates.try_ratio(WISH, ONE, 14.0)
        assert found is not None
        seen[hill_nm] = (found.sustained_torque_nm, found.peak_torque_nm)
        assert found.hill_speed_km_h == pytest.approx(15.0)
    assert seen[9.0] == (9.0, 18.0)
    assert seen[0.01][0] == seen[0.01][1] > 0.1


def test_each_bike_warms_itself_at_cruise_speed_before_the_hill() -> None:
    road = warm_road(WISH)
    level = road.distance_m < 4400.0
    assert road.speed_limit_m_per_s[level][:-1].max() == pytest.approx(24.0 / 3.6)
    assert road.speed_limit_m_per_s[-10:].min() > 100.0 / 3.6  # none on the hill


def test_what_a_ride_leaves_is_no_fault_of_one_that_does_not_arrive(trials: Trials) -> None:
    """9 % of charge left: told of a ride that comes home, and not beside what ended one on the way."""
    low = dataclasses.replace(
        trials.whole, raw=trials.whole.raw._replace(end=trials.whole.raw.end._replace(charge=0.09))
    )
    assert lacks_reserve(low)
    home = dataclasses.replace(trials, whole=low)
    assert "it comes home with 9% of charge" in judge_trials(WISH, home, pack_too=True)[1]
    halted = dataclasses.replace(low, raw=low.raw._replace(stop=Stop.STALLED))
    word, reason = judge_trials(WISH, dataclasses.replace(trials, whole=halted), pack_too=True)
    assert (word, "it comes home" in reason) == ("stop", False)


def test_a_bike_that_hunts_for_its_gear_is_looked_at_again(trials: Trials, monkeypatch: pytest.MonkeyPatch) -> None:
    hunting = SimpleNamespace(reason="It shifts to and fro.")
    monkeypatch.setattr(judged, "_shifting", lambda ride: [hunting] if ride is trials.fast else [])
    word, reason = judge_trials(WISH, trials, pack_too=False)
    assert word == "look again" and reason.endswith("on the hill wide open it shifts to and fro")
    monkeypatch.setattr(judged, "_shifting", lambda _: [])
    assert judge_trials(WISH, trials, pack_too=False)[0] == "fine"


def test_only_what_the_check_stops_is_told_of_a_build(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = (SimpleNamespace(title="lead", reason="too thin", verdict="look again"),
            SimpleNamespace(title="winding", reason="too hot", verdict="stop"))  # fmt: skip
    for findings, told in ((rows[:1], "check stops nothing"), (rows, "check stops winding (too hot)")):
        monkeypatch.setattr(packs, "check_build", lambda _, found=findings: SimpleNamespace(findings=found))
        assert packs._checked(None)[1] == told  # type: ignore[arg-type]


class _Told:
    """Trials of a draft, laid in: what they lack, draft by draft."""

    def __init__(self, patch: pytest.MonkeyPatch, *lacks: str) -> None:
        self.left: Iterator[str] = iter(lacks)
        self.asked: list[_Draft] = []
        patch.setattr(packs, "build_from_dict", lambda keys, **_: keys)
        patch.setattr(_Draft, "keys", lambda draft: self.asked.append(draft))
        patch.setattr(packs, "ride_all", lambda *_: self._next())
        patch.setattr(packs, "is_empty", lambda ride: "empty" in ride)
        patch.setattr(packs, "lacks_reserve", lambda ride: "reserve" in ride)
        patch.setattr(packs, "stops", lambda ride: ("cells too hot",) if "worn" in ride else ("winding too hot",))

    def _next(self) -> Any:
        lack = next(self.left, "")
        whole = "" if lack == "worn hill" else lack
        speed = {"slow": 0.979, "fast": 0.981}.get(lack, 1.1) * WISH.top_speed_km_h
        return SimpleNamespace(whole=whole, rides={"whole": whole, "hill": lack}, top_speed_km_h=speed)


DRAFT = _Draft(WISH, ONE, 48.0, (), 100.0, PackNeeds(48.0, 300.0, 20.0, usable_fraction=USABLE))


@pytest.mark.parametrize("lack", ["empty", "reserve", "worn", "worn hill"])
def test_a_pack_grows_where_a_ride_wants_for_it(lack: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """By an eighth of the energy that the present cells have; only cells that suffer are told as what set it."""
    _Told(monkeypatch, lack)
    settled, _, _ = packs._settled(DRAFT)
    grown = MORE_PACK * DRAFT.design().energy_wh * USABLE
    assert settled.needs.energy_wh == pytest.approx(grown) and grown > 300.0
    assert settled.grown_for_cells is lack.startswith("worn")
    assert (settled.kv, settled.needs.discharge_a) == (100.0, 20.0)


def test_a_pack_that_is_empty_and_worn_is_set_by_its_range(monkeypatch: pytest.MonkeyPatch) -> None:
    _Told(monkeypatch, "empty worn")
    assert packs._settled(DRAFT)[0].grown_for_cells is False


def test_a_slow_bike_gets_more_current_and_more_kv(monkeypatch: pytest.MonkeyPatch) -> None:
    """At 97.9 % of the wished top speed, not at 98.1 %; and what is returned is what was ridden last."""
    told = _Told(monkeypatch, "slow")
    settled, _, _ = packs._settled(DRAFT)
    assert (settled.kv, settled.needs.discharge_a) == (100.0 * MORE_KV, 23.0) and MORE_CURRENT * 20.0 < 23.0
    assert MORE_KV > 1.0 and told.asked[-1] is settled and settled.needs.energy_wh == 300.0
    _Told(monkeypatch, "fast")
    assert packs._settled(DRAFT)[0] is DRAFT
    never = _Told(monkeypatch, *["slow"] * 99)
    assert packs._settled(DRAFT)[0] is never.asked[-1] and len(never.asked) == TUNING_STEPS + 1


@pytest.fixture
def laid(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """Return a function that asks for the answer of a voltage whose drafts settle at once and come to what is said."""

    def ask(*drawn: Drawn, verdicts: tuple[str, ...] = ("fine",) * 9, turns: tuple[int, int] = (20, 56)) -> Any:
        came, words = iter(drawn), iter(verdicts)
        seen = SimpleNamespace(tuned=[], drafts=[], heeded=None)

        def tuned(*args: Any) -> Any:
            seen.tuned.append(args[4:])
            return SimpleNamespace(build=SimpleNamespace(motor=SimpleNamespace(kv_rpm_per_v=100.0 * args[5])))

        belts = (SimpleNamespace(driver_teeth=turns[0], driven_teeth=turns[1]),)
        patches = {
            "tuned": tuned, "with_limits": lambda *_: (None, 1.0), "belts_of": lambda *_: belts,
            "_first_needs": lambda *_: DRAFT.needs,
            "_settled": lambda each: seen.drafts.append(each) or (each, None, None),
            "_answered": lambda *args: SimpleNamespace(
                verdict=next(words), kv_high=args[3], needs=args[0].needs
            ),
            "build_text": lambda _: "",
            "build_from_dict": lambda *_, **__: None, "drawn_bikes": lambda *_: next(came),
            "_heeding": lambda answer, drawn, _: setattr(seen, "heeded", drawn) or answer,
        }  # fmt: skip
        for name, patch in patches.items():
            monkeypatch.setattr(packs, name, patch)
        seen.answer = packs.answer_for_voltage(WISH, ONE, 3.0, 48.0)
        return seen

    return ask


FINE, EMPTY = Drawn((), 0.0), Drawn((), 0.06)
WORN = Drawn((Chance("cells_heat", "cells too hot", 6, 100),), 0.0)
BOTH = Drawn(WORN.chances, 0.06)


def test_a_motor_is_wound_for_the_pulleys_that_there_are(laid: Callable[..., Any]) -> None:
    """2.8 turns by the teeth where 3 were asked for: 2.8/3 of the Kv is as fast. Half as fast again when full."""
    seen = laid(FINE)
    assert seen.tuned == [(WISH.top_speed_km_h, 0.3), (1.5 * WISH.top_speed_km_h, 1.0)]
    assert seen.drafts[0].kv == pytest.approx(100.0 * 0.3 * 2.8 / 3.0)
    assert seen.answer.kv_high == pytest.approx(100.0 * 1.0 * 2.8 / 3.0)


def test_a_pack_grows_for_bikes_like_it_three_times_at_the_most(laid: Callable[..., Any]) -> None:
    assert MORE_FOR_DRAWS == 3
    for came, count in (((FINE,), 1), ((EMPTY, FINE), 2), ((EMPTY,) * 9, 4)):
        seen = laid(*came)
        assert len(seen.drafts) == count and seen.heeded is came[count - 1]
        grown = [each.needs.energy_wh for each in seen.drafts]
        assert grown == sorted(set(grown))
    for came, cells in (
        ((WORN, FINE), True),
        ((EMPTY, FINE), False),
        ((BOTH, FINE), False),
        ((WORN, EMPTY, FINE), True),
    ):
        assert laid(*came).drafts[-1].grown_for_cells is cells
    stopped = laid(FINE, verdicts=("stop",))
    assert len(stopped.drafts) == 1 and stopped.heeded is None and stopped.answer.verdict == "stop"


def test_a_pack_that_grew_too_heavy_gives_way_to_the_one_before(laid: Callable[..., Any]) -> None:
    """What bikes like it want for is worth a look; that the larger pack's own bike is stopped took the answer away."""
    seen = laid(EMPTY, verdicts=("fine", "stop"))
    assert len(seen.drafts) == 2 and seen.heeded is EMPTY
    assert seen.answer.verdict == "fine" and seen.answer.needs == DRAFT.needs


def test_the_window_of_kv_has_its_lower_end_below(trials: Trials, monkeypatch: pytest.MonkeyPatch) -> None:
    """A Kv that grew past what is half as fast again on a full pack is both ends."""
    monkeypatch.setattr(packs, "_checked", lambda _: ("fine", ""))
    monkeypatch.setattr(packs, "verdict_on", lambda *_: ("fine", ""))
    for high, ends in ((150.0, (100.0, 150.0)), (90.0, (100.0, 100.0))):
        found = packs._answered(DRAFT, trials.whole.loaded, trials, high)
        assert (found.kv_low_rpm_per_v, found.kv_high_rpm_per_v) == ends


def test_what_stops_a_build_is_told_whichever_of_rides_belts_and_check_it_is(
    trials: Trials, monkeypatch: pytest.MonkeyPatch
) -> None:
    for belts, check, word, why in (
        ("fine", "fine", "fine", "the winding"), ("stop", "fine", "stop", "belts"), ("fine", "stop", "stop", "check"),
        ("look again", "fine", "look again", "belts"),
    ):  # fmt: skip
        monkeypatch.setattr(packs, "verdict_on", lambda *_, word=belts: (word, "belts"))
        monkeypatch.setattr(packs, "_checked", lambda _, word=check: (word, "check"))
        found = packs._answered(DRAFT, trials.whole.loaded, trials, 150.0)
        assert (found.verdict, found.reason.startswith(why)) == (word, True)


def test_a_build_that_is_stopped_is_left_out_with_its_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    one = candidate(0.9)
    for word in ("fine", "look again"):
        kept = pack(word)
        monkeypatch.setattr(sizing, "answer_for_voltage", lambda *_, kept=kept: kept)
        assert sizing._pack_or_why(WISH, one, 48.0) is kept
    monkeypatch.setattr(sizing, "answer_for_voltage", lambda *_: pack("stop"))
    assert sizing._pack_or_why(WISH, one, 48.0) == "48 V is left out: stop on 48 V"

    def refused(*_: Any) -> Any:
        raise BuildError("motor", "no such winding", "wind another")

    monkeypatch.setattr(sizing, "answer_for_voltage", refused)
    why = "48 V is left out: no such bike can be put together (no such winding)"
    assert sizing._pack_or_why(WISH, one, 48.0) == why


def test_a_candidate_that_chances_speak_against_is_so_on_every_voltage(monkeypatch: pytest.MonkeyPatch) -> None:
    """Heat does not depend on the voltage: another that just does it is luck, the heavier motor is taken."""
    monkeypatch.setattr(sizing, "ratio_of", lambda *_: 0.0)
    wish = dataclasses.replace(WISH, voltages_v=(36.0, 48.0))
    light, heavy = candidate(0.9), candidate(1.25)
    for passed, taken in ((6, heavy), (5, light)):
        doubt = pack("look again" if passed > 5 else "fine", 48.0, Chance("winding", "winding too hot", passed, 100))
        made = sizing._Builds(wish)
        for each, answer in ((light, doubt), (light, pack("fine", 36.0)), (heavy, pack()), (heavy, pack("fine", 36.0))):
            made.known[(each.layout, each.ratio, answer.nominal_voltage_v)] = answer
        assert sizing._chosen(made, [light, heavy], lambda _: None)[0] is taken


def test_a_candidate_is_tried_again_at_its_slowest_gearing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where that is slower than its coolest and as good; `check` may find it cooler on a longer climb."""
    one = candidate(0.9)
    for most, word, count in ((10.1, "fine", 2), (10.1, "look again", 1), (9.9, "fine", 1)):
        monkeypatch.setattr(sizing, "ratio_of", lambda *_, most=most: most)
        slow = dataclasses.replace(one, ratio=most, verdict=word)
        monkeypatch.setattr(sizing, "try_ratio", lambda *_, slow=slow: slow)
        assert list(sizing._with_slower(WISH, [one])) == [one, slow][:count]


def _sizing_of(monkeypatch: pytest.MonkeyPatch, found_at: int, simpler: str = "") -> sizing.Sizing:
    """A sizing whose rounds are laid in: packs come of the round `found_at`."""
    rounds = []

    def tried(found: Any, _ways: Any) -> None:
        rounds.append(1)
        found.candidates += [candidate(0.7, "stop", -30.0), candidate(0.9, "stop", -5.0), candidate(0.5, "stop", -90.0)]
        found.simpler = simpler
        if len(rounds) == found_at:
            found.chosen, found.packs = candidate(1.25), (pack(),)

    monkeypatch.setattr(sizing, "_try_ways", tried)
    return sizing.size_drive(WISH)


def test_where_none_does_it_the_one_nearest_to_it_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    none = _sizing_of(monkeypatch, 9, "why not")
    assert (none.verdict, none.chosen.size, none.simpler) == ("stop", BY_KG[0.9], "")
    some = _sizing_of(monkeypatch, 2, "why not")
    assert (some.verdict, some.chosen.size, some.simpler) == ("fine", BY_KG[1.25], "why not")


def test_the_rules_of_thumb_by_hand() -> None:
    """At the hub's input a wheel turn is 0.75 turns in its highest gear; a quarter above the top speed on 48 V."""
    for gears in (1, 3):
        chosen = dataclasses.replace(candidate(0.9, gear_count=gears), winding_limit_c=155.0)
        design = SimpleNamespace(energy_wh=300.0)
        answer = dataclasses.replace(pack(), kv_low_rpm_per_v=100.0, kv_high_rpm_per_v=150.0, design=design)
        demand = SimpleNamespace(wheel_power_w=850.0)
        told = sizing.thumb_rules(sizing.Sizing(WISH, (demand,), (), chosen, (answer,), (), (), "fine", ""))  # type: ignore[arg-type]
        turns = 10.0 * chosen.layout.highest
        assert told[0][1] == f"Kv {9 * turns:.0f} to {11 * turns:.0f} rpm/V"
        assert told[1][1] == f"Kv {1.25 * turns * (30.0 / 3.6 / 2.07 * 60.0) / 48.0:.0f} rpm/V at 48 V"
        assert (told[2][1], told[3][1]) == ("1.00 kg", "100 to 150 Wh")


def test_a_rough_pack_gives_the_energy_of_the_range_and_the_power_of_the_hill() -> None:
    """A long flat way asks for cells by its energy, a short steep hill by its current: each alone asks for more."""
    flat = dataclasses.replace(WISH, range_km=200.0, hill_percent=0.5)
    steep = dataclasses.replace(WISH, hill_percent=25.0, hill_km=0.05, range_km=2.0)
    easy = dataclasses.replace(WISH, hill_percent=0.5, hill_km=0.05, range_km=2.0)
    least = _rough_parallel(easy, 48.0, 145.0)
    assert _rough_parallel(flat, 48.0, 145.0) > 3 * least and _rough_parallel(steep, 48.0, 145.0) > 3 * least


def test_what_a_hub_bears_is_shared_by_its_motors() -> None:
    """90 N m at the hub's input with a little left; two motors on its shaft get half of the current each."""
    heavy = dataclasses.replace(WISH, mass_kg=260.0, hill_percent=16.0)
    limits = [
        with_limits(heavy, trial(heavy, Layout(SMALL, 2, motors, (1.5, 1.0)), 12.0, 60.0, 48.0))[1] for motors in (1, 2)
    ]
    assert limits[0] == pytest.approx(2.0 * limits[1], abs=0.2)
