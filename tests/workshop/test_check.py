"""The check sheet: each verdict turns when the one number behind it is changed, and only then."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.bike.rough import full_v, standing_force_n
from ridesim.engine.state import Limit
from ridesim.report.check.figure import draw_margins
from ridesim.report.check.view import view
from ridesim.report.law.view import view as law_view
from ridesim.report.style import settle
from ridesim.ride.bounds import BOUNDS
from ridesim.ride.judge import Finding
from ridesim.road.load import load_road
from ridesim.road.made import make_climb
from ridesim.studies.launch import launch
from ridesim.workshop.check.drive import check_electrical_frequency, check_grip, check_wheel_kv, top_speed_finding
from ridesim.workshop.check.electric import check_cell_limits, check_cold
from ridesim.workshop.check.sheet import THUMBS, CheckSheet, check_build, overall, ruled_by_ride
from ridesim.workshop.law.bike import classify_build
from ridesim.workshop.level_run import LevelRun, run_level, turned_by


@pytest.fixture(scope="module")
def belt_bike(root: Path) -> LoadedBuild:
    """The belt longtail with a narrow belt on small pulleys: one that asks for judgement."""
    stage = {"kind": "belt", "driver_teeth": 14, "driven_teeth": 136, "pitch_mm": 5, "width_mm": 25}
    return replace_keys(load_build(root / "configs/longtail-belt.toml"), {"drive.stage.0": stage})


def found(loaded: LoadedBuild, **options: Any) -> dict[str, Finding]:
    return {each.title: each for each in check_build(loaded, **options).findings}


def test_every_part_is_on_the_sheet(belt_bike: LoadedBuild) -> None:
    sheet = check_build(belt_bike)
    names = {each.title for each in sheet.findings}
    assert names == {
        "the ride itself", "winding", "magnets", "controller", "cells, temperature", "cell current, lasting",
        "cell current, peak", "cell current, charging hard", "cell current, charging", "charge",
        "cell voltage, highest", "pack voltage at the controller", "charge left", "back-EMF on descents",
        "time on one bound, motor current", "top speed, full pack", "top speed, pack at 10%", "electrical frequency",
        "electrical frequency, wheel lifted", "pack voltage at the controller, full",
        "pack voltage at the controller, with regen", "cell current at the controller's limit",
        "cell charging at the controller's limit", "cold charging", "grip and front lift", "belt pull, stage 1",
        "lead, pack", "lead, phase", "fuse", "strips between cells", "wheel-equivalent Kv", "legal class",
    }  # fmt: skip
    words = " ".join(sheet.cautions)
    for hazard in ("management board", "below 0 °C", "fingers", "rakes", "local law"):
        assert hazard in words
    assert all(each.reason for each in sheet.findings)


def test_what_the_controller_allows_is_shared_by_the_cells_in_parallel(belt_bike: LoadedBuild) -> None:
    """40 A out and 10 A in are 8 A and 2 A for each of five cells; ratings just inside and just outside."""
    asked = {"pack.parallel": 5, "controller.pack_current_limit_a": 40.0, "controller.charge_current_limit_a": 10.0}

    def verdicts(**ratings: float) -> list[tuple[float | None, str]]:
        cell = {f"pack.cell.{name}": value for name, value in ratings.items()}
        return [(each.figure, each.verdict) for each in check_cell_limits(replace_keys(belt_bike, asked | cell).build)]

    assert verdicts(max_discharge_a=8.1, max_charge_a=2.1) == [(8.0, "fine"), (2.0, "fine")]
    assert verdicts(max_discharge_a=7.8, max_charge_a=1.9) == [(8.0, "look again"), (2.0, "look again")]


@pytest.mark.parametrize(
    ("changes", "name", "verdict"),
    [
        ({"controller.voltage_limit_v": 54.0}, "pack voltage at the controller, full", "stop"),
        ({"controller.voltage_limit_v": 56.0}, "pack voltage at the controller, full", "look again"),
        ({"controller.voltage_limit_v": None}, "pack voltage at the controller, full", "look again"),
        ({"controller.charge_voltage_limit_v": 63.0}, "pack voltage at the controller, with regen", "stop"),
        ({"controller.pack_current_limit_a": 49.0}, "cell current at the controller's limit", "look again"),
        ({"controller.pack_current_limit_a": 48.0}, "cell current at the controller's limit", "fine"),
        ({"controller.charge_current_limit_a": 12.0}, "cell charging at the controller's limit", "look again"),
        ({"drive.stage.0.driven_teeth": 90}, "wheel-equivalent Kv", "look again"),
        ({"drive.stage.0.width_mm": 60.0}, "belt pull, stage 1", "look again"),
        ({"drive.stage.0.pitch_mm": 4.0}, "belt pull, stage 1", "look again"),
        ({"motor.shaft_side_load_limit_n": 50.0}, "side load of the motor's shaft", "stop"),
        ({"motor.shaft_side_load_limit_n": 5000.0}, "side load of the motor's shaft", "fine"),
        ({"motor.shaft_diameter_mm": 6.0}, "side load of the motor's shaft, by estimate", "look again"),
        ({"motor.shaft_diameter_mm": 20.0}, "side load of the motor's shaft, by estimate", "fine"),
        ({"rider.cruise_speed_km_h": 50.0}, "top speed, pack at 10%", "look again"),
    ],
)
def test_one_number_turns_one_verdict(belt_bike: LoadedBuild, changes: dict[str, Any], name: str, verdict: str) -> None:
    assert found(replace_keys(belt_bike, changes))[name].verdict == verdict


def test_a_controller_of_unknown_voltage_is_to_be_looked_up_not_given_fewer_cells(belt_bike: LoadedBuild) -> None:
    """Nobody knows yet that the pack is too high; and a drive that cannot charge has no voltage of regen."""
    (unknown,) = (
        each
        for title, each in found(replace_keys(belt_bike, {"controller.voltage_limit_v": None})).items()
        if title.startswith("pack voltage at the controller")
    )
    assert unknown.verdict == "look again" and "controller.voltage_limit_v" in unknown.cure
    assert "fewer cells" not in unknown.cure
    assert "pack voltage at the controller, with regen" not in found(
        replace_keys(belt_bike, {"drive.coupling": "freewheel"})
    )


def test_heat_turns_with_the_climb(belt_bike: LoadedBuild) -> None:
    bare = replace_keys(
        belt_bike, {"controller.motor_full_current_below_c": None, "controller.motor_no_current_above_c": None}
    )
    gentle, steep = found(bare, grade_percent=4.0), found(bare, grade_percent=11.0, minutes=20.0)
    assert gentle["winding"].verdict == "fine"
    assert steep["winding"].verdict == "stop"
    assert (steep["winding"].figure or 0.0) > (gentle["winding"].figure or 0.0) + 50.0


def test_electrical_frequency_counts_pole_pairs(belt_bike: LoadedBuild) -> None:
    full = run_level(belt_bike)
    build = belt_bike.build
    _, finding = check_electrical_frequency(build, full)
    assert finding.figure == pytest.approx(100.0 * full_v(build) * 0.95 * 7 / 60.0)
    many = replace_keys(belt_bike, {"motor.pole_pairs": 21})
    ridden, lifted = check_electrical_frequency(many.build, run_level(many))
    assert (ridden.verdict, lifted.verdict) == ("look again", "look again")  # the controller holds it at its limit
    between = replace_keys(belt_bike, {"controller.electrical_frequency_limit_hz": 550.0})
    ridden, lifted = check_electrical_frequency(between.build, run_level(between))
    assert (ridden.verdict, lifted.verdict) == ("fine", "look again")


def test_grip_by_moments(belt_bike: LoadedBuild) -> None:
    """Front lift on the level: F h = m g b (moments about the rear contact)."""
    build = belt_bike.build
    lifts = build.mass_kg * 9.80665 * 560.0 / 950.0
    finding = check_grip(build)
    assert finding.limit == pytest.approx(lifts, rel=1e-9)
    assert 0.97 * standing_force_n(build) < finding.figure < standing_force_n(build)  # the iron holds some of it back
    assert finding.figure == pytest.approx(launch(belt_bike).motor_force_n[0], rel=1e-3)  # one force, said once
    ice = replace_keys(belt_bike, {"bicycle.grip": 0.08}).build
    slippery = check_grip(ice)
    assert slippery.verdict == "look again" and "tyre slips" in slippery.reason


def test_wheel_kv_window(belt_bike: LoadedBuild) -> None:
    """The same unloaded speed on 2100 mm and 46 V: 100 rpm/V over 136/14, times both shares."""
    build = belt_bike.build
    volts = build.pack.series * float(np.interp(0.5, build.pack.cell.charge_fraction, build.pack.cell.open_circuit_v))
    like = 100.0 * 14 / 136 * build.tyre.circumference_mm / 2100.0 * volts / 46.0
    finding = check_wheel_kv(build)
    assert finding.figure == pytest.approx(like)
    assert finding.verdict == "fine"
    for kv, limit, verdict, cure in (
        (100.0 * 15.99 / like, 16.0, "fine", ""),
        (100.0 * 16.01 / like, 16.0, "look again", "slower gearing (more motor turns"),
        (100.0 * 6.01 / like, 16.0, "fine", ""),
        (100.0 * 5.99 / like, 6.0, "look again", "faster gearing (fewer motor turns"),
        (40.0, 6.0, "look again", "faster gearing"),
    ):
        found = check_wheel_kv(replace_keys(belt_bike, {"motor.kv_rpm_per_v": kv}).build)
        assert (found.verdict, found.limit) == (verdict, limit)
        assert cure in found.reason


def test_a_rule_of_thumb_never_stops_and_counts_wheel_and_pack(belt_bike: LoadedBuild) -> None:
    """A 660 mm wheel needs three times the rpm for a speed: it was told to gear the wrong way round."""
    small = replace_keys(belt_bike, {"tyre.circumference_mm": 660.0, "drive.stage.0.driven_teeth": 43})
    assert check_wheel_kv(small.build).verdict == "fine"
    slow = replace_keys(belt_bike, {"tyre.circumference_mm": 660.0})
    assert "faster gearing" in check_wheel_kv(slow.build).reason
    high = replace_keys(belt_bike, {"pack.series": 26, "drive.stage.0.driven_teeth": 272})
    assert check_wheel_kv(high.build).figure == pytest.approx(check_wheel_kv(belt_bike.build).figure)


@pytest.mark.parametrize(("cell_c", "verdict"), [(20.0, "fine"), (3.0, "look again"), (-1.0, "look again")])
def test_cold_packs_are_not_charged(belt_bike: LoadedBuild, cell_c: float, verdict: str) -> None:
    assert check_cold(replace_keys(belt_bike, {"pack.start_temperature_c": cell_c}).build).verdict == verdict


def test_top_speed_is_bounded_by_voltage_or_power(belt_bike: LoadedBuild) -> None:
    full, low = run_level(belt_bike, 1.0), run_level(belt_bike, 0.1)
    assert low.top_speed_km_h < full.top_speed_km_h < 69.0  # unloaded: 100 x 54.6 x 0.95 / 9.71 x 2.07 m x 60 = 66 km/h
    slow = run_level(replace_keys(belt_bike, {"motor.kv_rpm_per_v": 45.0}))
    assert "full modulation" in slow.bounded_by
    limited = run_level(replace_keys(belt_bike, {"controller.assist_speed_limit_km_h": 25.0}))
    assert limited.top_speed_km_h == pytest.approx(25.0, abs=0.3)
    assert limited.bounded_by == "the legal speed limit"


@pytest.mark.parametrize(("speed", "legs_w", "verdict"), [(25.0, 80.0, "fine"), (24.0, 80.0, "look again"),
                                                          (25.0, 0.0, "look again")])  # fmt: skip
def test_a_motor_that_its_legal_speed_ends_does_what_was_asked(belt_bike, speed, legs_w, verdict) -> None:
    """Above the 25 km/h that the law leaves the motor the legs are to do the rest; a bike without legs is short."""
    keys = {"controller.assist_speed_limit_km_h": 25.0, "rider.cruise_speed_km_h": 32.0, "rider.power_w": legs_w}
    build = replace_keys(belt_bike, keys).build
    run = LevelRun(1.0, speed, 1.0, 1.0, 1.0, BOUNDS[Limit.ASSIST_SPEED], False, 1.0)
    found = top_speed_finding(build, run, "full pack")
    assert (found.verdict, found.limit) == (verdict, 25.0 if legs_w else 32.0)
    if not legs_w:
        assert "assist_speed_limit_km_h ends the motor" in found.cure and "voltage" not in found.cure


@pytest.mark.parametrize(("bound", "words"), [
    (Limit.PACK_CURRENT, "raise controller.pack_current_limit_a"), (Limit.MODULATION, "faster gearing"),
    (Limit.MOTOR_CURRENT, "raise controller.motor_current_limit_a"), (Limit.MOTOR_POWER, "motor_power_limit_w"),
])  # fmt: skip
def test_what_helps_a_top_speed_is_what_moves_the_bound_that_holds_it(belt_bike, bound, words) -> None:
    """Faster gearing was told to a bike that its pack's current holds."""
    run = LevelRun(1.0, 20.0, 1.0, 1.0, 1.0, BOUNDS[bound], False, 1.0)
    found = top_speed_finding(belt_bike.build, run, "full pack")
    assert found.verdict == "look again" and words in found.cure and found.cure.endswith("or a humbler wish")
    assert ("faster gearing" in found.cure) == (bound is Limit.MODULATION)


