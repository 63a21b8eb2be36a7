"""Plausibility across parts: what cannot start is refused, what looks wrong gets a warning with number and cure."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path

import pytest

from ridesim.bike import rough, startable
from ridesim.bike.load import load_build, replace_keys
from ridesim.bike.schema import Build
from ridesim.engine.estimates import estimate
from ridesim.errors import BuildError

Overrides = dict[str, object]


@pytest.mark.parametrize(
    ("overrides", "fragments"),
    [
        (
            {"controller.no_current_below_v": 56, "controller.full_current_above_v": 58},
            ("the pack cannot start the bike: pack.series = 13 gives 54.6 V full", "no_current_below_v = 56.0 V"),
        ),
        (
            {"pack.cell.resistance_mohm": 1000, "pack.parallel": 1, "pack.resistance_factor": 10},
            ("the pack cannot start the bike: its 130016 mΩ let at most 5.7 W out of it", "check cell.resistance"),
        ),
        ({"controller.motor_current_limit_a": 1}, ("the motor cannot turn the wheel", "turns a wheel turn), now 9.71")),
        ({"drive.stage": [{"ratio": 0.05}]}, ("the motor cannot turn the wheel", "current limit, choose slower")),
        ({"motor.kv_rpm_per_v": 3}, ("the motor cannot keep up with a walk", "come to 2.", "check Kv")),
        (
            {"controller.field_weakening_current_a": 30, "motor.inductance_uh": 0},
            ("motor.inductance_uh = 0", "give the motor's inductance"),
        ),
        ({"drive.stage.0.drag_torque_nm": 10}, ("the motor cannot turn the wheel", "pushes with 0.0 N")),
        (
            {"controller.no_current_below_v": 45},
            ("full_current_above_v = 40.2 V is not above no_current_below_v",),
        ),
    ],
)
def test_a_bike_that_cannot_start_is_refused(bike: Path, overrides: Overrides, fragments: tuple[str, ...]) -> None:
    with pytest.raises(BuildError) as caught:
        load_build(bike, overrides)
    lines = [line for line in str(caught.value).splitlines() if fragments[0] in line]
    assert len(lines) == 1
    assert all(fragment in lines[0] for fragment in fragments)
    assert "; " in lines[0]


@pytest.mark.parametrize(
    ("figure", "of_the_edge", "part"),
    [
        ("pack_resistance_ohm", lambda build: _ohm_that_feeds_a_walk(build), "resistance"),
        ("both_standing_force_n", rough.flat_resistance_n, "turn the wheel"),
        ("unloaded_speed_km_h", lambda build: 3.0, "keep up with a walk"),
    ],
)
def test_just_enough_to_start_starts(
    bike: Path, monkeypatch: pytest.MonkeyPatch, figure: str, of_the_edge: Callable[[Build], float], part: str
) -> None:
    """A hundredth on either side of the edge: power for 5.4 km/h on the flat, its drag as a push, a walk of 3 km/h."""
    build = load_build(bike).build
    inside, outside = (0.99, 1.01) if figure == "pack_resistance_ohm" else (1.01, 0.99)
    monkeypatch.setattr(startable, figure, lambda build: inside * of_the_edge(build))
    startable.startability(build, {}, "")
    monkeypatch.setattr(startable, figure, lambda build: outside * of_the_edge(build))
    with pytest.raises(BuildError, match=part):
        startable.startability(build, {}, "")


def test_a_weakened_field_may_carry_a_slow_motor_past_a_walk(bike: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(startable, "unloaded_speed_km_h", lambda build: 2.9)
    startable.startability(
        load_build(bike, {"controller.field_weakening_current_a": 30, "motor.inductance_uh": 100}).build, {}, ""
    )


def _ohm_that_feeds_a_walk(build: Build) -> float:
    """The resistance at which half the full voltage is lost at what standby and 5.4 km/h on the flat take."""
    need = build.controller.standby_power_w + rough.flat_resistance_n(build) * 5.4 / 3.6
    return (rough.full_v(build) / 2.0) ** 2 / need


@pytest.mark.parametrize(("start_v", "end_v", "refused"), [
    (58.0, 54.5, ""), (58.0, 54.7, "54.6 V full"), (40.1, 40.0, ""), (40.0, 40.0, "is not above no_current_below_v"),
])  # fmt: skip
def test_a_pack_starts_that_reaches_just_above_the_end_of_current(
    bike: Path, monkeypatch: pytest.MonkeyPatch, start_v: float, end_v: float, refused: str
) -> None:
    build = load_build(bike).build
    monkeypatch.setattr(startable, "low_voltage_v", lambda build: (start_v, end_v))
    with pytest.raises(BuildError, match=refused) if refused else nullcontext():
        startable.startability(build, {}, "")


WARNED: list[tuple[Overrides, str, str]] = [
    ({"pack.series": 15}, "63.0 V, above controller.voltage_limit_v = 60 V", "fewer cells"),
    ({"controller.charge_voltage_limit_v": 56}, "lets regen overcharge", "lower it"),
    ({"pack.cell.max_voltage_v": 3.65}, "ends at 4.2 V, but pack.cell.max_voltage_v = 3.65 V", "same chemistry"),
    ({"controller.full_current_above_v": 45.5}, "starts at 45.5 V (3.50 V a cell), but with 30 %", "more of them in"),
    ({"controller.no_current_below_v": 30}, "(2.31 V a cell), below pack.cell.min_voltage_v = 2.5 V", "Raise"),
    ({"pack.start_charge_fraction": 0.02}, "the motor will not start", "Charge it first"),
    ({"pack.wiring_mohm": 900}, "even the full pack sags by", "more cells in parallel"),
    ({"pack.parallel": 3}, "is 10.7 A a cell, above its rating of 8 A", "Lower the limit to 24 A"),
    (
        {"controller.charge_current_limit_a": 20},
        "is 3.3 A a cell, above its charging rating of 1.6",
        "Lower it to 9.6 A",
    ),
    ({"motor.pole_pairs": 21}, "reaches 1815 Hz", "rated for more"),
    (
        {"drive.stage.0.driven_teeth": 60},
        "makes 23.3 rpm per volt",
        "slower gearing (more motor turns",
    ),
    (
        {"drive.stage.0.driven_teeth": 300},
        "makes 4.7 rpm per volt",
        "faster gearing (fewer motor turns",
    ),
    ({"rider.cruise_speed_km_h": 80}, "reaches only 66 km/h, below rider.cruise_speed_km_h = 80", "Raise the voltage"),
    ({"drive.coupling": "freewheel"}, "= 50 A asks for regen, but drive.coupling is a freewheel", "Set it to 0"),
    ({"controller.brake_current_limit_a": 0}, "gives no regen in return", "Set a brake current"),
    (
        {"controller.motor_full_current_below_c": None, "controller.motor_no_current_above_c": None},
        "No motor temperature sensor",
        "Fit one",
    ),
    ({"controller.motor_no_current_above_c": 170}, "above the winding's limit of 155 °C (class F)", "Lower it"),
    (
        {"motor.no_load": [{"speed_rpm": 2000, "current_a": 2}, {"speed_rpm": 4000, "current_a": 1}]},
        "motor.no_load falls from 2 A at 2000 rpm to 1 A at 4000 rpm",
        "Measure again",
    ),
    (
        {"motor.no_load": [{"speed_rpm": 20, "current_a": 10}, {"speed_rpm": 4000, "current_a": 12}]},
        "10 A at 20 rpm: more voltage lost in the copper",
        "measure again",
    ),
    ({"controller.throttle_law": "assist", "rider.power_w": 0}, "the motor never helps", "Raise both"),
    ({"brakes.rear.kind": "none"}, 'brakes.rear.kind is "none": regen is no second brake', "Fit two friction brakes"),
    (
        {"brakes.front.kind": "none", "brakes.rear.kind": "none"},
        "brakes.front.kind and brakes.rear.kind are",
        "Fit two",
    ),
    ({"weather.temperature_c": -5}, "starts at -5 °C: lithium cells must not be charged below 0", "indoors"),
    ({"weather.temperature_c": 3}, "starts at 3 °C: cold cells sag more", "indoors"),
    ({"weather.temperature_c": 38}, "Air of 38 °C leaves", "lower the limits"),
]


@pytest.mark.parametrize(("overrides", "number", "cure"), WARNED, ids=lambda item: str(item)[:40])
def test_one_oddity_is_one_warning(bike: Path, overrides: Overrides, number: str, cure: str) -> None:
    assert load_build(bike).warnings == ()
    hits = [text for text in load_build(bike, overrides).warnings if number in text]
    assert len(hits) == 1
    assert cure in hits[0]


@pytest.mark.parametrize(
    "overrides",
    [
        {"controller.charge_current_limit_a": 9},
        {"controller.charge_voltage_limit_v": 54.6},
        {"controller.voltage_limit_v": 54.7},
        {"controller.throttle_law": "assist"},
        {"rider.power_w": 0},
        {"pack.start_charge_fraction": 0.3},
        {"pack.wiring_mohm": 60},
        {"motor.pole_pairs": 15},
        {"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0},
        {"controller.motor_no_current_above_c": 155},
        {"motor.no_load": []},
        {"weather.temperature_c": 5},
        {"brakes.rear.kind": "disc", "brakes.front.kind": "rim"},
        {"weather.temperature_c": 35},
    ],
    ids=str,
)
def test_what_is_in_order_gets_no_warning(bike: Path, overrides: Overrides) -> None:
    assert load_build(bike, overrides).warnings == ()


FOLDBACK = "The low-voltage foldback starts"
DEEP = {"pack.parallel": 2, "pack.resistance_factor": 2.5}
"""A tired little pack: at 30 A and 30 % of charge it is far below empty."""


def _foldback(bike: Path, overrides: Overrides) -> str:
    return next((text for text in load_build(bike, overrides).warnings if text.startswith(FOLDBACK)), "")


def test_no_foldback_is_proposed_below_empty_cells(bike: Path) -> None:
    """A foldback at 20 V would empty 13 cells in series to 1.5 V each. A shallow sag may have one."""
    told = _foldback(bike, DEEP)
    assert "no foldback helps" in told and "full_current_above_v and" not in told and "in parallel" in told
    assert "set controller.full_current_above_v" in _foldback(bike, {"controller.full_current_above_v": 45.5}).lower()


@pytest.mark.parametrize("more", [{}, {"drive.motors": 2}], ids=str)
def test_the_pack_current_that_the_foldback_note_names_ends_it(bike: Path, more: Overrides) -> None:
    """Followed as told the note is gone; a twentieth above it is back."""
    told = _foldback(bike, DEEP | more)
    named = float(re.search(r"lower controller.pack_current_limit_a to ([\d.]+) A", told)[1])
    for share, gone in ((1.0, True), (1.05, False)):
        key = {"controller.pack_current_limit_a": share * named}
        assert (_foldback(bike, DEEP | more | key) == "") == gone


@pytest.mark.parametrize(("start_c", "told"), [(5.0, False), (4.9, True), (-12.0, True)])
def test_a_foldback_reckoned_for_a_warm_pack_says_so_of_a_cold_one(bike: Path, start_c: float, told: bool) -> None:
    """19.3 A was named as what ends it to a bike at -12 °C, whose cells resist three times what they do at 25 °C."""
    assert ("reckoned at 25 °C" in _foldback(bike, DEEP | {"pack.start_temperature_c": start_c})) == told


def test_a_current_below_what_a_controller_can_be_set_to_is_no_advice(bike: Path) -> None:
    """A foldback that begins above the resting voltage leaves nothing to lower."""
    assert "pack_current_limit_a to" not in _foldback(bike, {"controller.full_current_above_v": 50.0})


def test_a_bike_with_field_weakening_is_not_told_to_raise_its_voltage(bike: Path) -> None:
    """How far weakening goes only a ride tells; without it the motor's own speed is the end."""
    fast = {"rider.cruise_speed_km_h": 85.0}
    assert any("Even unloaded" in text for text in load_build(bike, fast).warnings)
    weakened = fast | {"controller.field_weakening_current_a": 60.0}
    assert not any("Even unloaded" in text for text in load_build(bike, weakened).warnings)


