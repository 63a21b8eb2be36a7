"""The check sheet's rows by hand: whose figure is held, against which limit, and which words and cure go with it."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.schema import Stage
from ridesim.workshop.check import drive
from ridesim.workshop.check.drive import (
    belt_stage_of,
    check_belts,
    check_electrical_frequency,
    check_grip,
    check_motor_shaft,
    check_shares,
)
from ridesim.workshop.check.electric import check_cold, check_copper, check_voltage
from ridesim.workshop.loads import StageLoad
from ridesim.workshop.wire.harness import Habits, _loads, design_harness

from ..bikes import bike
from .test_harness import HAND

BRAKES: dict[str, Any] = {"drive.coupling": "fixed", "controller.brake_current_limit_a": 20.0}


def volts(loaded: LoadedBuild, ridden_v: float) -> list[tuple[str, float, str]]:
    found = check_voltage(loaded.build, SimpleNamespace(highest_pack_voltage_v=ridden_v))  # type: ignore[arg-type]
    return [(each.subject, round(each.figure or 0.0, 6), each.verdict) for each in found]


def test_the_highest_voltage_is_of_full_cells_of_regen_or_of_the_ride() -> None:
    """13 groups that are full at 4.2 V: 54.6 V; regen up to 58 V where it may; a fast descent to 62 V."""
    made = bike({"pack.series": 13, "controller.voltage_limit_v": 60.0, "controller.charge_voltage_limit_v": 58.0})
    full = 13 * max(made.build.pack.cell.max_voltage_v, made.build.pack.cell.open_circuit_v[-1])
    plain = replace_keys(made, {"controller.brake_current_limit_a": 0.0})
    assert volts(plain, full - 1.0) == [("full", full, "fine")]
    assert volts(plain, 62.0) == [("full", full, "fine"), ("with regen", 62.0, "stop")]
    braked = replace_keys(made, BRAKES)
    assert volts(braked, full) == [("full", full, "fine"), ("with regen", 58.0, "look again")]
    assert volts(braked, 60.1)[1] == ("with regen", 60.1, "stop")
    rolling = replace_keys(made, BRAKES | {"drive.coupling": "freewheel"})
    assert volts(rolling, full - 1.0) == [("full", full, "fine")]


def test_a_full_pack_is_what_its_curve_ends_at_where_that_is_more() -> None:
    made = bike({"pack.series": 10, "controller.voltage_limit_v": 200.0, "controller.brake_current_limit_a": 0.0})
    cell = made.build.pack.cell
    for most in (4.0, 4.3):
        rated = made.build.model_copy(
            update={
                "pack": made.build.pack.model_copy(update={"cell": cell.model_copy(update={"max_voltage_v": most})})
            }
        )
        (found,) = check_voltage(rated, SimpleNamespace(highest_pack_voltage_v=1.0))  # type: ignore[arg-type]
        assert found.figure == pytest.approx(10 * max(most, cell.open_circuit_v[-1]))


@pytest.mark.parametrize(("start_c", "held_c"), [(None, -3.0), (15.0, 15.0)])
def test_a_pack_that_starts_warm_is_charged_at_its_own_warmth(start_c: float | None, held_c: float) -> None:
    found = check_cold(bike({"weather.temperature_c": -3.0, "pack.start_temperature_c": start_c}).build)
    assert found.figure == held_c and ("plates out" in found.reason) is (held_c < 0.0)
    assert (found.verdict == "fine") is (held_c > 10.0)


def test_the_sheet_tells_leads_and_fuse_as_the_harness_judges_them() -> None:
    """All but the charger's lead, each by its own verdict; a strip where one is asked for."""
    harness = design_harness(HAND, Habits())
    rows = check_copper(harness)
    assert [(each.name, each.subject, each.verdict) for each in rows] == [
        ("lead", "pack", "fine"), ("lead", "phase", "fine"), ("fuse", "", "fine")
    ]  # fmt: skip
    assert harness.fuse is not None
    blown = dataclasses.replace(harness, fuse=dataclasses.replace(harness.fuse, verdict="stop", reason="it blows"))
    assert check_copper(blown)[-1].verdict == "stop" and "it blows" in check_copper(blown)[-1].reason


def shares(law: str, apart_a: float, monkeypatch: pytest.MonkeyPatch) -> Any:
    two = bike({"drive.motors": 2, "drive.kv_difference_percent": 2.0, "controller.throttle_law": law})
    monkeypatch.setattr(drive, "voltage_law_difference_a", lambda *_: apart_a)
    loads: Any = SimpleNamespace(top_motor_speed_rpm=3000.0, sustained_motor_current_a=50.0)
    (found,) = check_shares(two.build, loads)
    return found