def test_every_part_that_is_not_fine_says_what_helps(root: Path) -> None:
    """A narrow belt is overloaded, and the sheet says how to mend it; what is fine needs nothing."""
    narrow = load_build(root / "configs" / "longtail-belt.toml", {"drive.stage.0.width_mm": 9.0})
    sheet = check_build(narrow, make_climb(400.0, 6.0))
    belt = next(each for each in sheet.findings if each.name == "belt_pull")
    assert belt.verdict == "stop" and belt.cure.startswith("a belt 20 mm wide")
    wide = check_build(replace_keys(narrow, {"drive.stage.0.width_mm": 20.0}), make_climb(400.0, 6.0))
    assert next(each for each in wide.findings if each.name == "belt_pull").verdict == "look again"  # of its 16 teeth
    assert all(bool(each.cure) == (each.verdict != "fine") for each in sheet.findings)


def test_a_pedelec_is_a_cycle_and_a_throttle_is_not(belt_bike: LoadedBuild) -> None:
    pedelec = replace_keys(
        belt_bike, {"controller.throttle_law": "assist", "controller.assist_speed_limit_km_h": 24.9}
    )  # fmt: skip
    gentle = classify_build(pedelec, rated_power_w=250.0)
    assert gentle.report.verdict == "fine"
    assert gentle.pack_voltage_v == pytest.approx(46.8)
    wild = classify_build(belt_bike)
    limited = replace_keys(pedelec, {"controller.motor_power_limit_w": 250.0})
    tame = classify_build(limited, rated_power_w=250.0, jurisdictions=("European Union",))
    assert (tame.verdict, law_view(tame, pictures=False).verdict) == ("fine", "fine")
    assert wild.verdict != "fine" and law_view(wild, pictures=False).verdict == "look again"
    assert wild.report.verdict == "stop" and wild.rated_power_w > 1000.0
    assert "simulated" in wild.rated_power_from


