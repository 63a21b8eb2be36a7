"""Sizing with two motors and with gears: just where one motor and one ratio fail, ridden as it is written."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.cli.app import app
from ridesim.engine.codes import Total
from ridesim.errors import RidesimError
from ridesim.report.size.view import view
from ridesim.ride.limits import ORDER
from ridesim.ride.simulate import simulate
from ridesim.studies.gear_choice import first_sets
from ridesim.workshop.check.sheet import check_build
from ridesim.workshop.level_run import run_level
from ridesim.workshop.size import sizing
from ridesim.workshop.size.belts import belts_for
from ridesim.workshop.size.candidate import try_ratio
from ridesim.workshop.size.gears import fewer_gears, hub_of
from ridesim.workshop.size.judged import hill_ride, judge_trials, range_road, ride_all
from ridesim.workshop.size.pack import PackAnswer, build_text
from ridesim.workshop.size.parts import SIZE_CLASSES, Layout, wheel_of
from ridesim.workshop.size.sizing import Sizing, size_drive
from ridesim.workshop.size.trial import HUB_TORQUE_NM, trial, with_limits
from ridesim.workshop.size.wish import Wish

WISH = Wish(140.0, 30.0, 14.0, 3.0, 40.0, hill_speed_km_h=8.0, voltages_v=(48.0,), heaviest_motor_kg=1.25)
"""A builder who has motors up to 1.25 kg: a hill of 11 % is what one of them just does behind one ratio, in most bikes
like it; of 12.5 % it does as it stands, and half of the bikes like it do not."""
JUST_INSIDE, JUST_OUTSIDE = 11.0, 12.5
ROAD = """[road]
kind = "points"
name = "a rise"
distance_km = [0.0, 0.3, 0.5]
altitude_m = [100.0, 103.0, 117.0]
"""


@pytest.fixture(autouse=True, scope="module")
def _a_short_ladder() -> Iterator[None]:
    """The sizes around the answers: a whole ladder rides for seconds."""
    with pytest.MonkeyPatch.context() as patch:
        near = [each for each in SIZE_CLASSES if not each.hub and 0.7 <= each.mass_kg <= 1.25]
        patch.setattr(sizing, "SIZE_CLASSES", tuple(near))
        yield


@lru_cache
def sized(**changes: Any) -> Sizing:
    return size_drive(dataclasses.replace(WISH, **changes))


def two_motors() -> PackAnswer:
    return sized(motors=2).packs[0]


def geared() -> PackAnswer:
    return sized(motors=1, gears=8).packs[0]


PROPOSALS = pytest.mark.parametrize("proposed", [two_motors, geared])


def _as_written(pack: PackAnswer, folder: Path) -> LoadedBuild:
    place = folder / "proposal.toml"
    place.write_text(build_text(pack), encoding="utf-8")
    return load_build(place)


def test_two_motors_or_gears_come_only_where_one_motor_and_one_ratio_fail() -> None:
    inside, outside = sized(hill_percent=JUST_INSIDE), sized(hill_percent=JUST_OUTSIDE)
    assert {(each.motors, each.gears) for each in inside.candidates} == {(1, ())}
    assert inside.verdict != "stop" and not inside.simpler
    assert outside.verdict == "fine" and (outside.chosen.motors, outside.chosen.gears) == (2, ())
    assert "1.25 kg" in outside.simpler and "too hot" in outside.simpler
    plain = [each for each in outside.candidates if (each.motors, each.gears) == (1, ())]
    assert plain and all(each.verdict != "fine" for each in plain)
    assert (1, True, 2) in {other.layout.kind for other, _ in outside.others}
    said = " ".join(view(outside, pictures=False).answer)
    assert "One motor behind one ratio does not do it" in said and "for each motor" in said


def test_gears_do_what_one_ratio_does_not_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """One motor only: a hub climbs what the single ratio burns on, and burns itself on a still steeper hill."""
    monkeypatch.setattr(sizing, "fewer_gears", lambda _wish, _each: None)  # the search has a test of its own
    by_hill = {percent: sized(motors=1, hill_percent=percent) for percent in (JUST_INSIDE, JUST_OUTSIDE, 18.0)}
    assert not by_hill[JUST_INSIDE].chosen.gears
    assert by_hill[JUST_OUTSIDE].chosen.gears and by_hill[JUST_OUTSIDE].verdict != "stop"
    assert by_hill[18.0].verdict == "stop" and not by_hill[18.0].packs and not by_hill[18.0].simpler


@PROPOSALS
def test_a_proposal_rides_as_its_text_says(proposed: Any, tmp_path: Path) -> None:
    """The file read back: range ride, hill from warm, top speed and check; currents are those of one motor."""
    pack = proposed()
    loaded = _as_written(pack, tmp_path)
    trials = ride_all(WISH, loaded)
    assert trials.hottest_winding_c == pytest.approx(pack.peak_winding_temp_c, rel=2e-3)
    assert trials.whole.raw.end.charge == pytest.approx(pack.charge_left_fraction, rel=2e-3)
    assert trials.whole.summary["verdict"]["word"] != "stop", trials.whole.summary["verdict"]["reasons"]
    assert trials.top_speed_km_h == pytest.approx(pack.top_speed_motor_alone_low_charge_km_h, rel=2e-3)
    assert check_build(loaded).verdict != "stop", check_build(loaded).reason
    box, f = loaded.build.controller, trials.fast.figures
    assert box.motor_current_limit_a == pack.motor_current_limit_a
    assert box.pack_current_limit_a == pack.pack_current_limit_a
    assert f.peak_motor_current_dc_equivalent_a <= pack.motor_current_limit_a * 1.001
    assert f.peak_pack_current_a <= loaded.build.drive.motors * pack.pack_current_limit_a * 1.002
    cells = loaded.build.pack
    assert loaded.build.drive.motors * box.pack_current_limit_a <= cells.cell.max_discharge_a * cells.parallel * 1.001


@PROPOSALS
def test_a_proposal_says_how_unsure_its_generic_motor_is(proposed: Any, tmp_path: Path) -> None:
    """The motor's figures are estimates, not a builder's own: the schema's tolerance of a guess stands in the file."""
    stated = _as_written(proposed(), tmp_path).stated.by_key
    said = {key: tolerance.said for key, tolerance in stated.items()}
    assert said["motor.resistance_mohm"] == "x/ 1.25" and said["motor.kv_rpm_per_v"] == "8 %"
    assert {"motor.no_load", "motor.mass_kg"} <= set(said) and all(key.startswith("motor.") for key in said)


