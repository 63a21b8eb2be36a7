"""Do the brakes cook on the way down: verdicts just inside and outside, shares, cases, speeds, words."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, load_build
from ridesim.engine.state import Channel
from ridesim.errors import RideError
from ridesim.report.descend.view import _other_words, _room_words, _stretches, view
from ridesim.ride.brakes import BrakeHeat, brakes_along, brakes_heat, brakes_too_hot, front_shares, may_pass
from ridesim.ride.judge import FINE, LOOK_AGAIN, STOP, brake_finding, judge
from ridesim.ride.simulate import simulate
from ridesim.road.load import load_road
from ridesim.road.made import make_climb, make_points
from ridesim.studies.descend import CASES, descend, descent, goes_up
from ridesim.sure.batch import CHANCES
from ridesim.sure.packing import in_row
from ridesim.sure.spread import spread
from ridesim.sure.uncertain import doubts_of

from .. import bikes

CONFIGS, ROUTES = Path(__file__).parents[2] / "configs", Path(__file__).parents[2] / "routes"
DISCS = {"brakes.front.kind": "disc", "brakes.rear.kind": "disc"}
SMALL = {**DISCS, "brakes.front.area_cm2": 120.0, "brakes.rear.area_cm2": 120.0}
GRAVITY = 9.80665


@pytest.fixture(scope="module")
def bike() -> LoadedBuild:
    return load_build(CONFIGS / "longtail-hub.toml", DISCS)


def heat(hottest_c: float, guessed: bool = False) -> BrakeHeat:
    return BrakeHeat("front", "disc", guessed, np.zeros(1), hottest_c, 1.0, 250.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@pytest.mark.parametrize("hottest, word", [(209.0, FINE), (211.0, LOOK_AGAIN), (250.05, LOOK_AGAIN), (250.2, STOP)])
def test_stated_brakes_just_inside_and_outside(hottest: float, word: str):
    assert brake_finding(heat(hottest)).verdict == word


@pytest.mark.parametrize("hottest, word", [(209.0, FINE), (211.0, LOOK_AGAIN), (400.0, LOOK_AGAIN)])
def test_a_guessed_brake_never_stops(hottest: float, word: str):
    found = brake_finding(heat(hottest, guessed=True))
    assert (found.name, found.verdict) == ("brake_guess", word)


def test_room_in_the_pack_is_ridden_before_it_is_proposed():
    """A full pack takes no charge at the top: from 80 % the same descent leaves the discs cooler, and says so."""
    strong = {**SMALL, "controller.brake_current_limit_a": 60.0, "controller.charge_current_limit_a": 40.0,
              "pack.cell.max_charge_a": 10.0, "pack.start_charge_fraction": 1.0}  # fmt: skip
    down = make_climb(3000.0, -8.0)
    found = descend(load_build(CONFIGS / "longtail-hub.toml", strong), down)
    again = simulate(load_build(CONFIGS / "longtail-hub.toml", {**strong, "pack.start_charge_fraction": 0.8}), down)
    assert found.room is not None and found.cases[0].verdict == STOP
    assert found.room.returned_wh == pytest.approx(again.figures.pack_energy_returned_wh, rel=2e-3)
    assert found.room.heat.hottest.hottest_c < found.cases[0].heat.hottest.hottest_c - 50.0
    (said,) = (line for line in found.view(pictures=False).answer if line.startswith("Started with 80%"))
    assert "start down with that much room in the pack, every time; for the day on which it is full" in said
    none = descend(load_build(CONFIGS / "longtail-hub.toml", {**strong, "drive.coupling": "freewheel"}), down)
    room = descend(load_build(CONFIGS / "longtail-hub.toml", {**strong, "pack.start_charge_fraction": 0.7}), down)
    assert none.room is room.room is None


def test_share_by_moments(bike: LoadedBuild):
    build = bike.build
    force = np.array([100.0, 300.0])
    ours = front_shares(build, force, np.zeros(2))
    b, h, span = (
        getattr(build.bicycle, f"{name}_mm") for name in ("mass_centre_ahead", "mass_centre_height", "wheelbase")
    )
    assert ours == pytest.approx((b + h * force / (build.mass_kg * GRAVITY)) / span)
    # A rear motor that brakes leaves more to the front: the total share falls on the friction that is left.
    with_motor = front_shares(build, force, np.array([50.0, 50.0]))
    total = (b + h * (force + 50.0) / (build.mass_kg * GRAVITY)) / span * (force + 50.0)
    assert with_motor == pytest.approx(np.minimum(total / force, 1.0))
    fixed = replace_front_share(build, 0.7)
    assert front_shares(fixed, force, np.array([50.0, 50.0])) == pytest.approx([0.7, 0.7])


def replace_front_share(build, share: float):  # type: ignore[no-untyped-def]
    return build.model_copy(update={"brakes": build.brakes.model_copy(update={"front_share": share})})


def test_one_brake_takes_all_and_none_is_not_judged(bike: LoadedBuild):
    road = make_climb(800.0, -8.0)
    only_rear = load_build(CONFIGS / "longtail-hub.toml", {"brakes.front.kind": "none", "brakes.rear.kind": "rim"})
    found = brakes_heat(simulate(only_rear, road, regen=False))
    assert [each.wheel for each in found.brakes] == ["rear"]
    assert found.brakes[0].taken_wh == pytest.approx(found.friction_wh, rel=1e-9)
    assert found.residual_fraction < 1e-9
    bare = load_build(CONFIGS / "longtail-hub.toml", {"brakes.front.kind": "none", "brakes.rear.kind": "none"})
    answer = descend(bare, road)
    assert (answer.verdict, answer.cases[0].heat.brakes) == (answer.cases[0].verdict, ())
    assert "nothing is judged" in answer.reason


def test_a_ride_tells_of_unstated_brakes_what_descend_tells(bike: LoadedBuild):
    """`ride` called a loaded trike fine down a hill on which `descend` found its guessed disc at 330 of 250 degC."""
    road = make_climb(4000.0, -10.0)
    ride = simulate(bike, road, regen=False, start_speed_km_h=25.0)
    names = {each.name for each in judge(ride).findings}
    assert "brake_heat" in names
    guessed = simulate(load_build(CONFIGS / "longtail-hub.toml"), road, regen=False)
    assert max(each.hottest_c for each in brakes_heat(guessed).brakes) > 250.0
    assert {each.verdict for each in judge(guessed).findings if each.name == "brake_guess"} == {LOOK_AGAIN}
    assert "its size is a guess" in " ".join(judge(guessed).reasons)
    milder = simulate(guessed.loaded, make_climb(4000.0, -8.0), regen=False)
    assert 150.0 < max(each.hottest_c for each in brakes_heat(milder).brakes) < 250.0
    assert not {"brake_heat", "brake_guess"} & {each.name for each in judge(milder).findings}
    assert may_pass(guessed) and may_pass(milder)
    front = guessed.build.brakes.front
    metal_j_per_k = front.lump.mass_g / 1000.0 * front.lump.specific_heat_j_per_kg_k
    to_limit_j = (front.lump.limit_c - guessed.raw.trace[:, Channel.AIR_TEMP].max()) * metal_j_per_k / front.heat_share
    for share, may in ((0.999, False), (1.001, True)):  # all of it in one disc, and none of it given to the air
        took = {**guessed.ledger, "friction_brakes": share * to_limit_j / 3600.0}
        assert may_pass(SimpleNamespace(ledger=took, build=guessed.build, raw=guessed.raw)) is may
    bare = replace(ride, raw=ride.raw._replace(trace=ride.raw.trace[:0]))
    assert "brake_heat" not in {each.name for each in judge(bare).findings}


def test_regen_cools_and_its_failure_only_asks_to_look():
    bike = load_build(CONFIGS / "longtail-belt.toml", {**SMALL, "pack.start_charge_fraction": 0.7})
    answer = descend(bike, make_climb(7500.0, -7.0), cruise_speed_km_h=30.0)
    as_built, full, without = answer.cases
    assert [each.name for each in answer.cases] == list(CASES)
    assert as_built.heat.friction_wh < without.heat.friction_wh
    assert max(b.hottest_c for b in as_built.heat.brakes) < max(b.hottest_c for b in without.heat.brakes)
    assert STOP in {each.verdict for each in without.findings}
    assert STOP not in {each.verdict for each in as_built.findings}
    # A full pack takes next to no regen: what the bike finds on a day like others stops it.
    assert STOP in {each.verdict for each in full.findings}
    assert answer.verdict == STOP
    free = load_build(CONFIGS / "longtail-belt.toml", {**SMALL, "controller.brake_current_limit_a": 0.0})
    assert descend(free, make_climb(7500.0, -7.0), cruise_speed_km_h=30.0).verdict == STOP


def test_that_regen_fails_altogether_asks_to_look_again():
    """Up first: even a full pack has room for the way down, and only a ride without any regen is too hot."""
    tiny = {f"brakes.{wheel}.area_cm2": 60.0 for wheel in ("front", "rear")}
    bike = load_build(CONFIGS / "longtail-belt.toml", {**DISCS, **tiny})
    answer = descend(bike, load_road(ROUTES / "terrace-round.gpx"))
    words = {case.name: {each.verdict for each in case.findings} for case in answer.cases}
    assert STOP in words[CASES[2]] and STOP not in words[CASES[0]] | words[CASES[1]]
    assert answer.verdict == LOOK_AGAIN
    assert answer.reason.startswith(CASES[2])


def test_the_worst_speed_lies_between(bike: LoadedBuild):
    answer = descend(bike, make_climb(5000.0, -5.0), cruise_speed_km_h=25.0)
    build = bike.build
    force = build.mass_kg * GRAVITY * (math.sin(math.atan(0.05)) - build.tyre.rolling_resistance)
    drag = build.bicycle.drag_area_m2 + build.bicycle.wheel_drag_area_m2
    # Power is highest at the terminal speed over root three; cooling that grows with speed moves the hottest below it.
    terminal_km_h = 3.6 * math.sqrt(2.0 * force / (1.2 * drag))
    assert answer.worst_speed_km_h is not None
    assert 0.4 * terminal_km_h < answer.worst_speed_km_h <= terminal_km_h / math.sqrt(3.0) * 1.05


def test_brakes_bad_values_name_the_range():
    from ridesim.errors import BuildError

    with pytest.raises(BuildError, match=r"20 to 3000"):
        load_build(CONFIGS / "longtail-hub.toml", {"brakes.front.mass_g": 5})
    with pytest.raises(BuildError, match="disc"):
        load_build(CONFIGS / "longtail-hub.toml", {"brakes.rear.kind": "drum"})


def test_a_speed_at_which_the_ride_gets_stuck_is_no_fine_speed(bike: LoadedBuild):
    """Down a gentle slope, brakes cool, and then a wall that no rider gets up: no speed is named as one to take."""
    down = make_points([0.0, 8000.0, 8200.0], [120.0, 0.0, 60.0], smoothing_m=20.0)
    answer = descend(bike, down)
    assert {each.verdict for each in answer.speeds} == {FINE} and not any(each.finished for each in answer.speeds)
    assert answer.fine_speeds_km_h == ()
    gentle = descend(bike, make_points([0.0, 400.0], [20.0, 0.0], smoothing_m=20.0))
    assert gentle.fine_speeds_km_h == tuple(each.speed_km_h for each in gentle.speeds)


def test_the_command_line(tmp_path: Path):
    from typer.testing import CliRunner

    from ridesim.cli.app import app

    where = str(CONFIGS / "longtail-belt.toml")
    done = CliRunner().invoke(
        app, ["descend", where, "--grade", "8", "--minutes", "4", "--json", "--out", str(tmp_path / "o")]
    )
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["brakes_guessed"] is True
    assert [case["name"] for case in told["cases"]] == list(CASES)
    assert all(case["heat_residual_fraction"] < 1e-9 for case in told["cases"])
    assert {each.name for each in (tmp_path / "o").glob("*.png")} == {
        "brakes-along-the-road.png",
        "hottest-by-speed.png",
    }
    text = CliRunner().invoke(app, ["descend", where, "--grade", "8", "--minutes", "4", "--units", "imperial"]).stdout
    assert "°F" in text and "°C" not in text and "km/h" not in text


def test_cool_brakes_are_not_fine_where_the_pack_is_overcharged():
    """Down from a full pack that takes charge all the same: `ride` stops it, and so does the way down."""
    loaded = bikes.bike(
        {"pack.start_charge_fraction": 1.0, "controller.charge_voltage_limit_v": 70.0, "pack.parallel": 2}
    )
    road = make_climb(1500.0, -6.0)
    found = descend(loaded, road)
    assert judge(simulate(loaded, road)).word == STOP == found.verdict
    assert all(each.verdict != STOP for each in found.cases[0].findings)
    assert found.reason.startswith("as built: The pack is charged to") and "The brakes:" in found.reason


DOWN = make_climb(4200.0, -8.0)


@pytest.fixture(scope="module")
def loaded() -> LoadedBuild:
    return load_build(CONFIGS / "longtail-loaded.toml")


def test_the_loaded_demo_comes_close_to_its_brakes_limit(loaded: LoadedBuild):
    ride = simulate(loaded, DOWN)
    (rear,) = (each for each in brakes_heat(ride).brakes if each.wheel == "rear")
    assert 210.0 < rear.hottest_c < 250.0 and judge(ride).word == LOOK_AGAIN
    light = simulate(load_build(CONFIGS / "longtail-loaded.toml", {"bicycle.cargo_kg": 20.0}), DOWN)
    assert brakes_heat(light).brakes[1].hottest_c < rear.hottest_c - 20.0


def test_too_hot_just_inside_and_outside(loaded: LoadedBuild):
    ride = simulate(loaded, DOWN)
    hottest, joules = brakes_heat(ride).brakes[1].hottest_c, 3600.0 * ride.ledger["friction_brakes"]
    for limit, hot in ((hottest - 0.2, True), (hottest + 0.2, False)):
        keys = {"brakes.rear.limit_c": limit}
        build = load_build(CONFIGS / "longtail-loaded.toml", keys).build
        assert brakes_too_hot(ride.raw.trace, build, joules) is hot
    assert not brakes_too_hot(ride.raw.trace[:0], loaded.build, joules)


def test_brakes_have_a_chance_where_they_are_stated(loaded: LoadedBuild):
    """A load and pads that leave them cool, a load that leaves it open, and a bike that says nothing of its brakes."""
    told = spread(loaded, DOWN, samples=16, with_indices=False)
    chances = {each.limit: each.chance for each in told.chances}
    assert 0.1 < chances["brake_heat"] < 0.7 and told.verdict != FINE
    light = {"bicycle.cargo_kg": 10.0, "brakes.front.limit_c": 400.0, "brakes.rear.limit_c": 400.0}
    cool = spread(load_build(CONFIGS / "longtail-loaded.toml", light), DOWN, samples=16, with_indices=False)
    assert {each.limit: each.chance for each in cool.chances}["brake_heat"] == 0.0
    silent = spread(CONFIGS / "longtail-freewheel.toml", DOWN, samples=16, with_indices=False)
    assert "brake_heat" not in {each.limit for each in silent.chances}


def test_brakes_of_every_part_of_the_draws_are_kept(loaded: LoadedBuild, monkeypatch: pytest.MonkeyPatch):
    """Whatever number of draws is kept at once."""
    at = CHANCES.index("brake_heat")
    whole = spread(loaded, DOWN, samples=16, with_indices=False).drawn.passed[:, at]
    assert 0 < whole.sum() < 16 and whole[6:].any()
    for name in ("PART", "BAND_DRAWS"):
        monkeypatch.setattr(f"ridesim.sure.batch.{name}", 6)
    assert np.array_equal(spread(loaded, DOWN, samples=16, with_indices=False).drawn.passed[:, at], whole)


def test_a_stated_grade_falls_whatever_its_sign(loaded: LoadedBuild):
    roads = [descent(loaded.build, percent, 5.0, 30.0) for percent in (8.0, -8.0)]
    falls = [float(road.altitude_m[-1] - road.altitude_m[0]) for road in roads]
    assert falls == pytest.approx([-2500.0 * math.sin(math.atan(0.08))] * 2, rel=5e-3)


def test_each_draw_has_brakes_of_its_own(loaded: LoadedBuild) -> None:
    """Sizes and cooling are drawn by whose value they are; a bike whose brakes nobody stated draws none of them."""
    road = make_climb(3000.0, -8.0)
    keys = {each.key: each for each in doubts_of(loaded, road).numbers if each.key.startswith("brakes.")}
    assert {"brakes.front.mass_g", "brakes.front.cooling_factor", "brakes.rear.limit_c"} <= keys.keys()
    plain = load_build(CONFIGS / "longtail-freewheel.toml")
    assert not any(each.key.startswith("brakes.") for each in doubts_of(plain, road).numbers)
    factors = np.array([0.5, 2.0])
    brakes = loaded.build.brakes
    front = brakes.front.model_copy(update={"cooling_factor": factors})
    drawn = brakes.model_copy(update={"front": front})
    assert [in_row(drawn, row).front.cooling_factor for row in (0, 1)] == [0.5, 2.0]
    ride = simulate(loaded, road)
    hottest = [
        brakes_along(
            ride.raw.trace, loaded.build.model_copy(update={"brakes": in_row(drawn, row)}), 1.0e5
        ).brakes[0].hottest_c
        for row in (0, 1)
    ]  # fmt: skip
    assert hottest[0] > hottest[1] + 10.0


@pytest.mark.parametrize(
    ("own", "room", "helps"),
    [(STOP, LOOK_AGAIN, True), (LOOK_AGAIN, FINE, True), (STOP, STOP, False), (LOOK_AGAIN, LOOK_AGAIN, False)],
)
def test_room_in_the_pack_is_proposed_only_where_the_brakes_are_milder_for_it(own: str, room: str, helps: bool):
    def case(word: str, returned_wh: float) -> SimpleNamespace:
        return SimpleNamespace(findings=(SimpleNamespace(verdict=word, reason="hot"),), returned_wh=returned_wh,
                               heat=SimpleNamespace(hottest=heat(180.0)))  # fmt: skip

    (words,) = _room_words(SimpleNamespace(room=case(room, 30.0), cases=[case(own, 5.0)]), "metric")  # type: ignore[arg-type]
    assert "regen returns 30 Wh instead of 5" in words and f"180 °C ({room})" in words
    assert ("start down with that much room" in words) is helps is ("not enough" not in words)
    cool = SimpleNamespace(room=case(FINE, 30.0), cases=[case(FINE, 5.0)])
    assert _room_words(cool, "metric") == []  # type: ignore[arg-type]


def test_what_the_brakes_said_is_not_said_of_the_whole_ride_again():
    cases = [SimpleNamespace(name=name, reasons=("Hot brakes.", "Hot motor."),
                             findings=(SimpleNamespace(reason="Hot brakes."),)) for name in CASES[:2]]  # fmt: skip
    said = _other_words(SimpleNamespace(cases=cases), "metric")  # type: ignore[arg-type]
    assert said == ["Of the whole ride (as built, from a full pack): Hot motor."]


@pytest.mark.parametrize(("grade", "allowed"), [(0.0, False), (0.1, True), (-40.0, True), (40.1, False)])
def test_no_descent_is_steeper_than_a_street(bike: LoadedBuild, grade: float, allowed: bool):
    if allowed:
        descent(bike.build, grade, 1.0, 10.0)
        return
    with pytest.raises(RideError, match="grade"):
        descent(bike.build, grade, 1.0, 10.0)


@pytest.mark.parametrize(
    ("fine", "told"),
    [((7.0,), "7 km/h"), ((7.0, 10.0, 12.0), "up to 12 km/h"), ((7.0, 12.0, 20.0), "7 km/h and 12 km/h to 20 km/h"),
     ((7.0, 10.0, 20.0, 30.0), "up to 10 km/h and 20 km/h to 30 km/h"), ((30.0,), "30 km/h")],
)  # fmt: skip
def test_speeds_that_keep_brakes_cool_are_told_as_stretches(fine: tuple[float, ...], told: str) -> None:
    assert _stretches(fine, (7.0, 10.0, 12.0, 20.0, 30.0), "metric") == told


def test_a_road_that_goes_up_is_ridden_back_down(bike: LoadedBuild):
    up = load_road(ROUTES / "ridge-climb.gpx")
    found = descend(bike, up)
    words = " ".join(view(found).answer)
    assert found.turned_round and found.road.altitude_m[0] > found.road.altitude_m[-1] + 200.0
    assert "The road goes up by" in words and "ridden back, down" in words
    assert found.cases[-1].heat.friction_wh > 50.0
    round_trip = descend(bike, load_road(ROUTES / "terrace-round.gpx"))
    assert not round_trip.turned_round and "ridden back" not in " ".join(view(round_trip).answer)


@pytest.mark.parametrize(("rise", "up"), [(21.0, True), (19.0, False)])
def test_a_road_goes_up_if_it_keeps_more_than_half_of_its_rise(rise: float, up: bool):
    """Up by 40 m and down again to 19 or 21 m above the start: just under and over a half of what it rose."""
    road = make_points([0.0, 1000.0, 2000.0], [100.0, 140.0, 100.0 + rise])
    assert goes_up(road) is up


def test_brakes_of_a_bike_that_arrives_at_no_speed_are_not_called_hot(bike: LoadedBuild):
    """A small pack is empty on the way, at every speed: no word of stopping to let the brakes cool."""
    empty = load_build(
        CONFIGS / "longtail-hub.toml", {**DISCS, "pack.start_charge_fraction": 0.02, "rider.power_w": 0.0}
    )
    road = make_points([0.0, 20_000.0, 20_500.0], [500.0, 499.0, 480.0])
    found = descend(empty, road)
    assert not any(each.finished for each in found.speeds)
    words = " ".join(view(found).answer)
    assert "none of the speeds tried does it arrive" in words and "let them cool" not in words


def test_brakes_that_only_come_near_their_limit_at_walking_pace_are_told_so():
    found = descend(load_build(CONFIGS / "longtail-loaded.toml"), load_road(ROUTES / "ridge-climb.gpx"))
    near = [each.speed_km_h for each in found.speeds if each.verdict == LOOK_AGAIN]
    assert near and not found.fine_speeds_km_h
    assert f"Only at up to {near[-1]:.0f} km/h do they stay below their limit" in " ".join(view(found).answer)
