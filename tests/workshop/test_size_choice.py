"""What a sizing picks and in which order it tells it: by candidates, builds and chances laid in by hand, not ridden."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from ridesim.ride.judge import Finding, hold
from ridesim.sure.spread import Chance
from ridesim.workshop.size import drawn, gears, sizing
from ridesim.workshop.size.candidate import Candidate
from ridesim.workshop.size.drawn import Drawn, chance_verdict, drawn_bikes, likely, range_verdict
from ridesim.workshop.size.gears import WIDER, fewer_gears, hub_of, span_of
from ridesim.workshop.size.pack import PackAnswer
from ridesim.workshop.size.parts import HUB_KG, SIZE_CLASSES, Layout
from ridesim.workshop.size.sizing import (
    Sizing,
    _Builds,
    _Built,
    _chosen,
    _or_unsure,
    _others,
    _overall,
    _with_fewer_gears,
)
from ridesim.workshop.size.trial import most_turns, ratio_of
from ridesim.workshop.size.wish import Wish

WISH = Wish(140.0, 30.0, 8.0, 3.0, 40.0, voltages_v=(48.0,))
BY_KG = {each.mass_kg: each for each in SIZE_CLASSES if not each.hub}
RARE, DOUBT = (Chance("winding", "winding too hot", passed, 100) for passed in (5, 6))


def candidate(
    mass_kg: float, verdict: Any = "fine", room_k: float = 20.0, stages: int = 2, gear_count: int = 1, motors: int = 1
) -> Candidate:
    """A candidate of a size; what no choice looks at is nought."""
    words = {"verdict": verdict, "reason": f"the reason of {mass_kg:g} kg", "size": BY_KG[mass_kg], "stages": stages,
             "motors": motors, "gears": hub_of(gear_count), "room_k": room_k, "ratio": 10.0}  # fmt: skip
    return Candidate(**{**{each.name: 0.0 for each in dataclasses.fields(Candidate)}, **words})


def pack(verdict: Any = "fine", volts: float = 48.0, *chances: Chance) -> PackAnswer:
    """A build on a voltage."""
    words = {"verdict": verdict, "reason": f"{verdict} on {volts:g} V", "nominal_voltage_v": volts, "chances": chances}
    return PackAnswer(**{**{each.name: 0.0 for each in dataclasses.fields(PackAnswer)}, **words})


@pytest.fixture
def builds(monkeypatch: pytest.MonkeyPatch) -> Callable[..., _Builds]:
    """Return a function that lays in the builds of candidates: none is ridden, and no gearing is slower."""
    monkeypatch.setattr(sizing, "ratio_of", lambda *_: 0.0)

    def laid(*known: tuple[Candidate, PackAnswer | str], wish: Wish = WISH) -> _Builds:
        made = _Builds(wish)
        for each, answer in known:
            volts = answer.nominal_voltage_v if isinstance(answer, PackAnswer) else 48.0
            made.known[(each.layout, each.ratio, volts)] = answer
        return made

    return laid


def _silent(_count: int) -> None:
    return None


def test_the_lightest_drive_counts_the_hub_and_both_motors(builds: Callable[..., _Builds]) -> None:
    """0.9 kg behind a hub that weighs 1.3 kg more is heavier than 1.75 kg alone; two motors count twice."""
    plain, hub, two = candidate(1.75), candidate(0.9, gear_count=3), candidate(0.7, motors=2)
    assert hub.layout.drive_kg == 0.9 + HUB_KG > plain.layout.drive_kg > two.layout.drive_kg == 1.4
    for tried, taken in (([plain, hub], plain), ([hub, plain], plain), ([plain, two], two)):
        made = builds(*((each, pack()) for each in tried))
        assert _chosen(made, tried, _silent)[0] is taken
    one_stage = candidate(1.75, stages=1)
    made = builds((plain, pack()), (one_stage, pack()))
    assert _chosen(made, [plain, one_stage], _silent)[0] is one_stage  # as light, with a belt less


def test_a_lighter_candidate_is_passed_over_for_its_chances_or_its_builds(builds: Callable[..., _Builds]) -> None:
    """Passed in one bike of twenty it is taken, in more it is not where a heavier one is fine; and each says why."""
    light, heavy = candidate(0.9), candidate(1.25)
    kept, passed = builds((light, pack("fine", 48.0, RARE)), (heavy, pack())), (heavy, pack())
    assert _chosen(kept, [light, heavy], _silent)[0] is light
    for answer in (pack("look again", 48.0, DOUBT), pack("look again"), "48 V is left out: too heavy"):
        found, packs, left_out = _chosen(builds((light, answer), passed), [light, heavy], _silent)
        assert found is heavy and [each.verdict for each in packs] == ["fine"]
        assert len(left_out) == 1 and left_out[0].startswith("Passed over: outrunner, 0.9 kg")


def test_what_chances_speak_against_is_proposed_where_none_is_surer(builds: Callable[..., _Builds]) -> None:
    """The lightest of them; one that is as good a build but heavier does not oust it, one that is fine does."""
    light, heavy = candidate(0.9), candidate(1.25)
    unsure = (light, pack("look again", 48.0, DOUBT))
    assert _chosen(builds(unsure, (heavy, pack("look again"))), [light, heavy], _silent)[0] is light
    assert _chosen(builds(unsure, (heavy, pack("stop"))), [light, heavy], _silent)[0] is light
    assert _chosen(builds(unsure, (heavy, pack())), [light, heavy], _silent)[0] is heavy
    best = _Built(heavy, (pack(),), ())
    assert _or_unsure(builds(unsure), best, [light], _silent) is best
    assert _or_unsure(builds(), None, [], _silent) is None


def test_a_build_is_as_good_as_its_best_voltage_and_no_better_than_its_candidate() -> None:
    fine, near, stop = pack("fine", 36.0), pack("look again", 48.0), pack("stop", 60.0)
    for verdict, packs, worth in (
        ("fine", (near, fine), 0), ("fine", (near, stop), 1), ("look again", (fine,), 1), ("fine", (), 3),
    ):  # fmt: skip
        assert _Built(candidate(0.9, verdict), packs, ()).worth == worth
    assert _overall(candidate(0.9), (near, fine), ()) == ("fine", "fine on 36 V")


def test_without_a_build_the_candidate_s_own_reason_is_told() -> None:
    light = candidate(0.9)
    assert _overall(candidate(0.9, "stop"), (), ("no pack",)) == ("stop", "the reason of 0.9 kg")
    left_out = ("outrunner, 1.25 kg, 2 stages, 10.0 to 1 in all: another", "outrunner, 0.9 kg, 2 stages, 10.0 to 1 in "
                "all: the belt tears")  # fmt: skip
    assert _overall(light, (), left_out) == ("stop", "no pack carries it; the belt tears")
    assert _overall(light, (), ()) == ("stop", "no pack carries it; the reason of 0.9 kg")


def test_voltages_are_led_by_the_one_nearest_48(builds: Callable[..., _Builds]) -> None:
    """48 V is what sizes are compared on; a builder who asks for others is answered with the nearest of his own."""
    for voltages, usual in (((36.0, 52.0, 72.0), 52.0), ((60.0, 72.0), 60.0), ((24.0, 36.0), 36.0)):
        assert builds(wish=dataclasses.replace(WISH, voltages_v=voltages)).usual_v == usual
        packs = tuple(pack("fine", volts) for volts in voltages)
        found = Sizing(WISH, (), (), candidate(0.9), packs, (), (), "fine", "")
        assert found.usual_pack is not None and found.usual_pack.nominal_voltage_v == usual


def test_fewer_gears_are_taken_where_they_are_as_good(
    monkeypatch: pytest.MonkeyPatch, builds: Callable[..., _Builds]
) -> None:
    many, few = candidate(0.9, gear_count=8), candidate(0.9, gear_count=3)
    monkeypatch.setattr(sizing, "fewer_gears", lambda *_: few)
    best = _Built(many, (pack(),), ())
    for word, taken in (("fine", few), ("look again", many)):
        assert _with_fewer_gears(builds((few, pack(word))), best).candidate is taken
    asked = builds((few, pack()), wish=dataclasses.replace(WISH, gears=8))
    assert _with_fewer_gears(asked, best) is best  # so many were asked for


def test_another_way_is_the_lightest_fine_one_of_its_kind(builds: Callable[..., _Builds]) -> None:
    """One whose build is only a look is not shown, one that only its chances speak against is, where none is surer."""
    chosen, usual = candidate(2.5), (pack(),)
    small, middle, large = (candidate(mass, gear_count=3) for mass in (0.9, 1.25, 1.75))
    ways = (chosen, large, small, middle)
    doubt, near = pack("look again", 48.0, DOUBT), pack("look again")

    def shown(*words: PackAnswer) -> list[tuple[float, str]]:
        made = builds(*zip((small, middle, large), words, strict=True))
        return [(each.size.mass_kg, answer.verdict) for each, answer in _others(made, ways, chosen, usual)]

    assert shown(pack(), pack(), pack()) == [(0.9, "fine")]
    assert shown(near, pack(), pack()) == [(1.25, "fine")]
    assert shown(doubt, doubt, pack()) == [(1.75, "fine")]
    assert shown(doubt, doubt, near) == [(0.9, "look again")]
    assert shown(near, near, near) == []
    weak = tuple(dataclasses.replace(each, verdict="look again") for each in (small, middle, large))
    laid = builds(*((each, pack()) for each in weak))
    assert _others(laid, (chosen, *weak), chosen, usual) == ()
    assert _others(builds(), ways, chosen, ()) == ()


def test_why_the_plain_way_does_not_do_it_is_the_nearest_one_s_reason() -> None:
    near, far = candidate(1.25, "stop", -5.0), candidate(0.9, "stop", -50.0)
    assert sizing._why_not([far, near], ()).endswith("comes nearest: the reason of 1.25 kg")
    able = candidate(0.7, "fine", 3.0)
    assert sizing._why_not([far, near, able], ("its builds' reason",)) == "its builds' reason"
    assert "the reason of 0.7 kg" in sizing._why_not([far, near, able], ())


def test_a_second_round_ends_below_the_size_that_is_hopeless(monkeypatch: pytest.MonkeyPatch) -> None:
    """60 K past its limit: what is lighter is not ridden. 59 K past it the next lighter is."""
    layouts = [Layout(BY_KG[mass], 2) for mass in (0.7, 0.9, 1.25)]
    for room_k, count in ((-59.0, 3), (-61.0, 1)):
        monkeypatch.setattr(sizing, "coolest", lambda _, each, k=room_k: candidate(each.size.mass_kg, "stop", k))
        assert len(sizing._ridden_down(sizing._Found(WISH, _silent), layouts)) == count


def test_ways_are_tried_the_plainest_first_and_equally_plain_ones_together() -> None:
    assert sizing._tries(WISH) == (((1, 1),), ((1, 8), (2, 1)), ((2, 8),))
    assert sizing._tries(dataclasses.replace(WISH, motors=2)) == (((2, 1),), ((2, 8),))
    assert sizing._tries(dataclasses.replace(WISH, motors=2, gears=3)) == (((2, 3),),)


def test_layouts_leave_out_what_the_top_speed_has_no_turns_for() -> None:
    """9000 rpm (a guess) at the wheel's top speed: two stages where more than one stage's nine turns are left."""
    for speed_km_h, two_stages in ((40.0, True), (89.0, True), (91.0, False)):  # 9 turns at 90 km/h on a small wheel
        wish = dataclasses.replace(WISH, top_speed_km_h=speed_km_h, circumference_mm=1500.0)
        turns = most_turns(wish, Layout(BY_KG[0.9], 1))
        assert turns == pytest.approx(9000.0 / (speed_km_h / 3.6 / 1.5 * 60.0))
        found = sizing._layouts(wish, 1, 1)
        assert any(each.stages == 2 for each in found) is two_stages
        assert ratio_of(wish, Layout(BY_KG[0.9], 2)) == min(18.0, turns)
        assert any(each.size.hub for each in found)
    assert not any(each.size.hub for count in ((2, 1), (1, 3)) for each in sizing._layouts(WISH, *count))
    capped = sizing._layouts(dataclasses.replace(WISH, heaviest_motor_kg=0.9), 1, 1)
    assert max(each.size.mass_kg for each in capped) == 0.9


def _chance(limit: str, passed: int) -> Chance:
    return Chance(limit, limit, passed, 100)


def _whole(*chances: Chance, **ends: int) -> SimpleNamespace:
    return SimpleNamespace(chances=chances, ends=ends, samples=100)


def test_chances_are_told_the_likeliest_first_each_by_the_ride_that_passes_it_most(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    trials = SimpleNamespace(whole=SimpleNamespace(loaded=None))
    monkeypatch.setattr(drawn, "replace", lambda ride, **_: ride)
    monkeypatch.setattr(drawn, "beside", lambda _: _whole(_chance("winding", 10), _chance("magnets", 40),
                                                          _chance("reserve", 0), finished=90, pack_empty=4,
                                                          low_voltage=3))  # fmt: skip
    hill = (_chance("winding", 30), _chance("magnets", 20), _chance("controller", 35))
    monkeypatch.setattr(drawn, "_on_a_hotter_hill", lambda *_: hill)
    found = drawn_bikes(WISH, None, trials)  # type: ignore[arg-type]
    assert [(each.limit, each.passed) for each in found.chances] == [
        ("magnets", 40),
        ("controller", 35),
        ("winding", 30),
    ]
    assert found.empty == pytest.approx(0.07)


def test_three_limits_are_told_with_their_chances_and_those_below_one_in_twenty_are_not() -> None:
    chances = tuple(_chance(name, passed) for name, passed in (("a", 40), ("b", 30), ("c", 20), ("d", 10)))
    assert chance_verdict(chances) == ("look again", "a in 40% and b in 30% and c in 20% of bikes like it")
    assert chance_verdict((chances[0], _chance("b", 5)))[1] == "a in 40% of bikes like it"
    assert [each.limit for each in likely((_chance("just", 5), _chance("more", 6)))] == ["more"]


def test_a_larger_pack_is_wanted_where_too_many_run_empty_or_wear_their_cells() -> None:
    """One in twenty just inside, six in a hundred just outside; heat of the motor is not the pack's."""
    for name, passed, worn in (("cells_heat", 5, False), ("cells_heat", 6, True), ("cell_lasting", 6, True),
                               ("winding", 60, False)):  # fmt: skip
        found = Drawn((_chance(name, passed),), 0.0)
        assert found.cells_worn is found.pack_too_small is worn
    assert not Drawn((), 0.05).pack_too_small and Drawn((), 0.051).pack_too_small


