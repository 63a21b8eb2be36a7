"""What is told of each of two different drives: its own limits, figures and bounds, never those of the other."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import load_build
from ridesim.engine.params import both_parameters
from ridesim.engine.state import Limit, Total
from ridesim.report.ride.figures import draw
from ridesim.report.ride.panels import bounds_of
from ridesim.ride.cooling import rest_from_hottest_s
from ridesim.ride.drives import each_drive
from ridesim.ride.figures import last_bound
from ridesim.ride.judge import judge
from ridesim.ride.simulate import Ride, simulate
from ridesim.ride.stuck import grip_of_both
from ridesim.road.made import make_climb
from ridesim.workshop.wire.harness import habits_of
from ridesim.workshop.wire.two_drives import harness_of_ride

DEMO = Path(__file__).parents[2] / "configs" / "longtail-two-drives.toml"
BOTH_FIXED = {
    "second.drive.coupling": "fixed", "second.controller.field_weakening_current_a": 5.0,
    "controller.field_weakening_current_a": 5.0, "second.controller.commutation": "six_step",
    "second.motor.insulation_class": "B",
}  # fmt: skip
G = 9.80665


@pytest.fixture(scope="module")
def ride() -> Ride:
    """Both fixed, the second of another class and commutation, up a short slope."""
    return simulate(load_build(DEMO, BOTH_FIXED), make_climb(600.0, 7.0))


def with_totals(ride: Ride, which: Total, first: float, second: float) -> Ride:
    """The ride with one running figure of each drive typed by hand."""
    assert ride.raw.second is not None
    mine, other = ride.raw.second.first_totals.copy(), ride.raw.second.totals.copy()
    mine[which], other[which] = first, second
    raw = ride.raw._replace(second=ride.raw.second._replace(first_totals=mine, totals=other))
    return replace(ride, raw=raw)


def test_every_limit_of_a_drive_is_held_for_both(ride: Ride) -> None:
    """Typed by hand: what each motor and controller has of its own. A name left out would never judge the second."""
    findings = judge(with_totals(ride, Total.TOP_SPEED, 40.0, 40.0)).findings
    for name in ("winding", "magnets", "controller", "supply_voltage", "time_on_a_bound", "field_lost"):
        subjects = [each.subject.split(",")[0] for each in findings if each.name == name]
        assert list(dict.fromkeys(subjects)) == ["first drive", "second drive"], name
    told = {each.name: each.reason for each in findings if each.subject.startswith("second drive")}
    assert "class B allows 130" in told["winding"] and "stands 63 V" in told["supply_voltage"]


def test_a_second_drive_beyond_its_voltage_stops_the_bike(ride: Ride) -> None:
    second = ride.raw.second
    assert second is not None
    seconds = second.limit_seconds.copy()
    seconds[Limit.OVER_SPEED] = 3.0
    beyond = replace(ride, raw=ride.raw._replace(second=second._replace(limit_seconds=seconds)))
    (held,) = [each for each in judge(beyond).findings if each.name == "over_speed"]
    assert (held.subject, held.verdict) == ("second drive", "stop")
    assert held.reason.startswith("Second drive: For 3 s the back-EMF passed the pack voltage")


@pytest.mark.parametrize(("which", "name"), [(Total.PEAK_BODY, "magnets"), (Total.PEAK_CONTROLLER, "controller")])
def test_a_hot_second_drive_stops_the_bike(ride: Ride, which: Total, name: str) -> None:
    """Grade H bears 120 degC, the controller gives nothing above 100: just outside, in one drive alone."""
    allowed = {"magnets": 120.0, "controller": 100.0}[name]
    for drive, typed in (("first drive", (allowed + 1.0, 25.0)), ("second drive", (25.0, allowed + 1.0))):
        held = judge(with_totals(ride, which, *typed))
        assert held.word == "stop"
        assert [each.subject for each in held.findings if each.verdict == "stop"] == [drive]


def test_both_windings_are_told_where_all_is_well(ride: Ride) -> None:
    calm = with_totals(ride, Total.PEAK_WINDING, 41.0, 52.0)
    quiet = np.zeros_like(ride.raw.limit_seconds)
    second = calm.raw.second
    assert second is not None
    raw = calm.raw._replace(limit_seconds=quiet, second=second._replace(limit_seconds=quiet))
    (told,) = judge(replace(calm, raw=raw)).reasons
    assert "first drive's winding never above 41 °C of 155 °C" in told
    assert "second drive's winding never above 52 °C of 130 °C" in told


def test_the_bound_of_the_second_is_told_where_the_first_has_none(ride: Ride) -> None:
    second = ride.raw.second
    assert second is not None
    for first, other, last in (
        (Limit.NONE, Limit.PACK_CURRENT, Limit.PACK_CURRENT), (Limit.GRIP, Limit.PACK_CURRENT, Limit.GRIP),
        (Limit.NONE, Limit.NONE, Limit.NONE),
    ):  # fmt: skip
        totals, own = ride.raw.totals.copy(), second.totals.copy()
        totals[Total.LAST_LIMIT], own[Total.LAST_LIMIT] = first, other
        assert last_bound(ride.raw._replace(totals=totals, second=second._replace(totals=own))) == last


def test_each_drive_ends_as_its_own_trace_does(ride: Ride) -> None:
    first, second = each_drive(ride)
    for drive, prefix in ((first, ""), (second, "second_")):
        for node in ("winding", "body", "controller"):
            end = float(ride.trace[f"{prefix}{node}_temp_c"].iloc[-1])
            assert getattr(drive.raw.end, f"{node}_temp") == pytest.approx(end, abs=0.01)
    assert abs(first.raw.end.winding_temp - second.raw.end.winding_temp) > 5.0


def test_a_rest_is_told_for_each_drive(ride: Ride) -> None:
    hot = with_totals(ride, Total.PEAK_WINDING, 90.0, 130.0)
    rests = [drive["rest_to_cool_min"] for drive in hot.summary["drives"]]
    by_hand = [rest_from_hottest_s(each) / 60.0 for each in each_drive(hot)]
    assert rests == pytest.approx(by_hand, rel=1e-9) and rests[0] != pytest.approx(rests[1], rel=0.02)


def test_a_current_is_told_as_its_own_commutation_reads_it(ride: Ride) -> None:
    """Six-step: DC-equivalent, as the step has it; sine: amplitude, 2/sqrt(3) of it."""
    second = ride.raw.second
    assert second is not None
    assert each_drive(ride)[1].trace["motor_current_a"].max() == pytest.approx(35.0, rel=1e-3)
    assert ride.trace["second_motor_current_a"].max() == pytest.approx(35.0, rel=1e-3)
    assert ride.trace["motor_current_a"].max() == pytest.approx(45.0, rel=1e-3)


def test_without_regen_neither_brakes() -> None:
    keys = {**BOTH_FIXED, **{f"{at}controller.brake_current_limit_a": 30.0 for at in ("", "second.")}}
    down = make_climb(400.0, -8.0)
    loaded = load_build(DEMO, {**keys, "pack.start_charge_fraction": 0.5})
    for regen in (True, False):
        braked = [each.figures.peak_brake_current_a for each in each_drive(simulate(loaded, down, regen=regen))]
        assert all(each > 1.0 for each in braked) if regen else braked == pytest.approx([0.0, 0.0], abs=1e-9)


def test_a_voltage_throttle_is_not_shared_with_gears() -> None:
    from ridesim.bike.second import why_not_together

    build = load_build(DEMO).build
    assert build.second is not None and why_not_together(build) is None

    def lawful(box: Any) -> Any:
        return box.model_copy(update={"throttle_law": "voltage"})

    second = build.second.model_copy(update={"controller": lawful(build.second.controller)})
    plain = build.model_copy(update={"controller": lawful(build.controller), "second": second})
    assert why_not_together(plain) is None
    gears = build.drive.gears.model_copy(update={"ratios": (2.0, 1.0)})
    geared = plain.model_copy(update={"drive": build.drive.model_copy(update={"gears": gears})})
    told = why_not_together(geared)
    assert told is not None and "shares a voltage throttle with a drive of gears" in told[1]


def test_one_voltage_throttle_at_a_planned_speed_lets_both_together_push_with_nothing() -> None:
    """By hand: both see d U; each pushes with k (d U - k v)/R, k = K G/r. The two sum to nothing."""
    p = both_parameters(load_build(DEMO).build)
    q = p.second
    assert q is not None
    k, other = (each.torque_constant * each.turned for each in (p, q))
    asked = k * p.common_duty
    assert asked == pytest.approx(other * q.common_duty, rel=1e-12) and k != pytest.approx(other, rel=0.05)
    assert k * (asked - k) / p.resistance + other * (asked - other) / q.resistance == pytest.approx(0.0, abs=1e-9)


def test_each_controller_is_let_charge_by_its_share_of_the_pack_limits() -> None:
    """The default: 20 A and 15 A share three cells of 3 A, and what a full pack has room for."""
    p = both_parameters(load_build(DEMO).build)
    assert p.second is not None
    assert p.charge_current == pytest.approx(9.0 * 20.0 / 35.0)
    assert p.room_share == pytest.approx(20.0 / 35.0)
    assert p.second.charge_current == pytest.approx(9.0 * 15.0 / 35.0)
    assert p.second.room_share == pytest.approx(15.0 / 35.0)


def test_both_grips_on_the_level_are_the_whole_weight() -> None:
    """Driven at both wheels: mu m g, wherever the mass lies (moments); at one: what that wheel bears."""
    ice = {"bicycle.grip": 0.1}
    p = simulate(load_build(DEMO, ice), make_climb(20.0, 0.0), trace=False).params
    assert p.second is not None
    assert grip_of_both(p, p.second) == pytest.approx(0.1 * p.mass * G, rel=1e-9)
    same = {**ice, "second.drive.driven_wheel": "rear"}
    p = simulate(load_build(DEMO, same), make_climb(20.0, 0.0), trace=False).params
    assert p.second is not None
    assert grip_of_both(p, p.second) == p.drive_grip < 0.09 * p.mass * G


def test_the_highest_voltage_takes_in_a_measured_offset() -> None:
    """Before the start, at rest: cells in series at the charge's voltage, and the pack's own offset."""
    flat = make_climb(50.0, 1.0)
    found = [simulate(load_build(DEMO, {"pack.open_circuit_offset_v": by}), flat).figures.highest_pack_voltage_v
             for by in (0.0, 1.5)]  # fmt: skip
    assert found[1] - found[0] == pytest.approx(1.5, abs=1e-6)


def words(axes: Any) -> str:
    return "\n".join(text.get_text() for text in axes.texts)


def test_pictures_show_each_drive_with_its_own_limits(ride: Ride) -> None:
    hot = with_totals(ride, Total.PEAK_WINDING, 61.0, 77.0)
    first, second, pack, *_ = draw(hot, "currents").axes
    assert "limit 45 A" in words(first) and "limit 35 A" in words(second)
    assert "limit 35 A" in words(pack)  # 20 A and 15 A
    first, second, _ = draw(hot, "temperatures").axes
    assert "61 °C" in words(first) and "class F 155 °C" in words(first)
    assert "77 °C" in words(second) and "class B 130 °C" in words(second)


def test_a_freewheel_is_drawn_without_the_bounds_of_braking() -> None:
    keys = {f"{at}controller.brake_current_limit_a": 30.0 for at in ("", "second.")}
    ridden = simulate(load_build(DEMO, keys), make_climb(100.0, 2.0))
    first, second = (bounds_of(each) for each in each_drive(ridden))
    assert first == ((45.0, 30.0), (20.0, pytest.approx(9.0 * 20.0 / 35.0)))
    assert second == ((35.0, None), (15.0, None))
    assert bounds_of(replace(ridden, options=replace(ridden.options, regen=False))) == ((45.0, None), (20.0, None))


@pytest.mark.parametrize(("hot", "whose"), [((61.0, 77.0), "second drive"), ((77.0, 61.0), "first drive")])
def test_the_way_shows_the_hotter_drive(ride: Ride, hot: tuple[float, float], whose: str) -> None:
    figure = draw(with_totals(ride, Total.PEAK_WINDING, *hot), "way")
    assert [axes.get_ylabel() for axes in figure.axes][-1].startswith(f"{whose}, winding")


def test_the_copper_of_both_is_judged_by_each_drive(ride: Ride) -> None:
    habits = habits_of(ride.build)
    calm = harness_of_ride(ride, habits)
    assert calm.verdict == "fine" and calm.currents.controller_limit_a == 35.0  # 20 A and 15 A: what both may draw
    assert calm.leads[0].load.length_m == habits.pack_length_m
    assert [part.leads[0].load.length_m for part in calm.drives] == [habits.controller_length_m] * 2
    # A resistor cannot charge what a controller draws while it fills: that is a drive's own fault, and the bike's.
    stopped = harness_of_ride(ride, habits, standby_power_w=60.0)
    assert {part.verdict for part in stopped.drives} == {stopped.verdict} != {"fine"}
    assert "first drive: pre-charge" in stopped.reason and "second drive: pre-charge" in stopped.reason
    assert all(part.precharge is None for part in harness_of_ride(ride, habits, precharged=False).drives)