def test_the_gravest_verdict_counts() -> None:
    fine = Finding("winding", "fine", 1.0, 2.0, "c", "")
    look, stop = Finding("magnets", "look again", 1.0, 2.0, "c", ""), Finding("fuse", "stop", 3.0, 2.0, "a", "")
    assert overall((fine, fine))[0] == "fine"
    assert overall((fine, look)) == ("look again", "1 check says look again: magnets")
    assert overall((fine, look, stop, stop)) == ("stop", "2 checks say stop: fuse; fuse")


@pytest.fixture(scope="module")
def hot_sheet(root: Path) -> CheckSheet:
    return check_build(load_build(root / "configs/longtail-two-stage.toml"), load_road(root / "routes/ridge-climb.gpx"))


def test_the_sheet_speaks_in_whole_sentences(hot_sheet: CheckSheet) -> None:
    """A reason that ends in a full stop gets no second one, and what helps is a sentence of its own."""
    told = view(hot_sheet, pictures=False)
    assert told.verdict == "stop" and any("To do: " in line for line in told.answer)
    assert [line for line in told.answer if ".." in line or not line.endswith(".")] == []


def test_the_picture_shows_the_worst_first_inside_its_frame(hot_sheet: CheckSheet) -> None:
    figure = draw_margins(hot_sheet)
    settle(figure)
    axes = figure.axes[0]
    names = [text.get_text() for text in axes.texts if "%" not in text.get_text()]
    assert names[0] in {each.title for each in hot_sheet.findings if each.verdict == "stop"}
    assert "the ride itself" not in names
    width = figure.bbox.width
    for text in (*axes.texts, *axes.get_xticklabels()):
        box = text.get_window_extent()
        assert box.x0 >= 0.0 and box.x1 <= width, text.get_text()