def test_two_motors_of_a_proposal_are_one_of_twice_the_limits(tmp_path: Path) -> None:
    """The other description of the same drive: half the resistance, twice drag, mass, heat paths and limits."""
    loaded = _as_written(two_motors(), tmp_path)
    motor, box = loaded.build.motor, loaded.build.controller
    assert loaded.build.drive.motors == 2 and loaded.build.drive.kv_difference_percent == 3.0
    one = {
        "drive.motors": 1, "drive.kv_difference_percent": None,
        "motor.resistance_mohm": motor.resistance_mohm / 2.0, "motor.inductance_uh": motor.inductance_uh / 2.0,
        "controller.motor_current_limit_a": 2.0 * box.motor_current_limit_a,
        "controller.pack_current_limit_a": 2.0 * box.pack_current_limit_a,
        "controller.on_resistance_mohm": box.on_resistance_mohm / 2.0,
        "rider.mass_kg": loaded.build.rider.mass_kg + motor.mass_kg + box.mass_kg,
    }  # fmt: skip
    road = range_road(WISH)
    both = simulate(loaded, road, cruise_speed_km_h=WISH.cruise, trace=False)
    single = simulate(replace_keys(loaded, one), road, cruise_speed_km_h=WISH.cruise, trace=False)
    assert both.figures.total_time_s == pytest.approx(single.figures.total_time_s, rel=5e-3)
    assert 2.0 * both.figures.peak_motor_current_dc_equivalent_a == pytest.approx(
        single.figures.peak_motor_current_dc_equivalent_a, rel=5e-3
    )
    assert both.figures.peak_pack_current_a == pytest.approx(single.figures.peak_pack_current_a, rel=1e-2)