def test_a_forgotten_reduction_is_told(bike: Path) -> None:
    told = [text for text in load_build(bike, {"drive.stage": []}).warnings if "Seen from the wheel" in text]
    assert len(told) == 1 and "No [[drive.stage]] is given" in told[0]
    geared = load_build(bike, {"drive.stage.0.driven_teeth": 60}).warnings
    assert not any("[[drive.stage]]" in text for text in geared)


def test_a_warm_pack_on_a_cold_day_is_fine(bike: Path) -> None:
    assert load_build(bike, {"weather.temperature_c": -5, "pack.start_temperature_c": 15}).warnings == ()


def test_standing_force_by_hand(bike: Path) -> None:
    build = load_build(bike).build
    # 80 A amplitude is 69.28 A DC-equivalent; Kt = 60/(2 pi 100); one belt stage of 136/14 at 0.97; r = 2.07 m/(2 pi)
    torque = 60 / (2 * math.pi * 100) * 80 * math.sqrt(3) / 2 * 136 / 14 * 0.97
    assert rough.standing_force_n(build) == pytest.approx(torque / (2.07 / (2 * math.pi)), rel=1e-12)


def test_low_voltage_defaults_are_those_that_a_ride_uses(bike: Path) -> None:
    for cell in ("cell-21700-nmc", "cell-lfp-32700"):
        build = load_build(bike, {"pack.cell": cell}).build
        ridden = estimate(build)
        assert rough.low_voltage_v(build) == pytest.approx((ridden.full_current_above_v, ridden.no_current_below_v))


