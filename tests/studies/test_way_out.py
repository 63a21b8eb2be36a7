"""What would let it through: each edge is held against rides just inside and just outside; the ratios widen and say."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

import ridesim.studies.way_out as way_out_module
from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.cli.reductions import belts_of
from ridesim.errors import RideError
from ridesim.report.climb.way_out import value_words, verdict_of, view, way_words
from ridesim.report.ratios.view import view as ratios_view
from ridesim.report.view import view_text
from ridesim.ride.judge import judge
from ridesim.ride.kept import stops
from ridesim.ride.limits import NEAR_LIMIT_K
from ridesim.ride.running import RideOptions
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.studies.ratio_choice import Reduction
from ridesim.studies.ratios import PRESENT_COUNT, PRESENT_SPREAD, ratios
from ridesim.studies.way_out import (
    FINDS,
    Question,
    Tried,
    WayOut,
    as_told,
    way_out,
    with_chances,
    with_others,
    with_sensor,
)
from ridesim.sure.spread import LOOK_CHANCE, Chance, spread

from ..bikes import bike

STEEP = make_climb(5000.0, 7.0)
HOT = bike({"motor.resistance_mohm": 80.0, "pack.start_charge_fraction": 1.0})


@pytest.fixture(scope="module")
def asked() -> Question:
    return Question(HOT, STEEP, 20.0)


def _stops_with(find: str, value: float) -> tuple[str, ...]:
    keys: dict[str, object] = {
        "speed": {},
        "current": {"controller.motor_current_limit_a": value},
        "load": {"rider.mass_kg": min(75.0, value), "bicycle.cargo_kg": value - min(75.0, value)},
        "ratio": {"drive.stage.1.ratio": value, "drive.stage.1.driver_teeth": None, "drive.stage.1.driven_teeth": None},
    }[find]
    cruise = value if find == "speed" else 20.0
    return stops(simulate(replace_keys(HOT, keys), STEEP, cruise_speed_km_h=cruise, trace=False))


@pytest.mark.parametrize("find", FINDS)
def test_each_edge_is_one_of_rides(asked, find: str):
    """Inside a stretch nothing stops the ride, 2 % beyond its edge something does."""
    found = way_out(find, asked)
    now = next(each for each in found.tried if each.value == found.present)
    assert "winding too hot" in now.stops
    first, last = found.tried[0].value, found.tried[-1].value
    for low, high in found.kept:
        for value in (low, 0.5 * (low + high), high):
            assert _stops_with(find, value) == ()
        if low > first:
            assert _stops_with(find, 0.98 * low)
        if high < last:
            assert _stops_with(find, 1.02 * high)
    assert (found.best is not None) == bool(found.kept)
    if found.best is not None:
        assert any(low <= found.best.value <= high for low, high in found.kept)
        assert found.best.value == min((each.value for each in found.tried if not each.stops and not each.near),
                                       key=lambda value: abs(value - found.present))  # fmt: skip


def test_what_is_proposed_has_the_room_at_which_the_judge_finds_it_fine(asked):
    """At the limit itself `ride` says look again: 155 of 155 °C was proposed. Ridden, the proposal is fine."""
    for find, key in (("current", "controller.motor_current_limit_a"), ("load", "")):
        found = way_out(find, asked)
        assert found.best is not None and found.best.roomy and found.roomy
        assert found.best.peak_winding_temp_c <= found.max_winding_c - NEAR_LIMIT_K
        assert any(low <= found.best.value <= high for low, high in found.roomy)
        keys = {key: found.best.value} if key else {"rider.mass_kg": found.best.value, "bicycle.cargo_kg": 0.0}
        if not key and found.best.value > 75.0:
            keys = {"rider.mass_kg": 75.0, "bicycle.cargo_kg": found.best.value - 75.0}
        ride = simulate(replace_keys(HOT, keys), STEEP, cruise_speed_km_h=20.0, trace=False)
        word = {each.name: each.verdict for each in judge(ride).findings}
        assert word["winding"] == "fine"
        near = [each for each in found.tried if not each.stops and each.near]
        rooms = [
            min(found.max_winding_c - each.peak_winding_temp_c, ride.figures.magnet_limit_c - each.peak_body_temp_c)
            for each in near
        ]
        assert near and all(room < NEAR_LIMIT_K for room in rooms)


def test_where_no_value_does_it_the_bound_and_the_next_step_are_told():
    """A heavy load on a wall: whatever the current limit, it stalls; what else was ridden is told with its answer."""
    steep = Question(HOT, make_climb(1500.0, 16.0), 20.0)
    found = with_others(way_out("current", steep), steep)
    assert found.best is None and {each.find for each in found.others} >= {"speed", "load", "ratio"}
    text = " ".join(view_text(view(found, steep.loaded, steep.road, pictures=False)).split())
    assert found.tried[0].reason.split(".")[0] in text
    kept = [each for each in found.others if each.best is not None]
    assert all(f"Try --find {each.find}." in text for each in kept if each.find != "sensor")
    assert kept or "does it alone either" in text


@pytest.mark.parametrize(("kg", "is_a_way"), [(74.9, False), (75.0, True), (80.0, True)])
def test_a_load_below_the_riders_own_weight_is_no_way_out(kg, is_a_way, monkeypatch):
    """A rider of 78 kg was told to try a load: every limit is kept with rider and load up to 56.3 kg."""
    steep = Question(HOT, make_climb(1500.0, 16.0), 20.0)
    assert HOT.build.rider.mass_kg == 75.0
    answers = {"load": _found(find="load", unit="kg", best=_one(kg), tried=(_one(kg),))}
    nothing = _found(best=None, kept=(), roomy=())
    monkeypatch.setattr("ridesim.studies.way_out.way_out", lambda find, _: answers.get(find, nothing))
    (load,) = [each for each in with_others(nothing, steep).others if each.find == "load"]
    assert (load.best is not None) == is_a_way and bool(load.tried)


def test_load_and_ratio_are_ways_out_of_this_one(asked):
    assert way_out("load", asked).kept and way_out("ratio", asked).kept


def test_what_is_kept_already_is_told_with_its_room():
    cool = Question(bike({"pack.start_charge_fraction": 1.0}), make_climb(2000.0, 3.0), 20.0)
    found = way_out("speed", cool)
    assert found.best is not None and found.best.value == 20.0 == found.present
    assert verdict_of(found) == "fine"
    assert "nothing stops it" in view_text(view(found, cool.loaded, cool.road, pictures=False))


def test_a_sensor_is_tried_where_there_is_none(asked):
    found = with_sensor(asked)
    assert found is not None and found.find == "sensor"
    assert found.tried[0].peak_winding_temp_c < 155.0
    assert found.tried[0].foldback_s > 60.0
    assert ("held back by a temperature foldback" in way_words(found)) == (found.best is not None)
    guarded = replace_keys(HOT, {"controller.motor_full_current_below_c": 100.0,
                                 "controller.motor_no_current_above_c": 120.0})  # fmt: skip
    assert with_sensor(Question(guarded, STEEP, 20.0)) is None


def test_an_unknown_question_is_refused(asked):
    with pytest.raises(RideError, match="colour"):
        way_out("colour", asked)


def test_the_band_of_ratios_widens_until_the_best_lies_inside():
    """From a present ratio far too fast: the best lies beyond 1.7 times it, and was the last of the band."""
    fast = replace_keys(bike({"pack.start_charge_fraction": 1.0}),
                        {"drive.stage.1.ratio": 1.6, "drive.stage.1.driver_teeth": None,
                         "drive.stage.1.driven_teeth": None})  # fmt: skip
    found = ratios(fast, make_climb(1500.0, 5.0), min_top_speed_km_h=10.0)
    assert len(found.cases) > PRESENT_COUNT
    taken = found.cases[found.choice.index]
    assert taken.reduction.ratio > PRESENT_SPREAD[1] * 1.6
    assert 0 < found.choice.index < len(found.cases) - 1


def test_named_candidates_say_when_the_best_is_the_last():
    road = make_climb(800.0, 4.0)
    edge = ratios(bike(), road, [3.0, 3.2, 3.4])
    text = " ".join(view_text(ratios_view(edge, pictures=False)).split())
    assert edge.choice.index in (0, 2)
    assert "it is the last one tried towards" in text.lower()


def test_where_no_ratio_is_good_the_ways_out_are_ridden():
    hot = bike({"motor.resistance_mohm": 110.0, "pack.start_charge_fraction": 1.0})
    found = ratios(hot, STEEP, [3.0, 3.5], cruise_speed_km_h=20.0)
    assert not found.choice.keeps_all
    assert [way.find for way in found.ways] == ["speed", "current", "load", "sensor"]
    text = view_text(ratios_view(found, pictures=False))
    assert text.count("A way out with") == 4
    kept = ratios(bike({"pack.start_charge_fraction": 1.0}), make_climb(500.0, 1.0), [4.0, 4.5])
    assert kept.choice.keeps_all and kept.ways == ()


def test_a_belt_that_cannot_carry_a_small_pulley_is_out(root: Path):
    """The same ratio on 8 mm teeth: a pull of T/r on a narrow belt, by tooth count alone."""
    loaded = load_build(root / "configs" / "longtail-belt.toml", {"drive.stage.0.width_mm": 12.0})
    pairs = [Reduction(10.0, 14, 140), Reduction(10.0, 28, 280)]
    found = ratios(loaded, make_climb(800.0, 6.0), pairs, belts=belts_of)
    small, large = found.cases
    assert (small.belts, large.belts) == ("stop", "fine") or small.belts == "stop" != large.belts
    assert "belt cannot carry it" in found.choice.broken[0]
    assert "belt cannot carry it" not in found.choice.broken[1]
    assert "pull" in small.belts_reason


def test_the_command_answers_which_speed_does_not_cook(ridesim_command, tmp_path):
    out, page = tmp_path / "found", tmp_path / "found.html"
    done = ridesim_command(
        "climb", "configs/longtail-two-stage.toml", "--grade", 8, "--length", 5, "--find", "load",
        "--out", out, "--report", page, "--json",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer["schema"] == "ridesim.climb_find/2"
    assert (answer["find"], answer["unit"], answer["verdict"]) == ("load", "kg", "look again")
    assert answer["best"]["value"] < answer["present"]
    assert {path.name for path in out.iterdir()} >= {"answer.txt", "answer.json", "tried.csv", "winding-by-value.png"}
    assert "Every limit is kept" in page.read_text()


def test_the_ends_of_what_is_kept_are_rounded_to_the_safe_side():
    from ridesim.report.climb.way_out import end_words

    road = make_climb(500.0, 4.0)
    found = way_out("speed", Question(bike(), road, 25.0))
    assert end_words(found, 16.24, "metric", upper=False) == "16.3 km/h"
    assert end_words(found, 35.78, "metric", upper=True) == "35.7 km/h"
    assert end_words(found, 35.7, "metric", upper=True) == end_words(found, 35.7, "metric", upper=False) == "35.7 km/h"
    assert end_words(found, 23.1, "imperial", upper=True) == "14.35 mph" == value_words(found, 23.1, "imperial")
    assert value_words(found, 23.2, "imperial") == "14.42 mph"
    load = replace(found, unit="kg")
    assert end_words(load, 140.7, "metric", upper=True) == "140 kg"
    assert end_words(load, 140.7, "imperial", upper=True) == "310 lb"


def test_a_proposal_is_ridden_in_bikes_like_it_and_a_surer_value_named(asked):
    """A proposal that the judge finds fine as it stands was passed in a third of the bikes like it."""
    found = with_chances(way_out("load", asked), asked)
    assert found.best is not None
    text = " ".join(view_text(view(found, asked.loaded, asked.road, pictures=False)).split())
    assert found.best_chances and all(each.chance > LOOK_CHANCE for each in found.best_chances)
    assert "Of bikes like it" in text and verdict_of(found) == "look again"
    if found.sure is not None:
        kept = replace_keys(
            HOT, {"rider.mass_kg": min(75.0, found.sure), "bicycle.cargo_kg": max(found.sure - 75.0, 0.0)}
        )
        drawn = spread(kept, STEEP, RideOptions(cruise_speed_km_h=20.0), samples=256, seed=2)
        assert max(each.chance for each in drawn.chances) < 2.0 * LOOK_CHANCE


def _one(value: float, winding_c: float = 120.0, **more: tuple[str, ...] | str) -> Tried:
    return Tried(value, distance_km=5.0, time_s=900.0, peak_winding_temp_c=winding_c, peak_body_temp_c=90.0,
                 foldback_s=0.0, **{"stops": (), **more})  # type: ignore[arg-type]  # fmt: skip


def _found(**more: object) -> WayOut:
    """Current limits by hand: 20 and 40 A have room, 60 A has none, 80 A burns; 40 A is what the bike has."""
    tried = (_one(20.0), _one(40.0), _one(60.0, 150.0, near=("winding",)), _one(80.0, 170.0, stops=("winding hot",)))
    made = WayOut("current", "a", 40.0, ((20.0, 60.0),), tried[1], tried, 155.0, roomy=((20.0, 40.0),))
    return replace(made, **more)  # type: ignore[arg-type]


def _told(found: WayOut, loaded: LoadedBuild = HOT) -> str:
    return " ".join(view_text(view(found, loaded, STEEP, pictures=False)).split())


DOUBT = (Chance("winding", "winding too hot", 30, 100),)


def test_only_a_present_value_with_room_and_no_chances_is_fine():
    tight = _one(40.0, 150.0, near=("winding",))
    assert verdict_of(_found()) == "fine"
    for changed in ({"best": tight}, {"best_chances": DOUBT}, {"present": 45.0}):
        assert verdict_of(_found(**changed)) == "look again"
    assert verdict_of(_found(best=None)) == "stop"


def test_the_stretch_with_room_is_told_apart_from_what_is_just_kept():
    words = way_words(_found(present=70.0))
    assert "a motor current limit up to 60.0 A; at those ends little is left. With room it is up to 40.0 A" in words
    assert "little is left" not in way_words(_found(roomy=((20.0, 60.0),)))
    tight = _one(60.0, 150.0, near=("winding", "magnets"))
    words = way_words(_found(best=tight, roomy=()))
    assert "none of these leaves room" in words and "little is left for winding and magnets" in words
    assert "take" not in words


def test_how_sure_a_proposal_is_and_which_value_is_surer():
    assert "no limit is passed" not in _told(_found()) and "bikes like it" not in _told(_found())
    doubtful = _told(_found(best_chances=DOUBT))
    assert "winding too hot in 30%" in doubtful and "None of the other values ridden" in doubtful
    surer = _told(_found(best_chances=DOUBT, sure=20.0))
    assert "With 20.0 A no limit is passed in more than one of twenty" in surer and "None of the other" not in surer


def test_the_surer_value_is_the_nearest_that_none_is_passed_with(monkeypatch, asked):
    tried = tuple(_one(float(value)) for value in range(60, 130, 10))
    found = _found(find="load", unit="kg", present=140.0, best=tried[-1], tried=tried)
    for clear_to, sure in ((200.0, 120.0), (75.0, 70.0), (10.0, None)):
        monkeypatch.setattr(way_out_module, "_chances", lambda find, value, q, to=clear_to: DOUBT if value > to else ())
        told = with_chances(found, asked)
        assert (told.sure, told.best_chances) == (sure, () if clear_to > 120.0 else DOUBT)


def test_the_chances_are_those_of_the_proposal(monkeypatch, asked):
    """Drawn around the value proposed, at its speed; one in twenty is no trouble, more is."""
    asked_for = []

    def drawn(loaded, road, options, **more):
        asked_for.append((loaded.build.rider.mass_kg + loaded.build.bicycle.cargo_kg, options.cruise_speed_km_h))
        return SimpleNamespace(chances=(Chance("winding", "hot", 6, 100), Chance("magnets", "weak", 5, 100)))

    monkeypatch.setattr(way_out_module, "spread", drawn)
    best = _one(66.0)
    told = with_chances(_found(find="load", unit="kg", best=best, tried=(best,)), asked)
    assert asked_for == [(66.0, 20.0)] and [each.limit for each in told.best_chances] == ["winding"]
    with_chances(_found(find="speed", unit="km_h", best=_one(14.0), tried=(best,)), asked)
    assert asked_for[1] == (95.0, 14.0)


def test_where_nothing_is_found_both_ends_and_what_helps_are_told():
    low = _one(20.0, stops=("does not arrive",), reason="It stalls. More words", cure="more torque")
    high = _one(80.0, stops=("winding hot",), reason="It burns.", cure="less weight")
    none = _found(best=None, kept=(), roomy=(), tried=(low, high))
    words = _told(replace(none, others=(replace(none, find="load", unit="kg"),)))
    assert "With 20.0 A: It stalls. With 80.0 A: It burns." in words and "More words" not in words
    assert "What helps: more torque; less weight." in words
    assert "No weight of rider and load does it alone either" in words
    better = _told(replace(none, others=(_found(find="load", unit="kg"),)))
    assert "Try --find load." in better and "What helps" not in better


def test_a_present_value_without_room_and_a_ratio_of_two_stages_are_told():
    tight = _one(40.0, 150.0, near=("winding",))
    assert "nothing stops it, but little is left for winding" in _told(
        _found(best=_one(20.0), tried=(_one(20.0), tight))
    )
    for ratio, said in ((12.1, True), (11.9, False)):
        found = _found(find="ratio", unit="", present=4.5, best=_one(ratio), tried=(_one(4.5), _one(ratio)))
        assert ("Take two stages" in _told(found) or "take two stages" in _told(found)) is said
    assert "take two stages" not in _told(_found())


def test_a_sensor_ends_ten_kelvin_below_what_the_winding_bears(asked):
    found = with_sensor(Question(HOT, make_climb(100.0, 2.0), 20.0))
    assert found is not None and found.present == 155.0 - 10.0


MOST = (Chance("arrival", "does not arrive", 55, 100),)


def test_a_proposal_that_most_bikes_like_it_do_not_bear_is_a_stop(monkeypatch, asked):
    """`ridesim ride` says stop above a half; half of them exactly is a look."""
    for passed, word in ((50, "look again"), (51, "stop")):
        chances = (Chance("arrival", "does not arrive", passed, 100),)
        found = _found(best_chances=chances)
        assert verdict_of(found) == word
        assert f"`ridesim ride` says {word} for that" in _told(found)
        text = view_text(view(found, HOT, STEEP, pictures=False))
        assert ("STOP: No motor current limit that was drawn" in text) == (word == "stop")
    monkeypatch.setattr(way_out_module, "_chances", lambda find, value, q: MOST)
    told = with_chances(_found(present=70.0), asked)
    assert (told.best, told.best_chances, told.passed_over) == (_found().best, MOST, None)


def test_what_most_bikes_do_not_bear_is_passed_over_for_what_they_do(monkeypatch, asked):
    """120 kg stops most bikes, from 100 kg on down it is a look, at 70 kg none is passed: 100 kg is proposed."""
    tried = tuple(_one(float(value)) for value in range(60, 130, 10))
    found = _found(find="load", unit="kg", present=140.0, best=tried[-1], tried=tried, kept=((60.0, 120.0),),
                   roomy=((60.0, 120.0),))  # fmt: skip

    def drawn(find: str, value: float, q: Question) -> tuple[Chance, ...]:
        return MOST if value > 100.0 else DOUBT if value > 70.0 else ()

    monkeypatch.setattr(way_out_module, "_chances", drawn)
    told = with_chances(found, asked)
    assert told.best is not None
    assert (told.best.value, told.best_chances, told.passed_over, told.sure) == (100.0, DOUBT, 120.0, 70.0)
    words = _told(told)
    assert "most bikes like it would not bear 120.0 kg: take 100.0 kg" in words and "says look again" in words
    assert verdict_of(told) == "look again"


def test_what_is_proposed_is_told_as_it_was_ridden(asked):
    """Three figures, a tenth at the finest: 23.15 km/h was ridden, and 23.1 km/h told with its figures."""
    for find in ("speed", "current", "load", "ratio"):
        found = way_out(find, asked)
        for low, high in (*found.kept, *found.roomy):
            for end in (low, high):
                assert end == found.present or end == as_told(end, found.unit)
                assert any(each.value == end and not each.stops for each in found.tried)
        values = [value_words(found, each.value, "metric") for each in found.tried]
        assert len(set(values)) == len(values)
    assert as_told(23.149, "km_h") == 23.1 and as_told(140.6, "kg") == 141.0 and as_told(3.456, "") == 3.46
    assert as_told(7.44, "km_h") == 7.4 and as_told(7.444, "") == 7.44
