"""What holds the drive: loads of the ride, verdicts just inside and just outside, proposals, words."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridesim.bike.load import LoadedBuild, load_build
from ridesim.bike.mount import Mount
from ridesim.errors import BuildError
from ridesim.ride.judge import FINE, LOOK_AGAIN, STOP
from ridesim.workshop.belt.shaft import Shaft, check_shaft
from ridesim.workshop.loads import RideLoads, loads_of, ride_of
from ridesim.workshop.mount.loads import MountLoads, mount_loads
from ridesim.workshop.mount.parts import Part, bracket, first_joint, motor_shaft, tube_clamp, wheel_arms, wheel_bolts
from ridesim.workshop.mount.proposal import proposed
from ridesim.workshop.mount.sheet import _held, check_mount

CONFIGS = Path(__file__).parents[2] / "configs"
STATED = {
    "motor.shaft_diameter_mm": 12.0,
    "mount.shaft_material": "carbon_steel",
    "mount.belt_overhang_mm": 20.0,
    "mount.joint.kind": "clamp",
    "mount.joint.screw": "M6",
    "mount.wheel_pulley.bolts": 8,
    "mount.wheel_pulley.material": "aluminium",
    "mount.wheel_pulley.arms": 5,
    "mount.bracket.material": "aluminium",
    "mount.bracket.tube_diameter_mm": 34.0,
}


@pytest.fixture(scope="module")
def belt_bike() -> LoadedBuild:
    return load_build(CONFIGS / "longtail-belt.toml", STATED)


@pytest.fixture(scope="module")
def loads(belt_bike: LoadedBuild) -> RideLoads:
    return loads_of(ride_of(belt_bike, None))


@pytest.fixture(scope="module")
def asked(belt_bike: LoadedBuild, loads: RideLoads) -> MountLoads:
    return mount_loads(belt_bike, loads)


def part_of(maker, loaded: LoadedBuild, asked: MountLoads) -> Part:  # type: ignore[no-untyped-def]
    made = maker(loaded, asked)
    assert isinstance(made, Part), made
    return made


def verdicts(part: Part) -> dict[str, str]:
    return {each.name: each.verdict for each in _held(part)}


def test_loads_are_those_of_the_ride(belt_bike: LoadedBuild, loads: RideLoads, asked: MountLoads):
    stage = belt_bike.build.drive.stage[0]
    peak = max(loads.peak_shaft_torque_nm, loads.peak_brake_torque_nm)
    assert asked.motor_torque_nm == peak
    assert asked.wheel_torque_nm == pytest.approx(
        peak * stage.driven_teeth / stage.driver_teeth * stage.load_efficiency
    )
    assert asked.pull is not None
    effective = peak / (stage.pitch_mm * stage.driver_teeth / (2000.0 * math.pi))
    # Both sides pull at the shaft: more than the difference that makes the torque, less than twice the tight side.
    assert effective < asked.pull.side_load_n < 2.0 * effective
    assert asked.pulley_radius_mm == pytest.approx(stage.pitch_mm * stage.driven_teeth / (2.0 * math.pi))


@pytest.mark.parametrize(
    "safety, word", [(1.51, FINE), (1.49, LOOK_AGAIN), (1.01, LOOK_AGAIN), (0.99, STOP), (math.inf, FINE)]
)
def test_peak_just_inside_and_outside(safety: float, word: str):
    part = Part("bolts", "", "", "", safety, None, "")
    assert verdicts(part)["mount_peak"] == word


@pytest.mark.parametrize("safety, word", [(1.51, FINE), (1.49, LOOK_AGAIN), (0.5, LOOK_AGAIN)])
def test_an_estimate_never_stops(safety: float, word: str):
    part = Part("shaft", "", "", "", safety, None, "", estimated=True)
    assert verdicts(part) == {"mount_estimate": word}


@pytest.mark.parametrize("safety, word", [(1.26, FINE), (1.24, LOOK_AGAIN), (0.9, LOOK_AGAIN)])
def test_for_good_just_inside_and_outside(safety: float, word: str):
    assert verdicts(Part("arms", "", "", "", 9.0, safety, ""))["mount_lasting"] == word


@pytest.mark.parametrize("safety, word", [(4.01, FINE), (3.99, LOOK_AGAIN)])
def test_friction_screws_just_inside_and_outside(safety: float, word: str):
    assert verdicts(Part("joint", "", "", "", safety, None, "", friction_only=True))["mount_grub"] == word


@pytest.mark.parametrize("warm, word", [(44.9, FINE), (45.1, LOOK_AGAIN), (51.0, LOOK_AGAIN)])
def test_warm_print_just_inside_and_outside(warm: float, word: str):
    part = Part("arms", "", "", "", 9.0, None, "", warm_c=warm, soft_c=50.0)
    assert verdicts(part)["mount_warm"] == word


def changed(loaded: LoadedBuild, **mount: object) -> LoadedBuild:
    from ridesim.workshop.mount.proposal import with_keys

    return with_keys(loaded, {key.replace("__", "."): value for key, value in mount.items()})


def test_twice_the_bolts_hold_twice(belt_bike: LoadedBuild, asked: MountLoads):
    one = part_of(wheel_bolts, belt_bike, asked)
    two = part_of(wheel_bolts, changed(belt_bike, mount__wheel_pulley__bolts=16), asked)
    assert two.safety_peak == pytest.approx(2.0 * one.safety_peak)
    # By hand: 8 M5 at 7202 N / 1.6, friction 0.15, on 44 mm.
    assert one.safety_peak == pytest.approx(8 * 7202 / 1.6 * 0.15 * 0.022 / asked.wheel_torque_nm, rel=1e-3)


def test_arms_by_hand(belt_bike: LoadedBuild, asked: MountLoads):
    part = part_of(wheel_arms, belt_bike, asked)
    radius = asked.pulley_radius_mm
    assert radius is not None
    force = asked.wheel_torque_nm / (radius / 1e3) / 5
    stress = 6.0 * force * (radius - 22.0) / (6.0 * 15.0**2)
    assert part.safety_peak == pytest.approx(260.0 / 1.1 / stress, rel=1e-9)


def test_printed_across_its_layers_bears_half(belt_bike: LoadedBuild, asked: MountLoads):
    printed = changed(belt_bike, mount__wheel_pulley__material="petg", mount__wheel_pulley__layers="along")
    across = changed(printed, mount__wheel_pulley__layers="across")
    along, weaker = part_of(wheel_arms, printed, asked), part_of(wheel_arms, across, asked)
    assert weaker.safety_peak == pytest.approx(along.safety_peak / 2.0)
    assert along.safety_lasting == pytest.approx(
        along.safety_peak / 5.0 * asked.wheel_torque_nm / asked.lasting_wheel_torque_nm
    )


def test_bracket_and_clamp_by_hand(belt_bike: LoadedBuild, asked: MountLoads):
    part, clamp = part_of(bracket, belt_bike, asked), part_of(tube_clamp, belt_bike, asked)
    assert asked.pull is not None
    load = asked.pull.side_load_n + 3.0 * belt_bike.build.motor.mass_kg * 9.80665
    assert part.safety_peak == pytest.approx(260.0 / 1.1 / (6.0 * load * 50.0 / (60.0 * 36.0)), rel=1e-9)
    assert clamp.safety_peak == pytest.approx(4 * 10182 / 1.6 * 0.12 * 0.034 / (load * 0.05), rel=1e-3)


def test_shaft_by_hand(belt_bike: LoadedBuild, asked: MountLoads):
    part = part_of(motor_shaft, belt_bike, asked)
    assert asked.pull is not None
    bend = 32.0 * asked.pull.side_load_n * 20.0 / (math.pi * 12.0**3)
    twist = 16.0 * asked.motor_torque_nm * 1000.0 / (math.pi * 12.0**3)
    assert part.safety_peak == pytest.approx(340.0 / 1.05 / math.hypot(bend, math.sqrt(3.0) * twist), rel=1e-9)
    assert not part.estimated
    guessed = replace(belt_bike, given=belt_bike.given - {"mount.belt_overhang_mm"})
    assert part_of(motor_shaft, guessed, asked).estimated


@pytest.mark.parametrize("kind", ["grub_screws", "key", "clamp", "press_fit"])
def test_every_joint_holds_something(belt_bike: LoadedBuild, asked: MountLoads, kind: str):
    part = part_of(first_joint, changed(belt_bike, mount__joint__kind=kind), asked)
    assert 0.0 < part.safety_peak < math.inf
    assert part.friction_only == (kind == "grub_screws")


def test_a_flat_helps_and_a_yielding_hub_grips_no_more(belt_bike: LoadedBuild, asked: MountLoads):
    grub = changed(belt_bike, mount__joint__kind="grub_screws")
    flat = part_of(first_joint, changed(grub, mount__joint__flat=True), asked)
    assert flat.safety_peak == pytest.approx(2.0 * part_of(first_joint, grub, asked).safety_peak)
    press = changed(belt_bike, mount__joint__kind="press_fit", mount__joint__interference_um=100.0)
    more = changed(press, mount__joint__interference_um=200.0)
    assert part_of(first_joint, more, asked).safety_peak == pytest.approx(
        part_of(first_joint, press, asked).safety_peak
    )


@given(factor=st.floats(1.05, 3.0))
def test_more_load_is_never_safer(belt_bike: LoadedBuild, asked: MountLoads, factor: float):
    assert asked.pull is not None
    pull = asked.pull
    more = replace(
        asked,
        motor_torque_nm=asked.motor_torque_nm * factor,
        wheel_torque_nm=asked.wheel_torque_nm * factor,
        pull=replace(pull, side_load_n=pull.side_load_n * factor),
    )
    for maker in (motor_shaft, first_joint, wheel_bolts, wheel_arms, bracket, tube_clamp):
        assert part_of(maker, belt_bike, more).safety_peak < part_of(maker, belt_bike, asked).safety_peak


def test_what_is_proposed_is_fine_when_it_is_built(loads: RideLoads):
    bare = load_build(CONFIGS / "longtail-belt.toml")
    sheet = check_mount(bare, loads)
    assert sheet.verdict == LOOK_AGAIN
    assert len(sheet.unstated) == 6
    assert all("would do" in each for each in sheet.unstated), sheet.unstated
    proposed = {
        "motor.shaft_diameter_mm": float(sheet.unstated[0].split("; ")[1].split(" mm")[0]),
        "mount.joint.kind": "clamp", "mount.joint.screw": "M6", "mount.wheel_pulley.bolts": 8,
        "mount.bracket.material": "aluminium", "mount.wheel_pulley.material": "aluminium", "mount.wheel_pulley.arms": 4,
        "mount.bracket.tube_diameter_mm": 34.0, "mount.shaft_material": "carbon_steel", "mount.belt_overhang_mm": 20.5,
    }  # fmt: skip
    assert check_mount(load_build(CONFIGS / "longtail-belt.toml", proposed), loads).verdict == FINE


def test_a_proposed_shaft_is_one_whose_bearing_belt_finds_fine_too(loads: RideLoads):
    """`mount` said that 15 mm would do where `belt` asked for 20: the bearing behind the pulley tires first."""
    bare = load_build(CONFIGS / "longtail-belt.toml")
    asked = mount_loads(bare, loads)
    assert asked.pull is not None
    by_speed = {}
    for rpm in (300.0, 6000.0):
        pull = replace(asked.pull, speed_rpm=rpm, side_load_n=700.0, lasting_side_load_n=300.0)
        words = proposed(bare, replace(asked, pull=pull), motor_shaft, lambda part: part.safety_peak > 1.0)
        by_speed[rpm] = float(words.split(" mm")[0])
        needed = check_shaft("motor shaft", 700.0, rpm, pull.width_mm, Shaft()).needed_diameter_mm
        assert needed is not None and by_speed[rpm] >= needed
    assert by_speed[300.0] < by_speed[6000.0]
    heavy = replace(asked, pull=replace(asked.pull, side_load_n=9000.0))
    assert "bearing on both sides" in proposed(bare, heavy, motor_shaft, lambda _: True)


def test_a_geared_hub_is_told_the_torque_of_its_wheel():
    """Its gears sit in the hub: no pulley pulls at a shaft, and the axle takes what the wheel gets. It was refused."""
    stage = {"kind": "gear", "ratio": 5.0, "efficiency": 0.95}
    geared = load_build(CONFIGS / "longtail-hub.toml", {"drive.stage": [stage], "motor.kv_rpm_per_v": 45.0})
    loads = loads_of(ride_of(geared, None))
    asked = mount_loads(geared, loads)
    assert asked.pull is None
    assert asked.wheel_torque_nm == pytest.approx(5.0 * 0.95 * asked.motor_torque_nm, rel=1e-6)
    (finding,) = check_mount(geared, loads).findings
    assert f"takes {asked.wheel_torque_nm:.0f} N" in finding.reason and finding.verdict == "look again"
    toothed = {"kind": "gear", "driver_teeth": 14, "driven_teeth": 70}
    counted = load_build(CONFIGS / "longtail-hub.toml", {"drive.stage": [toothed]})
    assert mount_loads(counted, loads).pull is not None
    with pytest.raises(BuildError, match="no teeth"):
        mount_loads(load_build(CONFIGS / "longtail-hub.toml", {"drive.stage": [{"kind": "belt", "ratio": 5.0}]}), loads)


def test_a_hub_motor_is_told_its_axle_torque():
    hub = load_build(CONFIGS / "longtail-hub.toml")
    sheet = check_mount(hub, loads_of(ride_of(hub, None)))
    assert sheet.verdict == LOOK_AGAIN
    assert "torque arm" in sheet.reasons[0]
    assert f"{sheet.loads.motor_torque_nm:.0f} N·m" in sheet.reasons[0]


def test_metal_near_the_can_is_told(belt_bike: LoadedBuild, loads: RideLoads):
    near = check_mount(changed(belt_bike, mount__bracket__metal_gap_mm=4.0), loads)
    assert any("extra_eddy_fraction" in note for note in near.notes)
    assert not check_mount(changed(belt_bike, mount__bracket__metal_gap_mm=12.0), loads).notes


@pytest.mark.parametrize(
    "key, value, words",
    [
        ("mount.joint.key_depth_mm", 3.0, "key_depth_mm"),
        ("mount.bracket.holes_mm", 60.0, "holes_mm"),
        ("mount.wheel_pulley.bolts", 1, "2 to 36"),
        ("mount.joint.kind", "glue", "grub_screws"),
        ("mount.bump_factor", 99, "1 to 15"),
    ],
)
def test_bad_values_name_key_and_range(key: str, value: object, words: str):
    with pytest.raises(BuildError, match=words) as caught:
        load_build(CONFIGS / "longtail-belt.toml", {key: value})
    assert key.rsplit(".", 1)[1] in str(caught.value)


def test_an_overstrained_bolt_is_refused(loads: RideLoads):
    strong = load_build(CONFIGS / "longtail-belt.toml", {**STATED, "mount.wheel_pulley.tightening_nm": 50.0})
    with pytest.raises(BuildError, match="strips"):
        check_mount(strong, loads)


def test_no_ride_leans_on_the_mount(belt_bike: LoadedBuild):
    assert not [used.key for used in belt_bike.defaults_used if used.key.startswith("mount.")]
    assert isinstance(belt_bike.build.mount, Mount)


def test_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    from typer.testing import CliRunner

    from ridesim.cli.app import app

    sets = [part for key, value in STATED.items() for part in ("--set", f"{key}={value}")]
    where = str(CONFIGS / "longtail-belt.toml")
    done = CliRunner().invoke(app, ["mount", where, *sets, "--json", "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["verdict"] in (FINE, LOOK_AGAIN)
    assert {part["name"] for part in told["parts"]} >= {"motor shaft", "wheel pulley's bolts"}
    assert (tmp_path / "out" / "safeties.png").stat().st_size > 1000
    text = CliRunner().invoke(app, ["mount", where, *sets, "--units", "imperial"]).stdout
    assert "lbf" in text and " N " not in text and " mm" not in text


def test_two_motors_on_one_belt_have_a_pulley_each(belt_bike: LoadedBuild, loads: RideLoads):
    """On one shaft the pulley passes what both give, in series on a belt each passes its own."""
    drive = belt_bike.build.drive
    torques = {
        how: mount_loads(
            replace(belt_bike, build=belt_bike.build.model_copy(
                update={"drive": drive.model_copy(update={"motors": 2, "motors_share": how})})), loads
        ).motor_torque_nm
        for how in ("one_shaft", "one_belt")
    }  # fmt: skip
    assert torques["one_belt"] == pytest.approx(torques["one_shaft"] / 2.0)


def test_what_is_proposed_is_proposed_on_one_shaft():
    """The joint stands on the shaft that is proposed for the motor, not on another."""
    heavy = load_build(CONFIGS / "longtail-belt.toml", {"controller.motor_current_limit_a": 140.0})
    build = heavy.build.model_copy(update={"motor": heavy.build.motor.model_copy(update={"shaft_diameter_mm": None})})
    told = check_mount(replace(heavy, build=build), loads_of(ride_of(heavy, None, 12.0, 2.0))).unstated
    shaft = re.search(r"; (\d+) mm of plain steel", " ".join(told))
    joint = next((each for each in told if "joint" in each and " on " in each), "")
    assert shaft and f"on {shaft[1]} mm" in joint, told


def test_what_helps_is_told_of_the_part_that_it_helps(loads: RideLoads) -> None:
    weak = {**STATED, "motor.shaft_diameter_mm": 6.0, "mount.wheel_pulley.bolts": 4, "mount.wheel_pulley.bolt": "M4"}
    sheet = check_mount(load_build(CONFIGS / "longtail-belt.toml", weak), loads)
    answer = sheet.view(pictures=False).answer
    for each in sheet.findings:
        if each.verdict != FINE and each.cure:
            assert f"to do for the {each.subject}: {each.cure}." in answer
    assert len([line for line in answer if line.startswith("to do for the ")]) >= 2