@PROPOSALS
@pytest.mark.parametrize(
    "asked",
    [
        "ride {} {}",
        "check {} {}",
        "wire {} {}",
        "belt {} {}",
        "ratios {} {} --ratios 3.5:4.5:2",
        "ratios {} {} --gears 2",
    ],
)
def test_a_proposal_loads_in_every_command(proposed: Any, asked: str, tmp_path: Path) -> None:
    _as_written(proposed(), tmp_path)
    (tmp_path / "rise.toml").write_text(ROAD, encoding="utf-8")
    quick = ["--quick"] if asked.startswith(("ride", "ratios")) else []
    words = asked.format(tmp_path / "proposal.toml", tmp_path / "rise.toml").split()
    done = CliRunner().invoke(app, [*words, *quick])
    assert done.exit_code == 0, done.stderr


def test_what_was_asked_for_stands_beside_the_plain_way() -> None:
    """A hill that one motor climbs: two are proposed because they are asked for, and one is told of."""
    asked = sized(motors=2, hill_percent=8.0)
    assert asked.chosen.motors == 2 and not asked.simpler
    assert asked.chosen.size.mass_kg < sized(hill_percent=8.0).chosen.size.mass_kg
    assert (1, False, 2) in {other.layout.kind for other, _ in asked.others}
    three = sized(gears=3, hill_percent=8.0)
    assert len(three.chosen.gears) == 3 and "hub of 3 gears" in three.packs[0].build["name"]
    assert all(ORDER.index(pack.verdict) < ORDER.index("stop") for pack in (*asked.packs, *three.packs))


def test_a_size_that_cannot_be_wound_does_not_end_the_search_for_lighter_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    """The largest motor for a fast bike would be of less resistance than the schema knows; the next is not."""
    known, tried = sizing.coolest, []

    def heaviest_fails(wish: Wish, layout: Layout) -> Any:
        tried.append((layout.motors, layout.size.mass_kg))
        return None if layout.motors == 2 and layout.size.mass_kg == 1.25 else known(wish, layout)

    monkeypatch.setattr(sizing, "coolest", heaviest_fails)
    found = size_drive(dataclasses.replace(WISH, gears=1))
    assert (2, 0.9) in tried and found.chosen.motors == 2 and found.chosen.size.mass_kg == 0.9


def test_a_hub_is_never_overloaded_by_the_current_limit() -> None:
    """A heavy bike on a steep hill: the limit holds the hub's input torque just inside what it stands."""
    layout = Layout(next(each for each in SIZE_CLASSES if each.mass_kg == 5.0), 2, 1, hub_of(8))
    heavy = dataclasses.replace(WISH, mass_kg=260.0, hill_percent=16.0, heaviest_motor_kg=None)
    loaded, _ = with_limits(heavy, trial(heavy, layout, 12.0, 60.0, 48.0, 3.0))
    torque = hill_ride(heavy, loaded, heavy.hill_speed_km_h).figures.peak_gear_torque_nm
    assert torque is not None and 0.9 * HUB_TORQUE_NM < torque <= HUB_TORQUE_NM
    light, _ = with_limits(WISH, trial(WISH, layout, 12.0, 60.0, 48.0))
    assert light.build.controller.motor_current_limit_a < loaded.build.controller.motor_current_limit_a


def test_a_geared_proposal_does_not_shift_to_and_fro_on_its_hill(tmp_path: Path) -> None:
    """At full throttle it shifted 57 times a minute by a bike's usual shift speeds: cool, since nothing pushed."""
    loaded = _as_written(geared(), tmp_path)
    gears = loaded.build.drive.gears
    assert gears.up_rpm is not None and gears.down_rpm is not None and gears.down_rpm < 0.6 * gears.up_rpm
    ours = ride_all(WISH, loaded)
    assert judge_trials(WISH, ours, pack_too=True)[0] == "fine"
    assert ours.fast.figures.gear_shifts < 6.0 * ours.fast.figures.moving_time_s / 60.0
    usual = ride_all(WISH, replace_keys(loaded, {"drive.gears.up_rpm": None, "drive.gears.down_rpm": None}))
    word, reason = judge_trials(WISH, usual, pack_too=True)
    assert word == "look again" and "to and fro" in reason


def test_the_hill_is_climbed_at_the_wished_speed(tmp_path: Path) -> None:
    """A second just inside and just outside: 2 % behind the wished speed, and 20 s for the start."""
    trials = ride_all(WISH, _as_written(two_motors(), tmp_path))
    limit = 3.0 / 8.0 * 3600.0 / 0.98 + 20.0
    for seconds, word in ((limit - 1.0, "fine"), (limit + 1.0, "stop")):
        totals = trials.hill.raw.totals.copy()
        totals[Total.TIME] = seconds
        moved = dataclasses.replace(trials.hill, raw=trials.hill.raw._replace(totals=totals))
        judged, reason = judge_trials(WISH, dataclasses.replace(trials, hill=moved), pack_too=True)
        assert judged == word and ("climbs the hill at 8 km/h" in reason) == (word == "stop")


