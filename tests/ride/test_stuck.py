"""A bike that got stuck says where, how steep it is there, what it can start on, and what helps."""

from __future__ import annotations

import math
from types import SimpleNamespace

import pytest

from ridesim.engine.state import Law, Limit
from ridesim.ride.judge import judge
from ridesim.ride.simulate import Ride, simulate
from ridesim.ride.stuck import held_by, starts_on_percent, why_stuck
from ridesim.road.made import make_climb, make_ramp
from ridesim.studies.run_up import steepest_start_percent

from ..bikes import bike


@pytest.fixture(scope="module")
def stuck() -> Ride:
    """A ride into a wall of 60 % behind 300 m of level road."""
    return simulate(bike(), make_ramp(300.0, 400.0, 60.0, name="wall"))


def test_it_says_where_and_how_steep(stuck: Ride) -> None:
    why = why_stuck(stuck)
    assert why is not None
    assert 0.25 < why.at_km < 0.35 and why.at_km == pytest.approx(stuck.figures.distance_km)
    assert why.place.grade[0] > 0.1 and why.place.looks_like == "made"
    assert stuck.summary["stuck"]["grade_10m_percent"] == pytest.approx(100.0 * why.place.grade[0])
    (reason, *_) = judge(stuck).reasons
    assert "got stuck at 0.3 km" in reason and "over 10 m" in reason and "starts on up to" in reason
    assert "What helps:" in reason
    assert "mi:" in judge(stuck, "imperial").reasons[0]


def test_a_ride_that_arrives_is_not_stuck() -> None:
    ride = simulate(bike(), make_climb(500.0, 2.0))
    assert why_stuck(ride) is None and ride.summary["stuck"] is None


def test_what_it_starts_on_is_what_it_starts_on() -> None:
    """The told grade just inside and just outside: a ride from rest on that grade all the way."""
    loaded = bike({"controller.motor_current_limit_a": 30.0, "bicycle.mass_centre_height_mm": 500.0})
    told = starts_on_percent(simulate(loaded, make_climb(20.0, 1.0)))
    assert 3.0 < told < 40.0
    assert simulate(loaded, make_climb(60.0, 0.97 * told)).finished
    beyond = simulate(loaded, make_climb(60.0, 1.03 * told))
    assert beyond.figures.stop == "stalled"


def test_under_the_assist_law_it_starts_on_what_legs_and_their_share_move() -> None:
    """A bike that stood still on 29 % was told to start on 44 %: its motor's limit, which the law does not give."""
    law = {"controller.throttle_law": "assist", "controller.assist_factor": 1.5, "rider.power_w": 120.0}
    loaded = bike({**law, "bicycle.mass_centre_height_mm": 500.0})
    told = starts_on_percent(simulate(loaded, make_climb(20.0, 1.0)))
    assert 3.0 < told < 40.0
    assert simulate(loaded, make_climb(60.0, 0.97 * told)).finished
    beyond = simulate(loaded, make_climb(60.0, 1.03 * told))
    why = why_stuck(beyond)
    assert why is not None and why.held_by == "assist" and "assist_factor" in why.what_helps
    assert "What held it: the share of the pedal power" in why.words()
    (arrival,) = [each for each in judge(beyond).findings if each.name == "arrival"]
    assert arrival.cure == why.what_helps  # "slower gearing or more motor" moves nothing under that law
    assert steepest_start_percent(simulate(loaded, make_climb(20.0, 0.0))) == pytest.approx(told, rel=5e-3)


@pytest.mark.parametrize(
    ("law", "held", "named"),
    [(Law.ASSIST, Limit.NONE, "assist"), (Law.ASSIST, Limit.MOTOR_CURRENT, "motor_current"),
     (Law.TORQUE, Limit.NONE, "none")],
)  # fmt: skip
def test_the_share_of_the_legs_holds_a_bike_only_where_no_bound_does(law, held, named, monkeypatch) -> None:
    monkeypatch.setattr("ridesim.ride.stuck.last_bound", lambda _: held)
    assert held_by(SimpleNamespace(raw=None, params=SimpleNamespace(law=law))) == named


def test_it_starts_on_nothing_steeper_than_the_tyre_grips() -> None:
    """mu on a rear wheel that carries all: tan(theta) = mu - C_rr is the most any bike starts on."""
    ice = bike({"bicycle.grip": 0.1})
    told = starts_on_percent(simulate(ice, make_climb(20.0, 0.0)))
    assert told < 100.0 * math.tan(math.atan(0.1))


@pytest.mark.parametrize("looks_like", ["recorder", "road"])
def test_what_helps_on_a_slope_that_may_be_the_recorder_s_is_told_too(stuck, looks_like, monkeypatch) -> None:
    """Only "look at the recording" was told to a trike that starts on 17 %, on a ramp that was the road."""
    place = SimpleNamespace(looks_like=looks_like, words="24 % over 10 m")
    monkeypatch.setattr("ridesim.ride.stuck.place_report", lambda *_: place)
    why = why_stuck(stuck)
    assert why is not None and "less load, or walk that stretch" in why.what_helps
    assert why.what_helps.startswith("look at the recording") == (looks_like == "recorder")