def test_the_ride_of_the_check_decides_on_the_rule_of_thumb(belt_bike: LoadedBuild) -> None:
    """ "Ride it, and let the ride decide" was said of a ride just ridden."""
    fast = replace_keys(belt_bike, {"motor.kv_rpm_per_v": 1.6 * belt_bike.build.motor.kv_rpm_per_v})
    for grade in (1.0, 22.0):
        sheet = check_build(fast, grade_percent=grade, minutes=2.0)
        (thumb,) = (each for each in sheet.findings if each.name == "wheel_kv")
        assert thumb.verdict == "look again" and "let the ride decide" not in thumb.cure
        trouble = {each.name for each in sheet.findings if each.verdict != "fine"} & set(THUMBS["wheel_kv"])
        assert bool(trouble) == (grade > 2.0)
        assert ("ratios" in thumb.cure) == bool(trouble) != ("no trouble" in thumb.cure)


def test_each_rule_of_thumb_is_decided_by_its_own_limits() -> None:
    """Too low a Kv is decided by the top speed, too high a one by heat and arrival; a fine one needs no ride."""

    def of(name: str, word: Any = "look again") -> Finding:
        return Finding(name, word, 1.0, 2.0, "", "", cure="as it was")

    slow, hot = (of("top_speed"),), (of("winding", "stop"),)
    for name, its, others in (("wheel_kv_low", slow, hot), ("wheel_kv", hot, slow)):
        assert "ratios" in ruled_by_ride(of(name), its).cure
        assert "no trouble" in ruled_by_ride(of(name), others).cure
        assert ruled_by_ride(of(name, "fine"), its).cure == "as it was"
    assert ruled_by_ride(of("winding"), hot).cure == "as it was"