def test_pack_resistance_by_hand(bike: Path) -> None:
    build = load_build(bike, {"pack.resistance_factor": 1.5}).build
    assert rough.pack_resistance_ohm(build) == pytest.approx((13 / 6 * 28 * 1.5 + 8 + 8) / 1000)
    assert rough.pack_resistance_ohm(build, slow=True) == pytest.approx((13 / 6 * (28 + 16) * 1.5 + 16) / 1000)


def test_commutation_changes_the_standing_force(bike: Path) -> None:
    sine = load_build(bike).build
    six_step = load_build(bike, {"controller.commutation": "six_step"}).build
    ratio = rough.standing_force_n(six_step) / rough.standing_force_n(sine)
    assert ratio == pytest.approx(2 / math.sqrt(3), rel=1e-12)


def test_resting_voltage_by_hand(bike: Path) -> None:
    build = load_build(bike).build
    assert rough.resting_v(build, 0.0) == pytest.approx(13 * 2.5)
    lower = replace_keys(load_build(bike), {"pack.open_circuit_offset_v": -1.5}).build
    assert type(rough.resting_v(lower, 0.0)) is float
    assert rough.resting_v(lower, 0.0) == pytest.approx(13 * 2.5 - 1.5)
    assert rough.resting_v(build, 0.5) == pytest.approx(13 * 3.751)
    assert rough.full_v(build) == pytest.approx(13 * 4.2)
    assert rough.resting_v(build, 0.25) == pytest.approx(13 * (3.485 + 3.581) / 2)


def test_unloaded_speed_by_hand(bike: Path) -> None:
    build = load_build(bike).build
    rpm = 100 * 54.6 * 0.95 * 14 / 136
    assert rough.unloaded_speed_km_h(build) == pytest.approx(rpm * 60 * 2.07 / 1000)
