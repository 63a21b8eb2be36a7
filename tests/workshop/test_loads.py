"""Loads of a ride: running means and stays against hand-made courses, stages against the drive's own figures."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ridesim.bike.load import load_build, replace_keys
from ridesim.errors import RideError, RidesimError
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.workshop.belt.design import Judging
from ridesim.workshop.belt.of_build import drive_of_build
from ridesim.workshop.check.sheet import check_build
from ridesim.workshop.loads import climb_for, loads_of, longest_above, ride_of, stage_loads, sustained
from ridesim.workshop.mount.sheet import check_mount
from ridesim.workshop.wire.flows import currents_of
from ridesim.workshop.wire.harness import design_harness, habits_of

from ..bikes import bike


def test_sustained_is_the_largest_running_mean() -> None:
    time = np.arange(0.0, 301.0)
    values = np.where((time >= 100.0) & (time <= 130.0), 10.0, 2.0)
    by_hand = (30.0 * 10.0 + 2.0 * 0.5 * 8.0 + 30.0 * 2.0) / 60.0  # 30 s high, its two ramps of 1 s, the rest low
    assert sustained(time, values) == pytest.approx(by_hand, rel=0.02)
    assert sustained(time, np.full_like(time, 3.0)) == pytest.approx(3.0, rel=1e-12)


def test_a_short_ride_is_its_own_mean() -> None:
    time = np.array([0.0, 10.0, 20.0])
    assert sustained(time, np.array([0.0, 4.0, 0.0])) == pytest.approx(2.0)


def test_longest_stay_above_a_level() -> None:
    time = np.arange(0.0, 10.0)
    values = np.array([0, 5, 5, 0, 5, 5, 5, 0, 5, 5], dtype=float)
    assert longest_above(time, values, 5.0) == pytest.approx(3.0)
    assert longest_above(time, values, 6.0) == 0.0


def test_loads_are_the_summary_s(root: Path) -> None:
    ride = simulate(root / "configs/longtail-belt.toml", make_climb(1500.0, 7.0))
    loads, summary = loads_of(ride), ride.summary
    assert loads.peak_shaft_torque_nm == pytest.approx(summary["peak_shaft_torque_nm"])
    assert loads.rms_pack_current_a == pytest.approx(summary["rms_pack_current_a"])
    assert loads.peak_motor_current_a == pytest.approx(summary["peak_motor_current_dc_equivalent_a"])
    assert loads.peak_winding_temp_c == pytest.approx(summary["peak_winding_temp_c"])
    assert loads.peak_shaft_torque_nm >= loads.sustained_shaft_torque_nm > 0.0
    assert loads.peak_motor_current_a >= loads.sustained_motor_current_a >= 0.9 * loads.rms_motor_current_a


def test_stages_pass_torque_and_speed_on(root: Path) -> None:
    loaded = load_build(root / "configs/longtail-two-stage.toml")
    loads = loads_of(ride_of(loaded, None))
    first, second = stage_loads(loaded.build, loads)
    assert first.peak_torque_nm == pytest.approx(loads.peak_shaft_torque_nm)
    assert second.peak_torque_nm == pytest.approx(first.peak_torque_nm * 2.0 * 0.97)
    assert second.speed_rpm == pytest.approx(first.speed_rpm / 2.0)
    driving = first.torque_nm > 0.0
    assert np.allclose(second.torque_nm[driving], first.torque_nm[driving] * 2.0 * 0.97)
    assert np.allclose(second.torque_nm[~driving], first.torque_nm[~driving] * 2.0 / 0.97)


def test_the_climb_takes_its_minutes(root: Path) -> None:
    build = load_build(root / "configs/longtail-belt.toml").build
    road = climb_for(build, 6.0, 10.0)
    assert road.length_m == pytest.approx(25.0 / 3.6 * 600.0)
    with pytest.raises(RidesimError, match="climb_min"):
        climb_for(build, 6.0, 0.0)


@pytest.mark.parametrize(("grade", "short"), [(2.0, False), (45.0, True)])
def test_a_ride_that_ends_early_is_no_measure_of_the_rest(root: Path, grade: float, short: bool) -> None:
    """Stuck on a wall: leads, belts and mounts sized by it say so; a road that is ridden to its end says nothing."""
    loaded = load_build(root / "configs" / "longtail-belt.toml")
    loads = loads_of(simulate(loaded, make_climb(150.0, grade)))
    assert bool(loads.cut_short) is short is not loads.finished
    harness = design_harness(currents_of(loaded.build, loads), habits_of(loaded.build))
    drive, sheet = drive_of_build(loaded, loads, Judging()), check_mount(loaded, loads)
    for verdict, words in (
        (harness.verdict, harness.reason),
        (drive.verdict, drive.reason),
        (sheet.verdict, "; ".join(sheet.reasons)),
    ):
        assert ("the ride ends early" in words) is short
        assert verdict != "fine" or not short
    assert not loads_of(ride_of(loaded, None)).cut_short


def test_what_is_fine_on_a_ride_that_ends_early_is_looked_at_again(root: Path, monkeypatch) -> None:
    """Belts, leads and mounts that a short ride finds fine are not known to be so on the rest of the road."""
    loaded = load_build(root / "configs" / "longtail-belt.toml")
    whole = loads_of(simulate(loaded, make_climb(150.0, 2.0)))
    short = replace(whole, cut_short="the ride ends early")
    calm = replace(drive_of_build(loaded, whole, Judging()), verdict="fine", reason="calm")
    monkeypatch.setattr("ridesim.workshop.belt.of_build._judged", lambda *_: calm)
    drives = [drive_of_build(loaded, each, Judging()) for each in (whole, short)]
    assert [each.verdict for each in drives] == ["fine", "look again"] and drives[1].reason == "the ride ends early"
    copper = [design_harness(currents_of(loaded.build, each), habits_of(loaded.build)) for each in (whole, short)]
    assert copper[0].verdict == "fine" and (copper[1].verdict, copper[1].reason) == ("look again", short.cut_short)


def test_a_ride_without_a_trace_is_refused(root: Path) -> None:
    loaded = replace_keys(load_build(root / "configs/longtail-belt.toml"), {})
    with pytest.raises(RideError, match="trace"):
        loads_of(simulate(loaded, make_climb(200.0, 2.0), trace=False))


def test_braking_harder_than_it_drives_is_the_peak_of_the_leads() -> None:
    """Driving is held to 20 A, braking to 50: down a hill the phase leads see the braking current, and check answers.

    The figures are amplitudes of a sine drive: DC-equivalent they are sqrt(3)/2 of it (Hendershot and Miller 2010).
    """
    loaded = bike({"controller.motor_current_limit_a": 20.0, "controller.pack_current_limit_a": 8.0,
                   "motor.kv_rpm_per_v": 161.0, "pack.start_charge_fraction": 0.5})  # fmt: skip
    road = make_climb(1500.0, -6.0)
    ride = simulate(loaded, road)
    loads = loads_of(ride)
    brakes = ride.figures.peak_brake_current_a
    assert brakes > 20.0
    assert loads.peak_motor_current_a == pytest.approx(brakes * 3.0**0.5 / 2.0)
    assert loads.peak_motor_current_a >= loads.rms_motor_current_a
    assert check_build(loaded, road).loads.peak_motor_current_a == pytest.approx(loads.peak_motor_current_a)
