"""Heat along a climb: where limits are met, what speed is left, how long a rest takes, and what makes no sense."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from typer.testing import CliRunner

from ridesim.bike.load import load_build
from ridesim.cli.app import app
from ridesim.errors import RideError, RoadError
from ridesim.report.climb.view import _others, view
from ridesim.report.view import view_text
from ridesim.ride.judge import Finding
from ridesim.road.made import make_flat
from ridesim.studies.climb import Climb, climb

from ..bikes import bike

RIDGE = "routes/ridge-climb.gpx"


def _demo(root: Path, name: str) -> str:
    return str(root / "configs" / f"{name}.toml")


@pytest.fixture(scope="module")
def folded(root) -> Climb:
    """A grade that the belt drive's foldback, and nothing else, slows down."""
    return climb(_demo(root, "longtail-belt"), grade_percent=8.0, length_km=10.0)


@pytest.fixture(scope="module")
def burnt(root) -> Climb:
    return climb(_demo(root, "longtail-two-stage"), root / RIDGE)


def test_the_foldback_is_met_where_the_winding_says_and_tells_the_speed_left(folded):
    met = {one.name: one for one in folded.limits}["motor_temperature"]
    trace = folded.ride.trace
    first = trace[trace["limit"] == "motor_temperature"].iloc[0]
    assert met.is_foldback
    assert met.first_at_km == pytest.approx(first["distance_km"], abs=0.02)
    assert first["winding_temp_c"] > folded.motor_full_current_below_c
    on = trace[trace["limit"] == "motor_temperature"]
    assert met.slowest_km_h == pytest.approx(on["speed_km_h"].min(), rel=1e-9)
    assert met.slowest_km_h < met.planned_km_h - 3.0
    assert met.held_back_s == pytest.approx(met.seconds, rel=0.1)
    assert folded.verdict.word == "look again"


def test_the_speed_left_is_what_the_folded_current_can_hold(folded):
    """At the end of ten kilometres the bike hardly changes speed: the current left pulls just what the grade asks."""
    from ridesim.studies.steady import load_at, still_of

    end = folded.ride.trace.iloc[-1]
    p, still = folded.ride.params, still_of(folded.ride.build, 0.5)
    load = load_at(p, still, 0.08, end["speed_km_h"] / 3.6)
    k = p.torque_constant * (1.0 + p.magnet_per_k * (end["body_temp_c"] - 20.0))
    share = (135.0 - end["winding_temp_c"]) / (135.0 - 110.0)
    assert k * p.drive_current * share == pytest.approx(load.torque, rel=0.01)


def test_a_burnt_winding_is_told_with_place_and_rest(burnt):
    trace = burnt.ride.trace
    over = trace[trace["winding_temp_c"] > 155.0]
    assert burnt.winding_over_limit_from_km == pytest.approx(over["distance_km"].iloc[0], abs=0.02)
    assert burnt.winding_over_limit_s == pytest.approx(len(over), abs=5.0)
    assert burnt.peak_winding_temp_c > 200.0
    assert burnt.foldbacks == ()
    assert burnt.verdict.word == "stop"
    assert "It cooks" in view_text(view(burnt, pictures=False))


@pytest.mark.parametrize("hottest", [False, True])
def test_the_rest_is_that_of_an_ode_solver(burnt, hottest: bool):
    """The two lumps of heat, standing still, from the end and from the hottest figures."""
    p, end = burnt.ride.params, burnt.ride.raw.end
    start = [end.winding_temp, end.body_temp]
    if hottest:
        start = [burnt.peak_winding_temp_c, burnt.peak_body_temp_c]
    at_km = burnt.peak_winding_at_km if hottest else burnt.distance_km
    table = burnt.ride.trace
    air = float(np.interp(at_km, table["distance_km"], table["air_temp_c"]))

    def cool(_: float, t: np.ndarray) -> list[float]:
        through = p.winding_to_body * (t[0] - t[1])
        return [-through * p.winding_k_per_j, (through - p.enclosure * p.cooling_still * (t[1] - air)) * p.body_k_per_j]

    def cold(_: float, t: np.ndarray) -> float:
        return max(t) - 60.0

    cold.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(cool, (0.0, 36_000.0), start, events=cold, rtol=1e-8, max_step=20.0)
    wanted = float(found.t_events[0][0]) / 60.0
    told = burnt.rest_from_hottest_min if hottest else burnt.rest_min
    assert told == pytest.approx(wanted, abs=0.05)


def test_ride_and_climb_tell_one_rest(burnt):
    """The same ride, the same hottest motor, the air of the same place: twelve hundred metres up it is 8 K cooler."""
    assert burnt.ride.summary["rest_to_cool_min"] == burnt.rest_from_hottest_min
    assert burnt.ride.summary["rest_to_c"] == burnt.rest_to_c