def test_a_hub_that_bears_too_little_says_so_and_points_at_the_other_ways(monkeypatch: pytest.MonkeyPatch) -> None:
    """15 % at half the top speed: the gear that is in then asks more of the hub's input than that stands."""
    monkeypatch.setattr(sizing, "SIZE_CLASSES", tuple(each for each in SIZE_CLASSES if each.mass_kg == 2.5))
    found = size_drive(Wish(140.0, 30.0, 15.0, 3.0, 40.0, voltages_v=(48.0,), gears=8, motors=1))
    assert found.verdict == "stop" and "held by the 90 N·m that the gear hub's input stands" in found.reason
    assert "Without --motors and --gears other ways are tried too." in view(found, pictures=False).answer


def test_the_top_speed_is_held_in_the_highest_gear(tmp_path: Path) -> None:
    loaded = _as_written(geared(), tmp_path)
    gears = loaded.build.drive.gears
    assert gears.ratios == tuple(round(each, 3) for each in hub_of(8)) and gears.input_torque_limit_nm == 90.0
    assert run_level(loaded, 0.1).top_speed_km_h > 0.85 * WISH.top_speed_km_h  # and it still gets there when empty
    run = run_level(loaded, 0.3, 5000.0)
    assert run.top_speed_km_h >= 0.98 * WISH.top_speed_km_h
    turned = WISH.wheel_rpm(run.top_speed_km_h) * loaded.build.drive.fastest_turns
    assert run.motor_speed_rpm == pytest.approx(max(turned, gears.up_rpm or 0.0), rel=1e-3)


@pytest.mark.parametrize(("count", "span"), [(2, 1.4), (3, 1.8), (8, 3.0), (14, 5.2)])
def test_a_generic_hub_steps_evenly_around_its_direct_middle(count: int, span: float) -> None:
    gears = hub_of(count)
    assert len(gears) == count and gears[0] / gears[-1] == pytest.approx(span, rel=1e-3)
    assert gears[0] * gears[-1] == pytest.approx(1.0, rel=1e-3)
    steps = [before / after for before, after in itertools.pairwise(gears)]
    assert max(steps) == pytest.approx(min(steps), rel=1e-3)


def test_no_more_gears_than_the_search_of_sets_finds_enough() -> None:
    """An easy hill: two gears of three do; of two none is left out."""
    easy = dataclasses.replace(WISH, hill_percent=5.0, hill_km=0.5, range_km=5.0)
    layout = Layout(next(each for each in SIZE_CLASSES if each.mass_kg == 1.25), 2, 1, hub_of(3))
    three = try_ratio(easy, layout, 18.0)
    assert three is not None
    fewer = fewer_gears(easy, three)
    assert fewer is not None and fewer.gears == hub_of(2) and fewer.verdict == "fine"
    assert fewer_gears(easy, fewer) is None


def test_sets_of_so_many_gears_at_least() -> None:
    """`ridesim ratios --gears` tries them all; a sizing leaves out what is too few."""
    assert {len(each.gears) for each in first_sets(1.8, 5)} == {1, 2, 3, 4, 5}
    assert {len(each.gears) for each in first_sets(1.8, 5, 4)} == {4, 5}
    assert {len(each.gears) for each in first_sets(1.8, 5, 5)} == {5}


def test_a_belt_that_no_width_carries_is_told_at_its_widest() -> None:
    """Told was the weakest that tears: 6938 N of 199 N, where the strongest is what a builder wants to hear of."""
    (torn,) = belts_for(1, 6.0, 400.0, 3000.0, 330.0)
    assert torn.verdict == "stop" and (torn.pitch_mm, torn.width_mm) == (8.0, 50.0)


def test_the_limit_lets_the_motor_alone_hold_the_top_speed() -> None:
    """A rider whose legs do all of it: the motor's limit was none, and two motors came of it."""
    easy = sized(mass_kg=50.0, top_speed_km_h=15.0, hill_percent=0.5, hill_km=0.1, range_km=2.0)
    assert easy.verdict == "fine" and easy.chosen.motors == 1
    alone = easy.demands[1]
    assert alone.words == "top speed, motor alone" and alone.wheel_force_n > 5.0
    assert easy.packs[0].top_speed_motor_alone_low_charge_km_h >= 0.98 * 15.0