def _ride(winding_k: float, magnets_k: float) -> SimpleNamespace:
    """A ride that stays so far below the limits of winding (155 degC) and magnets (120 degC)."""
    figures = SimpleNamespace(peak_winding_temp_c=155.0 - winding_k, peak_body_temp_c=120.0 - magnets_k)
    motor = SimpleNamespace(winding_limit_c=155.0, magnet_limit_c=120.0)
    return SimpleNamespace(figures=figures, build=SimpleNamespace(motor=motor))


@pytest.mark.parametrize(
    ("whole", "hill", "fast", "ridden_km_h"),
    [
        ((30.0, 30.0), (20.0, 40.0), (25.0, 40.0), 15.0),  # the winding on the hill
        ((30.0, 30.0), (40.0, 40.0), (40.0, 29.0), 30.0),  # the magnets wide open
        ((30.0, 19.0), (20.0, 40.0), (40.0, 20.0), None),  # the range ride leaves least
        ((30.0, 30.0), (30.0, 40.0), (40.0, 40.0), None),  # as much as the range: it is drawn already
    ],
)
def test_the_hill_is_drawn_too_where_it_leaves_less_room(
    whole: Any, hill: Any, fast: Any, ridden_km_h: float | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []
    monkeypatch.setattr(drawn, "spread", lambda _b, _r, options, **_: asked.append(options) or _whole(DOUBT))
    trials = SimpleNamespace(whole=_ride(*whole), hill=_ride(*hill), fast=_ride(*fast))
    found = drawn._on_a_hotter_hill(WISH, None, trials)  # type: ignore[arg-type]
    assert [each.cruise_speed_km_h for each in asked] == ([] if ridden_km_h is None else [ridden_km_h])
    assert found == (() if ridden_km_h is None else (DOUBT,))


def test_of_the_range_ride_only_what_the_trials_have_not_said_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def says(*findings: Finding) -> tuple[str, str]:
        monkeypatch.setattr(drawn, "judge", lambda _: SimpleNamespace(findings=findings))
        return range_verdict(SimpleNamespace(whole=None))  # type: ignore[arg-type]

    near = hold("cells_heat", 57.0, 60.0, "Cells come near.")
    said = tuple(dataclasses.replace(near, name=name) for name in ("winding", "magnets", "shifting"))
    assert near.verdict == "look again" and says(*said) == ("fine", "nothing else comes near")
    assert says(*said, near) == ("look again", "on the range ride cells come near")
    assert says(hold("cells_heat", 40.0, 60.0, "Cool."), hold("cells_heat", 70.0, 60.0, "Hot."))[0] == "fine"


@pytest.fixture
def search(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """Return a function that asks for fewer gears than eight, among sets that are laid in."""
    seen: dict[str, Any] = {}

    def ask(*sets: tuple[tuple[float, ...], str], by_count: dict[int, str] | None = None, own: str = "fine") -> Any:
        cases = [SimpleNamespace(reduction=SimpleNamespace(gears=each)) for each, _ in sets]
        found = SimpleNamespace(cases=cases, broken=[broken for _, broken in sets])
        monkeypatch.setattr(gears, "reference_bike", lambda *_: None)
        monkeypatch.setattr(gears, "gear_sets", lambda *args, **keys: seen.update(keys, road=args[1]) or found)
        words = {2: "fine", 3: "fine", 5: "fine", 7: "fine", 8: "fine"} | (by_count or {})
        monkeypatch.setattr(gears, "coolest", lambda _, each: _as_judged(words[len(each.gears)], len(each.gears)))
        fewer = fewer_gears(WISH, candidate(0.9, own, gear_count=8))
        return None if fewer is None else len(fewer.gears)

    ask.seen = seen  # type: ignore[attr-defined]
    return ask


def _as_judged(word: str, count: int) -> Candidate | None:
    return None if word == "none" else candidate(0.9, word, gear_count=count)


def test_fewer_gears_are_those_no_wider_than_a_common_hub_of_so_many(search: Callable[..., Any]) -> None:
    """A set 4 % wider than a hub of three is still that hub, one 6 % wider is none."""
    assert WIDER == 1.05 and span_of(3) == 1.8
    for wider, found in ((1.04, 3), (1.06, None)):
        assert search(((wider * 1.8, 1.3, 1.0), "")) == found


def test_the_fewest_gears_that_keep_every_ceiling_and_are_as_good_are_taken(search: Callable[..., Any]) -> None:
    two, three, five = (1.3, 1.0), (1.6, 1.2, 1.0), hub_of(5)
    assert search((five, ""), (three, ""), (two, "")) == 2
    assert search((five, ""), (three, ""), (two, "too slow")) == 3
    assert search((five, ""), (three, ""), (two, ""), by_count={2: "look again"}) == 3
    assert search((five, ""), (three, ""), by_count={3: "none"}) == 5
    assert search((two, ""), by_count={2: "look again"}, own="look again") == 2
    assert search((two, ""), by_count={2: "fine"}, own="look again") == 2
    assert search((hub_of(8), "")) is None


def test_sets_are_searched_on_the_hill_with_the_wish_s_own_ceilings(search: Callable[..., Any]) -> None:
    """Half a kilometre on both sides of the hill at cruise speed, the hill at its own, a twentieth more time."""
    search(((1.3, 1.0), ""))
    seen = search.seen  # type: ignore[attr-defined]
    assert (seen["least"], seen["min_top_speed_km_h"], seen["cruise_speed_km_h"]) == (2, 30.0, 24.0)
    assert seen["max_time_s"] == pytest.approx(1.05 * 3600.0 * (1.0 / 24.0 + 3.0 / 15.0))
    assert seen["road"].length_m == pytest.approx(4000.0)
    slow = dataclasses.replace(WISH, cruise_speed_km_h=12.0, range_km=3.4)  # a hill that is ridden no faster than that
    assert gears._time_s(slow) == pytest.approx(1.05 * 3600.0 * (0.4 / 12.0 + 3.0 / 12.0))