def test_the_rest_is_in_the_air_of_the_place():
    """At the foot of a climb the air is that of the day, at its top 6.5 K a kilometre cooler (ISO 2533)."""
    from ridesim.ride.cooling import rest_from_end_s, rest_until_cool

    found = climb(
        bike({"pack.cell.capacity_ah": 60.0, "motor.resistance_mohm": 50.0}),
        grade_percent=6.0,
        length_km=10.0,
        speed_km_h=20.0,
    )
    ride, top = found.ride, 20.0 - 6.5 * found.ride.road.climb_m / 1000.0
    assert top < 16.5
    assert rest_from_end_s(ride) == pytest.approx(rest_until_cool(ride.params, ride.raw.end, 60.0, top), abs=1.0)
    assert rest_from_end_s(ride) < rest_until_cool(ride.params, ride.raw.end, 60.0, 20.0) - 5.0


def test_a_long_constant_climb_ends_at_the_steady_state():
    """Forty kilometres of 4 %: no limit, so the closed form holds; the pack is large enough to arrive."""
    strong = bike({"pack.cell.capacity_ah": 60.0, "pack.start_charge_fraction": 0.9})
    found = climb(strong, grade_percent=4.0, length_km=40.0, speed_km_h=20.0)
    assert found.arrived
    assert found.steady is not None and found.steady.winding_temp_c is not None
    # 0.0065 K/m of height cool the air on the way up: 1600 m are 10.4 K, which the motor follows.
    lapse = 0.0065 * found.ride.road.climb_m
    end = found.ride.raw.end.winding_temp
    assert found.steady.winding_temp_c - 1.5 * lapse < end < found.steady.winding_temp_c


def test_stuck_on_a_wall_is_told(root):
    found = climb(_demo(root, "longtail-hub"), grade_percent=20.0, length_km=2.0)
    assert (found.arrived, found.stop) == (False, "stalled")
    text = view_text(view(found, pictures=False))
    assert "STOP" in text
    assert "does not get up" in text
    assert found.steady is not None and not found.steady.exists
    assert "no steady state" in text


def test_places_run_up_the_road_and_hold_the_hottest(burnt):
    at = [place.distance_km for place in burnt.places]
    assert at == sorted(at)
    assert at[-1] == pytest.approx(burnt.distance_km, abs=0.02)
    assert max(place.winding_temp_c for place in burnt.places) == pytest.approx(burnt.peak_winding_temp_c, abs=0.5)


def test_a_bound_met_while_speeding_up_holds_nobody_back():
    """From rest on the level the motor current is met for seconds, and the bike gains speed all the while."""
    found = climb(bike({"controller.motor_current_limit_a": 25.0}), make_flat(1500.0))
    met = {each.name: each for each in found.limits}["motor_current"]
    assert met.seconds > 3.0 and met.held_back_s < 0.3 * met.seconds


def test_on_the_level_nothing_is_met():
    found = climb(bike(), grade_percent=0.0, length_km=3.0)
    assert [met for met in found.limits if met.held_back_s > 0.0] == []
    assert found.verdict.word == "fine"
    assert "needs no rest" in view_text(view(found, pictures=False))


@pytest.mark.parametrize(
    ("question", "error", "told"),
    [
        ({"grade_percent": 8.0}, RideError, "length"),
        ({"length_km": 8.0}, RideError, "grade"),
        ({"grade_percent": -5.0, "length_km": 1.0}, RideError, "no climb"),
        ({"grade_percent": 80.0, "length_km": 1.0}, RideError, "no climb"),
        ({"grade_percent": 8.0, "length_km": 0.0}, RideError, "--length"),
        ({"grade_percent": 8.0, "length_km": 5.0, "speed_km_h": 500.0}, RideError, "cruise_speed"),
        ({"road": "nowhere.gpx"}, RoadError, "nowhere.gpx"),
        ({"road": "x.gpx", "grade_percent": 3.0}, RideError, "both"),
    ],
)
def test_questions_that_are_none(question: dict, error: type[Exception], told: str):
    with pytest.raises(error, match=told):
        climb(bike(), **question)


def test_words_in_imperial_units_name_no_metric_ones(folded):
    text = view_text(view(folded, "imperial", pictures=False)).split("note:")[0]
    assert "mph" in text
    for word in ("km/h", "°C"):
        assert word not in text


