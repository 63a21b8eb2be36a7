"""Windings that are ridden: the ride judges the heat, and what is proposed was ridden."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.engine.estimates import estimate
from ridesim.report.view import view_text
from ridesim.report.winding.view import _limit_words, view
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.workshop.level_run import run_level
from ridesim.workshop.loads import loads_of, ride_of
from ridesim.workshop.winding.motor import Winding, WoundMotor
from ridesim.workshop.winding.plan import Rider, plan_rewind
from ridesim.workshop.winding.rewind import Rewind
from ridesim.workshop.winding.ridden import RiddenWinding, ride_winding, with_winding

TODAY = Winding(7, 6, 0.5, "delta")


@pytest.fixture(scope="module")
def belt(root: Path) -> LoadedBuild:
    return load_build(root / "configs/longtail-belt.toml")


def motor_of(loaded: LoadedBuild) -> WoundMotor:
    own = loaded.build.motor
    return WoundMotor(TODAY, own.kv_rpm_per_v, own.resistance_mohm, teeth=12, slot_area_mm2=60.0)


def test_a_dense_current_that_the_ride_finds_fine_is_no_stop(belt: LoadedBuild) -> None:
    torque = loads_of(ride_of(belt, None)).sustained_shaft_torque_nm
    thin = dataclasses.replace(TODAY, strands=5)
    alone = plan_rewind(motor_of(belt), thin, torque_nm=torque)
    assert (alone.new.current_density_a_per_mm2 or 0.0) > 10.0
    assert (alone.verdict, "name a BUILD" in alone.reason) == ("look again", True)
    ridden = plan_rewind(motor_of(belt), thin, torque_nm=torque, rider=Rider(belt))
    assert ridden.new_ridden is not None and ridden.today_ridden is not None
    assert ridden.verdict == "fine", ridden.reason
    assert "ridden (climb of 6 % for 10 min)" in ridden.reason
    assert ridden.today_ridden.peak_winding_temp_c is not None and ridden.new_ridden.peak_winding_temp_c is not None
    assert ridden.new_ridden.peak_winding_temp_c > ridden.today_ridden.peak_winding_temp_c


def test_the_ride_is_that_of_the_new_motor(belt: LoadedBuild) -> None:
    unread = replace_keys(belt, {"motor.no_load": None})
    own = unread.build.motor
    made = ride_winding(unread, 0.7 * own.kv_rpm_per_v, 1.4 * own.resistance_mohm, None)
    keys = {
        "motor.kv_rpm_per_v": 0.7 * own.kv_rpm_per_v,
        "motor.resistance_mohm": 1.4 * own.resistance_mohm,
        "motor.inductance_uh": own.inductance_uh / 0.49,
    }
    direct = loads_of(ride_of(replace_keys(unread, keys), None))
    assert made.peak_winding_temp_c == pytest.approx(direct.peak_winding_temp_c, abs=1e-9)
    assert made.mean_speed_km_h == pytest.approx(3.6e3 * direct.distance_km / direct.total_time_s)


def test_a_winding_with_its_own_bench_readings_keeps_its_drag_torque(belt: LoadedBuild) -> None:
    points = [{"speed_rpm": 1000.0, "current_a": 0.5}, {"speed_rpm": 4000.0, "current_a": 1.1}]
    read = replace_keys(belt, {"motor.no_load": points})
    wound = with_winding(read, 0.5 * read.build.motor.kv_rpm_per_v, 4.0 * read.build.motor.resistance_mohm)
    before, after = estimate(read.build), estimate(wound.build)
    assert after.hysteresis_torque_nm == pytest.approx(before.hysteresis_torque_nm)
    assert after.eddy_torque_nm_s == pytest.approx(before.eddy_torque_nm_s)
    assert wound.build.motor.inductance_uh == pytest.approx(4.0 * read.build.motor.inductance_uh)


@pytest.mark.parametrize(("limit_above_k", "verdict"), [(16.0, "fine"), (14.0, "look again"), (-1.0, "stop")])
def test_the_winding_is_judged_just_inside_and_just_outside(
    belt: LoadedBuild, limit_above_k: float, verdict: str
) -> None:
    """The resistance of the winding is tuned until the climb takes it so far from its limit of 105 °C."""
    cool = replace_keys(belt, {"motor.insulation_class": "A", "motor.magnet_grade": "EH"})
    own = cool.build.motor
    low, high, wanted = 0.5, 6.0, 105.0 - limit_above_k

    def ridden(factor: float) -> tuple[float, str]:
        found = ride_winding(cool, own.kv_rpm_per_v, factor * own.resistance_mohm, None)
        assert found.peak_winding_temp_c is not None
        return found.peak_winding_temp_c, found.verdict

    for _ in range(14):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if ridden(middle)[0] < wanted else (low, middle)
    hot, said = ridden(0.5 * (low + high))
    assert hot == pytest.approx(wanted, abs=0.3)
    assert said == verdict


def test_a_motor_whose_keys_leave_their_ranges_is_a_stop_in_words(belt: LoadedBuild) -> None:
    """0.1 mΩ is the least that a build may have: just there it is ridden, just below it is no motor."""
    own = belt.build.motor
    least, less = (ride_winding(belt, own.kv_rpm_per_v, ohm, None) for ohm in (0.1, 0.0999))
    assert (least.verdict, least.arrived) == ("fine", True)
    assert (less.verdict, less.arrived, less.peak_winding_temp_c) == ("stop", False, None)
    assert "motor.resistance_mohm = 0.0999 is out of range" in less.reason


def test_a_winding_that_cannot_start_the_bike_is_a_stop_in_words(belt: LoadedBuild) -> None:
    own = belt.build.motor
    fast = ride_winding(belt, 60.0 * own.kv_rpm_per_v, own.resistance_mohm, None)
    assert (fast.verdict, fast.arrived, fast.peak_winding_temp_c) == ("stop", False, None)
    assert "cannot turn the wheel" in fast.reason or "out of range" in fast.reason


@pytest.mark.parametrize(("above", "verdict"), [(1.02, "fine"), (0.97, "look again")])
def test_a_winding_for_a_lower_top_speed_than_is_wanted_is_looked_at_again(
    belt: LoadedBuild, above: float, verdict: str
) -> None:
    """The climb is ridden for its minutes and would call a crawl an arrival; 1 % of speed is rounding."""
    own = belt.build.motor
    slow = 0.4 * own.kv_rpm_per_v, own.resistance_mohm / 0.16
    top = run_level(with_winding(belt, *slow), 1.0).top_speed_km_h
    wishing = replace_keys(belt, {"rider.cruise_speed_km_h": top / above})
    found = ride_winding(wishing, *slow, None)
    assert found.top_speed_km_h == pytest.approx(top, abs=0.05)
    assert found.verdict == verdict, found.reason
    assert ("top speed, full pack" in found.reason) == (verdict == "look again")


def test_a_winding_that_turns_too_fast_for_the_controller_is_no_fine(belt: LoadedBuild) -> None:
    own = belt.build.motor
    hz = {"controller.electrical_frequency_limit_hz": 700.0}
    assert ride_winding(replace_keys(belt, hz), own.kv_rpm_per_v, own.resistance_mohm, None).verdict == "fine"
    fast = ride_winding(replace_keys(belt, hz), 1.6 * own.kv_rpm_per_v, own.resistance_mohm / 2.56, None)
    assert fast.verdict != "fine" and "Hz" in fast.reason


@pytest.mark.parametrize(("kv", "said"), [(50.0, "today's greatest torque takes 40 A"), (97.0, "")])
def test_another_kv_is_another_current_limit(belt: LoadedBuild, kv: float, said: str) -> None:
    """80 A at 100 rpm/V are the torque of 40 A at 50: the ride is told to keep the limit; a reason ends once."""
    plan = plan_rewind(motor_of(belt), wanted_kv_rpm_per_v=kv, rider=Rider(belt, make_climb(300.0, 4.0)))
    new = dataclasses.replace(plan.new, kv_rpm_per_v=kv)
    text = " ".join(view_text(view(dataclasses.replace(plan, new=new), pictures=False)).split())
    assert ("controller.motor_current_limit_a as it is, 80 A" in text) is bool(said) and said in text
    steep = ride_winding(belt, kv, 30.0, make_climb(300.0, 45.0))
    assert steep.verdict == "stop" and not steep.reason.endswith(".") and ".;" not in steep.reason


def test_of_those_near_a_kv_the_gentlest_ride_is_proposed(belt: LoadedBuild) -> None:
    weak = replace_keys(belt, {"weather.temperature_c": 45.0, "bicycle.cargo_kg": 120.0, "motor.insulation_class": "A"})
    road = make_climb(6000.0, 9.0)
    plan = plan_rewind(motor_of(weak), wanted_kv_rpm_per_v=85.0, rider=Rider(weak, road))
    order = ("fine", "look again", "stop")
    ridden = [each.ridden for each in plan.candidates[:10]]
    assert all(each is not None for each in ridden)
    near = [(each.result.verdict, each.ridden.verdict) for each in plan.candidates[:10] if each.ridden]
    worst = [max(map(order.index, pair)) for pair in near]
    chosen = next(at for at, each in enumerate(plan.candidates) if each.result is plan.new)
    assert worst[chosen] == min(worst) and chosen == worst.index(min(worst))
    assert order.index(plan.verdict) == worst[chosen]
    again = simulate(with_winding(weak, plan.new.kv_rpm_per_v, plan.new.resistance_mohm), road)
    assert plan.new_ridden is not None
    assert plan.new_ridden.peak_winding_temp_c == pytest.approx(again.summary["peak_winding_temp_c"], abs=1e-9)


@pytest.mark.parametrize(("too_hot", "place"), [((), 0), ((0,), 1), ((0, 1), 2), ((0, 1, 2), 0)])
def test_a_nearer_winding_that_the_ride_stops_is_passed_over(
    belt: LoadedBuild, monkeypatch: pytest.MonkeyPatch, too_hot: tuple[int, ...], place: int
) -> None:
    """With all of them stopped the nearest is named, and the plan says stop."""
    motor = motor_of(belt)
    near = plan_rewind(motor, wanted_kv_rpm_per_v=70.0).candidates
    assert len(near) == 3
    burnt = {near[at].result.kv_rpm_per_v for at in too_hot}
    plain = Rider.ride

    def ride(self: Rider, made: Rewind) -> RiddenWinding:
        found = plain(self, made)
        hot = made.kv_rpm_per_v in burnt
        return dataclasses.replace(found, verdict="stop", reason="too hot") if hot else found

    monkeypatch.setattr(Rider, "ride", ride)
    plan = plan_rewind(motor, wanted_kv_rpm_per_v=70.0, rider=Rider(belt))
    assert plan.new.winding == near[place].result.winding
    assert plan.verdict == ("stop" if len(too_hot) == 3 else "fine")


@pytest.mark.parametrize(
    ("kv", "said"), [(94.0, "75 A: left as it is the motor pulls harder"), (96.0, ""), (104.0, ""),
                     (106.0, "85 A: left as it is the motor pulls less")],
)  # fmt: skip
def test_less_kv_pulls_harder_at_the_same_limit_and_more_kv_less(kv: float, said: str) -> None:
    """Torque per ampere is 1/Kv: 80 A at 100 rpm/V are 75 A at 94; within 5 % nothing is said."""
    plan: Any = SimpleNamespace(new=SimpleNamespace(kv_rpm_per_v=kv), today=SimpleNamespace(kv_rpm_per_v=100.0))
    words = _limit_words(plan, SimpleNamespace(motor_current_limit_a=80.0))  # type: ignore[arg-type]
    assert bool(words) is bool(said) and said in " ".join(words)
