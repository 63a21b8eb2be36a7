"""What gears and chain stand: judged, and the motor current that keeps them whole is ridden before it is told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.engine.gears import in_gear
from ridesim.engine.state import Channel
from ridesim.report.ride.plain import ride_figures
from ridesim.report.ride.view import view
from ridesim.report.text import ride_text
from ridesim.ride import gears_held
from ridesim.ride.gears_held import CURRENT, LOADS, gear_findings, gear_setting_of
from ridesim.ride.judge import FINE, STOP, judge
from ridesim.ride.range import outlook_of
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb
from ridesim.sure import gear_setting
from ridesim.sure.gear_setting import with_gear_chances
from ridesim.sure.spread import spread

HUB, CHAIN = "drive.gears.input_torque_limit_nm", "drive.chain_force_limit_n"


@pytest.fixture(scope="module")
def mid_drive(root: Path) -> LoadedBuild:
    return load_build(root / "configs" / "longtail-mid-drive.toml")


def ridden(loaded: LoadedBuild, keys: dict[str, object], length_m: float = 600.0) -> Ride:
    return simulate(replace_keys(loaded, keys), make_climb(length_m, 6.0), trace=False)


@pytest.mark.parametrize(("key", "limit"), [(HUB, 50.0), (CHAIN, 1200.0)])
def test_the_highest_current_that_keeps_them_is_told(mid_drive: LoadedBuild, key: str, limit: float) -> None:
    """Held against rides of its own: with that current they are whole, with one ampere more they are not."""
    ride = ridden(mid_drive, {key: limit})
    setting = gear_setting_of(ride)
    assert setting is not None and setting.arrives and setting.later_s > 0.0
    amps = setting.motor_current_limit_a
    for more, whole in ((0.0, True), (1.0, False)):
        f = ridden(mid_drive, {key: limit, CURRENT: amps + more}).figures
        most = f.peak_gear_torque_nm if key == HUB else f.peak_chain_force_n
        assert (most <= limit) is whole, (amps + more, most)
    assert setting.gear == 1  # legs push with all they have from rest, the motor with its limit
    assert f"{CURRENT} = {amps:g} (40 now)" in setting.words()


@pytest.mark.parametrize("key", [HUB, CHAIN])
def test_just_inside_and_just_outside(mid_drive: LoadedBuild, key: str) -> None:
    """The judge forgives 1 % for rounding; a ride that it finds fine is told no current."""
    f = ridden(mid_drive, {}).figures
    most = f.peak_gear_torque_nm if key == HUB else f.peak_chain_force_n
    for limit, verdict in ((most / 1.005, FINE), (most / 1.02, STOP)):
        ride = ridden(mid_drive, {key: limit})
        held = {each.name: each.verdict for each in judge(ride).findings if each.name in LOADS}
        assert held["gear_torque" if key == HUB else "chain_force"] == verdict
        assert (gear_setting_of(ride) is None) is (verdict == FINE)


def test_legs_that_are_too_much_alone_are_told(mid_drive: LoadedBuild) -> None:
    setting = gear_setting_of(ridden(mid_drive, {CHAIN: 100.0}))
    assert setting is not None and setting.motor_current_limit_a is None
    assert "the legs alone are too much" in setting.words()


def test_a_current_that_no_longer_climbs_is_told_with_it(mid_drive: LoadedBuild) -> None:
    setting = gear_setting_of(ridden(mid_drive, {HUB: 15.0, "rider.pushes_up_to_m": 0.0}))
    assert setting is not None and not setting.arrives
    assert "does not arrive" in setting.words()


def test_answers_tell_it_in_their_units(mid_drive: LoadedBuild) -> None:
    ride = ridden(mid_drive, {HUB: 50.0})
    outlook = outlook_of(ride)
    told = ride_figures(ride, outlook)["gear_setting"]
    assert told["motor_current_limit_a"] == outlook.gear_setting.motor_current_limit_a
    text = ride_text(ride, outlook, "imperial")
    assert "  set: Most goes through gears and chain in gear 1 at 0.0 mi." in text and "N·m" not in text
    assert outlook.gear_setting.words() in view(ride, outlook, pictures=False).answer
    assert ride_figures(ridden(mid_drive, {}), outlook_of(ridden(mid_drive, {})))["gear_setting"] is None


def test_a_current_that_half_the_bikes_like_it_do_not_bear_says_so_and_names_a_sure_one(mid_drive: LoadedBuild) -> None:
    """One rule for chances: more than one in twenty is told. Held against draws of its own, of another seed."""
    ride = ridden(mid_drive, {HUB: 50.0}, 200.0)
    told = with_gear_chances(ride, outlook_of(ride)).gear_setting
    assert told.chance_too_much > 0.2 and told.sure_arrives and told.sure_limit_a < told.motor_current_limit_a
    for amps, sure in ((told.motor_current_limit_a, False), (told.sure_limit_a, True)):
        loaded = replace_keys(mid_drive, {HUB: 50.0, CURRENT: amps})
        drawn = spread(loaded, ride.road, samples=128, seed=7, with_indices=False, band=False)
        (chance,) = (each.chance for each in drawn.chances if each.limit == "gear_torque")
        assert (chance < 0.1) is sure, (amps, chance)
    assert f"with {told.sure_limit_a:g} A it is in one of twenty at most." in told.words()


@pytest.mark.parametrize(("key", "teeth"), [("drive.stage.2.driver_teeth", 44), ("drive.stage.2.driven_teeth", 17)])
def test_what_the_list_says_helps_a_hub_does(mid_drive: LoadedBuild, key: str, teeth: int) -> None:
    """A larger ring, a smaller sprocket: less goes into the hub at the same motor current; the other way, more."""
    as_built, other = (ridden(mid_drive, keys).figures.peak_gear_torque_nm for keys in ({}, {key: teeth}))
    assert other < 0.95 * as_built


def test_a_bike_without_gears_has_nothing_to_hold(root: Path) -> None:
    ride = simulate(load_build(root / "configs" / "longtail-belt.toml"), make_climb(300.0, 3.0), trace=False)
    assert gear_findings(ride.figures, ride.build) == [] and gear_setting_of(ride) is None


def test_only_where_legs_go_through_the_gears_is_the_peak_of_a_stroke_told(mid_drive: LoadedBuild) -> None:
    """A hub's torque is told with 1.8 times the legs' mean (a gear-hub maker's page) behind a chain, else without."""
    f = replace(ridden(mid_drive, {}).figures, peak_gear_torque_nm=60.0)
    for through in (True, False):
        drive = mid_drive.build.drive.model_copy(update={"through_pedal_chain": through})
        gears = drive.gears.model_copy(update={"input_torque_limit_nm": 50.0})
        build = mid_drive.build.model_copy(update={"drive": drive.model_copy(update={"gears": gears})})
        (found,) = (each for each in gear_findings(f, build) if each.name == "gear_torque")
        assert ("legs by their mean: the peak of a stroke is 1.8 times that" in found.reason) is through


def test_a_whole_ampere_below_a_broken_limit_is_found(mid_drive: LoadedBuild) -> None:
    limit = ridden(mid_drive, {CURRENT: 20.1}).figures.peak_gear_torque_nm
    setting = gear_setting_of(ridden(mid_drive, {CURRENT: 20.9, HUB: limit}))
    assert setting is not None and setting.motor_current_limit_a == 20.0


def test_a_guessed_chain_and_a_single_ratio_have_a_current_too(
    mid_drive: LoadedBuild, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gears_held, "USUAL_CHAIN_FORCE_N", 1200.0)
    setting = gear_setting_of(ridden(mid_drive, {CHAIN: None}))
    assert setting is not None and setting.peak_chain_force_n <= 1200.0
    one = gear_setting_of(
        ridden(mid_drive, {CHAIN: None, "drive.gears.ratios": [1.0], "drive.gears.efficiencies": None})
    )
    assert one is not None and one.gear == 0 and "in gear" not in one.words()


def test_most_goes_through_where_legs_and_gear_make_it_most(mid_drive: LoadedBuild) -> None:
    """Rows by hand: a larger push in a gear that leads less of it into the hub is not the most, nor one alone."""
    ride = ridden(mid_drive, {})
    share = [in_gear(ride.params, at).input_per_force for at in (0, 2)]
    more, less = (1, 3) if share[0] > share[1] else (3, 1)
    raised = 0.9 * max(share) / min(share)
    assert raised > 1.05
    rows = np.zeros((3, len(Channel)))
    for row, (gear, motor, legs, at_m) in zip(
        rows, ((more, 95.0, 0.0, 1e3), (more, 50.0, 50.0, 2e3), (less, 100.0 * raised, 0.0, 3e3)), strict=True
    ):
        row[[Channel.GEAR, Channel.MOTOR_FORCE, Channel.PEDAL_FORCE, Channel.DISTANCE]] = gear, motor, legs, at_m
    assert gears_held._where(replace(ride, raw=ride.raw._replace(trace=rows))) == (more, 2.0)


def test_two_different_drives_are_told_no_current(mid_drive: LoadedBuild, root: Path) -> None:
    ride = ridden(mid_drive, {HUB: 50.0})
    second = load_build(root / "configs" / "longtail-two-drives.toml").build.second
    both = replace(ride, loaded=replace(ride.loaded, build=ride.build.model_copy(update={"second": second})))
    assert gear_setting_of(ride) is not None and gear_setting_of(both) is None


def test_a_sure_current_is_the_first_that_one_in_twenty_do_not_bear(
    mid_drive: LoadedBuild, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Steps of 8 % down, whole amperes; it is ridden, and where this bike does not arrive with it that is said."""
    ride = ridden(mid_drive, {HUB: 50.0}, 200.0)
    outlook = outlook_of(ride)
    found = replace(outlook.gear_setting, motor_current_limit_a=30.0)
    outlook = replace(outlook, gear_setting=found)
    monkeypatch.setattr(gear_setting, "_too_much", lambda ride, amps: 0.051 if amps > 24.0 else 0.049)
    fails = SimpleNamespace(figures=SimpleNamespace(finished=False))
    monkeypatch.setattr(gear_setting, "with_current", lambda ride, amps: fails)
    told = with_gear_chances(ride, outlook).gear_setting
    assert (told.chance_too_much, told.sure_limit_a, told.sure_arrives) == (0.051, 24.0, False)
    assert told.words().endswith("of twenty at most, but with it this one does not arrive.")
    monkeypatch.setattr(gear_setting, "_too_much", lambda ride, amps: 0.051)
    assert with_gear_chances(ride, outlook).gear_setting.words().endswith("and no lower limit is sure.")
    stuck = replace(outlook, gear_setting=replace(found, arrives=False))
    assert with_gear_chances(ride, stuck) is stuck
    monkeypatch.setattr(gear_setting, "is_certain", lambda loaded, road: True)
    assert with_gear_chances(ride, outlook) is outlook