def test_the_command_answers_in_text_and_files(ridesim_command, tmp_path):
    out, page = tmp_path / "ridge", tmp_path / "ridge.html"
    done = ridesim_command("climb", "configs/longtail-two-stage.toml", RIDGE, "--out", out, "--report", page)
    assert done.returncode == 0, done.stderr
    for word in ("STOP", "It cooks", "Standing still, it cools to 60 °C", "Along the road", "motor current"):
        assert word in done.stdout
    assert {path.name for path in out.glob("[!.]*")} == {
        "answer.txt", "answer.json", "trace.csv", "heat-along-the-climb.png",
    }  # fmt: skip
    with (out / "trace.csv").open() as source:
        rows = list(csv.DictReader(source))
    assert max(float(row["winding_temp_c"]) for row in rows) > 200.0
    assert "It cooks" in page.read_text()
    assert json.loads((out / "answer.json").read_text())["verdict"] == "stop"


def test_the_command_prints_json_alone(ridesim_command):
    done = ridesim_command("climb", "configs/longtail-belt.toml", "--grade", 8, "--length", 10, "--json")
    answer = json.loads(done.stdout)
    assert answer["schema"] == "ridesim.climb/2"
    assert answer["limits"][0]["name"] == "motor_temperature"
    assert answer["steady_state"]["winding_temp_c"] > answer["peak_winding_temp_c"]
    assert answer["rest_min"] > 5.0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("configs/longtail-belt.toml", "--grade", "8"), "length"),
        (("configs/longtail-belt.toml", "--grade", "-8", "--length", "2"), "no climb"),
        (("configs/longtail-belt.toml", RIDGE, "--grade", "8"), "both"),
        (("configs/longtail-belt.toml", RIDGE, "--map", "20"), "--map"),
        (("configs/longtail-belt.toml", "routes/none.gpx"), "none.gpx"),
        (("configs/none.toml",), "none.toml"),
    ],
)
def test_the_command_refuses_in_one_line(root, monkeypatch, words: tuple[str, ...], told: str):
    monkeypatch.chdir(root)
    done = CliRunner().invoke(app, ["climb", *words])
    assert done.exit_code == 2
    assert len(done.stderr.splitlines()) == 1
    assert told in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_demo_builds_are_told_apart(root):
    """The belt drive gets up the ridge within its limits, the two-stage drive burns: that is what it is a demo of."""
    cool = climb(load_build(_demo(root, "longtail-belt")), root / RIDGE)
    assert cool.verdict.word == "fine"
    assert cool.winding_over_limit_s == 0.0


def test_the_first_words_are_the_reason_of_the_verdict():
    """A cool motor on a bike that gets stuck, or whose cells are overloaded: "it does not cook" is not the news."""
    wall = climb(bike(), grade_percent=40.0, length_km=0.5).view(pictures=False)
    weak = climb(bike({"pack.cell.max_discharge_a": 2.0}), grade_percent=5.0, length_km=2.0).view(pictures=False)
    assert wall.verdict == weak.verdict == "stop"
    assert wall.answer[0].startswith("It does not get up") and weak.answer[0].startswith("Each cell gives")
    assert wall.answer[1].startswith("It does not cook")


def test_cells_that_cook_are_told_where_the_motor_stays_cool():
    """Every finding that is not fine has its words on the climb's page, whichever reason stands first."""
    hot_cells = {"pack.cell.max_discharge_a": 2.0, "pack.temperature_limit_c": 21.0}
    told = climb(bike(hot_cells), grade_percent=5.0, length_km=2.0).view(pictures=False)
    assert any(line.startswith("The cells reach") for line in told.answer)
    assert any(line.startswith("Its motor does not cook") for line in told.answer)
    assert any(line.startswith("Each cell gives") for line in told.answer)
    assert len(set(told.answer)) == len(told.answer)
    calm = climb(bike(), grade_percent=2.0, length_km=0.3).view(pictures=False)
    assert not any("cell" in line for line in calm.answer)


def test_the_gravest_of_what_else_is_wrong_stands_first():
    def of(name: str, word: Any) -> Finding:
        return Finding(name, word, 1.0, 2.0, "", f"{name} is {word}")

    findings = (of("cells", "fine"), of("magnets", "stop"), of("cells", "look again"), of("controller", "stop"))
    result: Any = SimpleNamespace(verdict=SimpleNamespace(findings=findings))
    assert _others(result, (), "metric") == ("controller is stop", "cells is look again")
    assert _others(result, ("controller is stop",), "metric") == ("cells is look again",)


def test_the_air_of_a_place_is_that_of_its_lap():
    """A lap's end is its end, not the next one's start."""
    from ridesim.ride.cooling import _air_at

    nodes = np.zeros(11, dtype=[("air_temp", float)])
    nodes["air_temp"] = np.linspace(20.0, 10.0, 11)
    ride: Any = SimpleNamespace(arrays=SimpleNamespace(length=1000.0, per_spacing=0.01, nodes=nodes))
    at = (0.0, 300.0, 1000.0, 1300.0, 2000.0, 2500.0)
    assert [_air_at(ride, each) for each in at] == [20.0, 17.0, 10.0, 17.0, 10.0, 15.0]