def test_two_motors_that_share_unevenly_are_looked_at_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half of what lies between them over what each carries: 19.9 A between two of 50 A are just below a fifth."""
    for apart_a, word in ((19.9, "fine"), (20.1, "look again")):
        found = shares("voltage", apart_a, monkeypatch)
        assert (found.verdict, found.figure) == (word, pytest.approx(0.5 * apart_a / 50.0))
    assert shares("torque", 99.0, monkeypatch).verdict == "fine"
    governed = shares("governor", 0.0, monkeypatch)
    assert governed.verdict == "look again" and "left to chance" in governed.reason
    for alone in (bike(), bike({"drive.motors": 2, "drive.kv_difference_percent": 0.0})):
        assert check_shares(alone.build, SimpleNamespace()) == []  # type: ignore[arg-type]


def test_a_lifted_wheel_is_held_to_the_controller_s_own_frequency() -> None:
    """7 pole pairs at 6000 rpm are 700 Hz; it cuts out where the limit is below that, in proportion to the speed."""
    made = bike()
    free = check_electrical_frequency(made.build, SimpleNamespace(electrical_frequency_hz=100.0))[1].figure  # type: ignore[arg-type]
    assert free is not None
    for limit, word in ((free * 1.03, "fine"), (free * 0.97, "look again")):
        box = made.build.controller.model_copy(update={"electrical_frequency_limit_hz": limit})
        changed = made.build.model_copy(update={"controller": box})
        for ridden, own in ((limit * 0.97, "fine"), (limit * 1.02, "stop")):
            run: Any = SimpleNamespace(electrical_frequency_hz=ridden)
            level, lifted = check_electrical_frequency(changed, run)
            assert (level.verdict, lifted.verdict, lifted.limit) == (own, word, limit)
            assert ("cuts out" in lifted.reason) is (free > limit)


def test_a_front_wheel_that_drives_slips_and_is_not_lifted() -> None:
    """With the motor in front nothing lifts the front wheel; behind, much grip lifts it and little grip slips."""
    for grip, rear, words in ((1.5, True, "the front wheel lifts"), (0.1, True, "the tyre slips"),
                              (1.5, False, "the tyre slips")):  # fmt: skip
        made = bike({"bicycle.grip": grip, "drive.driven_wheel": "rear" if rear else "front"})
        assert words in check_grip(made.build).reason


def test_where_the_tyre_slips_just_before_the_wheel_lifts() -> None:
    """Grip times the load on the rear wheel, h mu over (b + h mu) as moments have it: the edge is mu = a / h."""
    made = bike()
    b = made.build.bicycle
    edge = (b.wheelbase_mm - (b.wheelbase_mm - b.mass_centre_ahead_mm)) / b.mass_centre_height_mm
    for grip, words in ((0.995 * edge, "the tyre slips"), (1.005 * edge, "the front wheel lifts")):
        assert words in check_grip(replace_keys(made, {"bicycle.grip": grip}).build).reason


def stage(**keys: Any) -> Stage:
    made = {"kind": "belt", "driver_teeth": 20, "driven_teeth": 100, "pitch_mm": 5.0, "width_mm": 25.0, **keys}
    return Stage.model_validate(made)


def stage_load(peak_nm: float) -> StageLoad:
    none = np.zeros(2)
    return StageLoad(1, stage(), peak_nm, peak_nm, 2000.0, none, none, none)


def test_a_belt_is_judged_on_its_own_shafts_where_the_build_has_them() -> None:
    """100 teeth of 5 mm are 159 mm across: half as much again where nobody says (a guess), and then it says so."""
    said, guessed = belt_stage_of(stage(centre_distance_mm=300.0)), belt_stage_of(stage())
    assert said is not None and (said[0].centre_mm, said[1]) == (300.0, False)
    assert guessed is not None and guessed[1]
    assert guessed[0].centre_mm == pytest.approx(1.5 * 100 * 5.0 / 3.14159265, rel=1e-6)
    for other in ({"kind": "chain"}, {"pitch_mm": 4.0}):
        assert belt_stage_of(stage(**other)) is None


def test_a_belt_that_is_fine_has_nothing_that_helps() -> None:
    for torque_nm, fine in ((1.0, True), (200.0, False)):
        load = stage_load(torque_nm)
        (found,) = check_belts((load,))
        assert (found.verdict == "fine", bool(found.cure)) == (fine, not fine)
        assert "(guess)" in found.reason


def test_the_shaft_is_held_to_what_is_stated_else_to_an_estimate() -> None:
    load = stage_load(5.0)
    for keys, name in (({"motor.shaft_side_load_limit_n": 900.0}, "shaft_load"),
                       ({"motor.shaft_diameter_mm": 12.0}, "shaft_estimate"), ({}, None)):  # fmt: skip
        found = check_motor_shaft(bike(keys).build, (load,))
        assert [each.name for each in found] == ([] if name is None else [name])


def test_a_peak_that_lasts_is_seen_along_the_ride_where_there_is_one() -> None:
    """Heating without cooling holds for ten seconds (Onderdonk): by hand the whole minute is taken as a peak."""
    long = dataclasses.replace(HAND, pack_peak_s=60.0, motor_peak_s=60.0)
    course = np.array([0.0, 1.0])
    ridden = dataclasses.replace(long, time_s=course, pack_along_a=course, motor_along_a=course)
    for currents, seconds in ((long, 60.0), (ridden, 10.0), (dataclasses.replace(ridden, pack_peak_s=4.0), 4.0)):
        assert _loads(currents, Habits())[0].peak_s == seconds


def test_a_wire_that_nothing_guards_is_looked_at_again_and_one_that_melts_is_stopped() -> None:
    """90 A for long ask for a fuse of 120 A: blade fuses end at 100 A, though there are wires for it."""
    large = dataclasses.replace(HAND, pack_rms_a=60.0, pack_peak_a=90.0, pack_sustained_a=90.0)
    (unguarded,) = (each for each in design_harness(large, Habits(fuse_series="blade")).leads if each.kind == "pack")
    assert (unguarded.chosen, unguarded.verdict, unguarded.tried[-1].verdict) == (None, "look again", "fine")
    melted = dataclasses.replace(HAND, pack_rms_a=900.0, pack_peak_a=900.0, pack_sustained_a=900.0)
    (none,) = (each for each in design_harness(melted, Habits()).leads if each.kind == "pack")
    assert (none.chosen, none.verdict) == (None, "stop") and "run two in parallel" in none.reason