def test_what_a_motor_must_give_counts_the_top_speed_too() -> None:
    """A fast bike on a small hill: 1.4 N m were told beside a limit of 284 A."""
    fast = Wish(90.0, 100.0, 3.0, 1.0, 30.0)
    layout = Layout(next(each for each in SIZE_CLASSES if each.mass_kg == 3.5), 1)
    found = try_ratio(fast, layout, 7.2)
    assert found is not None
    asked = found.motor_current_limit_a * 60.0 / (2.0 * 3.14159265 * found.kv_rpm_per_v) / 1.3
    assert 0.8 * asked < found.sustained_torque_nm < asked


def test_the_pack_says_what_set_it_and_the_answer_keeps_to_its_voltage(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hot day: more cells than range and current ask for, since they get too hot; 72 V asked for, 72 V told."""
    near = tuple(each for each in SIZE_CLASSES if not each.hub and each.mass_kg == 0.9)
    monkeypatch.setattr(sizing, "SIZE_CLASSES", near)
    hot = Wish(110.0, 32.0, 15.0, 5.0, 40.0, hill_speed_km_h=20.0, temperature_c=45.0, rider_power_w=150.0, motors=2,
               voltages_v=(72.0,), gears=1)  # fmt: skip
    found = size_drive(hot)
    (pack,) = found.packs
    assert pack.set_by == "cell limits" and pack.charge_left_fraction > 0.4
    assert {each.set_by for each in sized(hill_percent=8.0).packs} <= {"range", "current"}
    said = " ".join(view(found, pictures=False).answer)
    assert "on 72 V" in said and " 48 V" not in said and f"{pack.motor_current_limit_a:g} A DC" in said


def test_a_lighter_motor_that_was_passed_over_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    """Carried on the wished hill, stopped by the longer climb of `ridesim check`: the table alone would puzzle."""
    near = tuple(each for each in SIZE_CLASSES if not each.hub and each.mass_kg in (0.5, 0.7))
    monkeypatch.setattr(sizing, "SIZE_CLASSES", near)
    rolled, rolling = wheel_of("2150")
    found = size_drive(Wish(95.0, 25.0, 6.0, 1.5, 25.0, rolled, rolling_resistance=rolling, voltages_v=(36.0,)))
    assert any(each.size.mass_kg == 0.5 and each.verdict == "fine" for each in found.candidates)
    assert found.chosen.size.mass_kg == 0.7
    assert any("Passed over: outrunner, 0.5 kg" in why and "check stops winding" in why for why in found.left_out)


def test_other_ways_are_written_out_and_inches_have_a_digit(tmp_path: Path) -> None:
    words = "size --mass-kg 140 --top-speed-km-h 30 --hill 14,3 --hill-speed 8 --range-km 40 --heaviest-motor-kg 1.25"
    done = CliRunner().invoke(app, [*words.split(), "--voltages", "48", "--units", "imperial", "--out", str(tmp_path)])
    assert done.exit_code == 0, done.stderr
    assert "two outrunners of 2.0 lb" in done.stdout and " 2.5 in " in done.stdout
    assert "66.4 lbf·ft" in done.stdout and "N·m" not in done.stdout
    other = load_build(tmp_path / "another-way-1-48v.toml").build
    assert (other.drive.motors, len(other.drive.gears.ratios)) == (1, 8)
    assert load_build(tmp_path / "proposal-48v.toml").build.drive.motors == 2


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"motors": 3}, "motors"),
        ({"gears": 15}, "gears"),
        ({"heaviest_motor_kg": 0.1}, "heaviest_motor_kg"),
        ({"changes": (("drive.motors", 2),)}, "--motors"),
        ({"changes": (("drive.gears.kind", "derailleur"),)}, "leave it out"),
        ({"changes": (("drive.gears.ratios", [1.5, 1.0]),)}, "--gears"),
    ],
)
def test_senseless_ways_are_refused_in_one_line(changes: dict[str, Any], says: str) -> None:
    with pytest.raises(RidesimError, match=says) as caught:
        dataclasses.replace(WISH, **changes)
    assert "\n" not in str(caught.value)
