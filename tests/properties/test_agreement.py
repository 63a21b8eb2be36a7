"""Commands that judge the same limit on the same ride never disagree; what is proposed is not stopped by the ride."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ridesim.bike.load import LoadedBuild
from ridesim.errors import BuildError
from ridesim.ride.judge import judge
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb, make_flat, make_hills, make_ramp
from ridesim.road.profile import Road
from ridesim.studies.climb import climb
from ridesim.studies.compare import compare
from ridesim.studies.ratios import ratios
from ridesim.workshop.check.sheet import check_build

from ..bikes import bike

ROADS = (
    *(make_climb(1500.0, grade) for grade in (-12.0, -6.0, -4.0, -2.0, 0.0, 1.5, 3.0, 4.5, 6.0, 7.5, 9.0, 11.0, 14.0)),
    make_climb(4000.0, 5.0),
    make_climb(3000.0, -8.0),
    make_hills(3000.0, 15.0, 700.0),
    make_hills(5000.0, 40.0, 1500.0),
    make_ramp(300.0, 500.0, 22.0),
    make_ramp(800.0, 300.0, 16.0, run_out_m=800.0),
    make_flat(3000.0),
)

CHANGES = st.fixed_dictionaries({
    "motor.kv_rpm_per_v": st.floats(60.0, 200.0),
    "motor.resistance_mohm": st.floats(10.0, 120.0),
    "motor.winding_to_body_w_per_k": st.floats(0.6, 5.0),
    "motor.magnet_grade": st.sampled_from(["plain", "M", "H"]),
    "motor.insulation_class": st.sampled_from(["A", "F", "H"]),
    "controller.motor_current_limit_a": st.floats(20.0, 120.0),
    "controller.pack_current_limit_a": st.floats(8.0, 60.0),
    "controller.voltage_limit_v": st.sampled_from([None, 50.0, 56.0, 80.0]),
    "pack.parallel": st.integers(2, 7),
    "pack.start_charge_fraction": st.floats(0.15, 1.0),
    "drive.coupling": st.sampled_from(["fixed", "freewheel"]),
    "bicycle.cargo_kg": st.floats(0.0, 90.0),
})  # fmt: skip


def built(changes: dict[str, Any]) -> LoadedBuild | None:
    """A random bike, or None for one that no ride accepts."""
    changes = (
        {"controller.brake_current_limit_a": 0.0, **changes} if changes["drive.coupling"] == "freewheel" else changes
    )
    try:
        return bike(changes)
    except BuildError:
        return None


def agree(changes: dict[str, Any], road: Road) -> None:
    """Hold every command's word on one ride against the ride's own."""
    loaded = built(changes)
    if loaded is None:
        return
    ride = simulate(loaded, road)
    own = judge(ride)
    word = {(each.name, each.subject): (each.verdict, each.figure, each.limit) for each in own.findings}
    sheet = check_build(loaded, road)
    seen = {(each.name, each.subject): (each.verdict, each.figure, each.limit) for each in sheet.findings}
    assert {key: seen[key] for key in word} == word
    assert ride.summary["verdict"]["word"] == own.word
    climbed = climb(loaded, road)
    assert (climbed.verdict.word, climbed.verdict.reasons) == (own.word, own.reasons)
    compared = compare([loaded, loaded], [road]).roads[0].rides[0]
    assert (compared.verdict, compared.reasons) == (own.word, own.reasons)
    if sheet.verdict != "stop":
        assert own.word != "stop"


@settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(changes=CHANGES, road=st.sampled_from(ROADS))
def test_commands_agree_on_the_same_ride(changes: dict[str, Any], road: Road) -> None:
    agree(changes, road)


@pytest.mark.slow
@settings(max_examples=200, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(changes=CHANGES, road=st.sampled_from(ROADS))
def test_commands_agree_on_the_same_ride_200_times(changes: dict[str, Any], road: Road) -> None:
    agree(changes, road)


@pytest.mark.parametrize("grade", [2.0, 4.0])
def test_the_ratio_that_is_proposed_is_not_stopped_by_its_own_ride(grade: float) -> None:
    """The proposal, built and ridden again by the ride command's own function."""
    loaded, road = bike({"drive.stage": [{"driver_teeth": 16, "driven_teeth": 72}]}), make_climb(2500.0, grade)
    found = ratios(loaded, road, [2.0, 3.0, 4.5, 6.0, 8.0, 11.0])
    assert found.choice.keeps_all
    case = found.cases[found.choice.index]
    again = judge(simulate(bike({"drive.stage": [{"ratio": case.total_ratio}]}), road))
    assert again.word == case.verdict != "stop"