def test_two_controllers_that_brake_charge_the_cells_together(root: Path) -> None:
    """10 A and 6 A of charging let in by the controllers are 16 A into the pack, shared by the cells in parallel."""
    keys = {"controller.charge_current_limit_a": 10.0, "controller.brake_current_limit_a": 20.0,
            "second.controller.charge_current_limit_a": 6.0, "drive.coupling": "fixed",
            "second.drive.coupling": "fixed"}  # fmt: skip
    for second_a, together_a in ((20.0, 16.0), (0.0, 10.0)):
        build = load_build(
            root / "configs/longtail-two-drives.toml", {**keys, "second.controller.brake_current_limit_a": second_a}
        ).build
        (charge,) = (each for each in check_cell_limits(build) if each.name == "charge_by_limit")
        assert charge.figure == pytest.approx(together_a / build.pack.parallel)
        assert ("both controllers let" in charge.reason) is (second_a > 0.0)


def test_a_run_is_turned_by_each_drive_as_its_own_gearing_has_it(root: Path) -> None:
    """By hand: 36 km/h on 2 m of tyre are 300 rpm, times the drive's turns; pole pairs make it electrical."""
    hub = load_build(root / "configs/longtail-hub.toml", {"tyre.circumference_mm": 2000.0}).build
    run = turned_by(LevelRun(1.0, 36.0, 1.0, 1.0, 1.0, BOUNDS[Limit.NONE], False, 1.0), hub)
    assert run.motor_speed_rpm == pytest.approx(300.0 * hub.drive.fastest_turns)
    assert run.electrical_frequency_hz == pytest.approx(5.0 * hub.drive.fastest_turns * hub.motor.pole_pairs)


def test_what_holds_a_top_speed_is_told_of_the_place_where_it_is_reached(belt_bike: LoadedBuild) -> None:
    """A little motor that its foldback slows later: at its top the pack's voltage or current held it, not the heat."""
    guard = {"controller.motor_full_current_below_c": 60.0, "controller.motor_no_current_above_c": 80.0}
    small = {"motor.winding_heat_capacity_j_per_k": 40.0, "motor.body_heat_capacity_j_per_k": 150.0}
    free, guarded = (run_level(replace_keys(belt_bike, small | keys)) for keys in ({}, guard))
    assert guarded.end_pack_current_a < 0.8 * free.end_pack_current_a
    assert guarded.bound is not BOUNDS[Limit.MOTOR_TEMPERATURE]
