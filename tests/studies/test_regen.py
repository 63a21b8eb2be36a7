"""What is regen worth? Braking energy that adds up, bounds that hold, and drives that cannot."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from typer.testing import CliRunner

from ridesim.bike.load import load_build, replace_keys
from ridesim.cli.app import app
from ridesim.report.regen.plain import regen_figures
from ridesim.report.regen.view import _apart, _judged, view
from ridesim.report.view import view_text
from ridesim.ride.judge import Verdict, judge
from ridesim.ride.range import outlook_of, range_of
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb, make_cycle, make_hills, make_points
from ridesim.studies.regen import _with_freewheel, regen

from ..bikes import bike

HILLS = make_hills(4000.0, 60.0, 2000.0)
DOWN_AND_UP = make_points([0.0, 1500.0, 3000.0], [90.0, 0.0, 90.0], smoothing_m=20.0)
UDC_TIME_S = (
    0, 11, 15, 23, 25, 28, 49, 54, 56, 61, 85, 93, 96, 117, 122, 124, 133, 135, 143, 155, 163, 176, 178, 185, 188, 195,
)  # fmt: skip
UDC_KM_H = (
    0, 0, 15, 15, 10, 0, 0, 15, 15, 32, 32, 10, 0, 0, 15, 15, 35, 35, 50, 50, 35, 35, 35, 10, 0, 0,
)  # fmt: skip
"""Urban driving cycle, UN R83 (OJ L 42, 15.2.2012), Annex 4a, table 1."""


@pytest.fixture(scope="module")
def found():
    return regen(bike(), HILLS)


def test_braking_energy_adds_up(found):
    for case in found.cases:
        friction = case.with_regen.friction_wh
        assert sum(cause.friction_wh for cause in case.causes) == pytest.approx(friction, abs=1e-5)
        assert case.braking_wh == pytest.approx(case.motor_braking_wh + friction)
        assert case.motor_braking_wh == pytest.approx(case.with_regen.returned_wh + case.heat_on_the_way_wh)
        assert 0.0 < case.with_regen.returned_wh < case.motor_braking_wh
        assert case.without.returned_wh == 0.0
        assert case.pads_saved_wh == pytest.approx(case.without.friction_wh - friction)
        assert 0.0 <= case.nothing_returned_wh < case.motor_braking_wh


def test_range_gained_is_that_of_the_ride(found):
    ridden = simulate(bike(), HILLS, trace=False)
    summary = ridden.summary
    assert found.cases[0].gained_km == pytest.approx(outlook_of(ridden).range_added_by_regen_km, abs=1e-6)
    assert found.cases[0].with_regen.returned_wh == pytest.approx(summary["pack_energy_returned_wh"], rel=1e-9)
    assert found.cases[0].gained_km > 0.0


def test_the_share_returned_is_of_what_was_drawn_and_the_saving_of_what_is_drawn_without(found):
    own = found.cases[0]
    drawn, back = own.with_regen.drawn_wh, own.with_regen.returned_wh
    assert own.returned_fraction == pytest.approx(back / drawn)
    saved = 1.0 - own.with_regen.net_wh_per_km / own.without.net_wh_per_km
    assert saved > 0.0
    said = " ".join(view(found, pictures=False).answer)
    assert f"of {drawn:.0f} Wh drawn ({back / drawn:.0%})" in said
    assert f"the same distance takes {saved:.0%} less from the pack" in said
    better = own.with_regen.range_km - found.freewheel_range_km
    assert abs(better) > 0.05 and f"km {'less' if better > 0.0 else 'more'}." in said


def test_traces_end_at_the_totals(found):
    for case, trace in zip(found.cases, found.traces, strict=True):
        assert trace.returned_wh[-1] == pytest.approx(case.with_regen.returned_wh)
        assert trace.friction_wh[-1] == pytest.approx(case.with_regen.friction_wh)
        assert np.all(np.diff(trace.returned_wh) >= 0.0)


def test_full_pack_has_no_room():
    answer = regen(bike({"pack.start_charge_fraction": 1.0}), DOWN_AND_UP)
    own, room = answer.cases
    assert (own.start_charge_fraction, room.start_charge_fraction) == (1.0, 0.8)
    lost = {cause.cause: cause.friction_wh for cause in own.causes}
    assert lost["full_pack"] > 5.0
    assert "full_pack" not in {cause.cause for cause in room.causes}
    lost_wh = room.with_regen.returned_wh - own.with_regen.returned_wh
    assert lost_wh > 3.0
    said = " ".join(view(answer, pictures=False).answer)
    assert f"Starting at 100% of charge, {lost['full_pack']:.1f} Wh go to the friction brakes for want of room" in said
    assert f"from 80% ({lost_wh:+.1f} Wh)" in said


@pytest.mark.parametrize(
    "change, cause",
    [
        ({"weather.temperature_c": -10.0}, "cold_pack"),
        ({"controller.brake_current_limit_a": 3.0}, "brake_current"),
        ({"controller.charge_current_limit_a": 1.0}, "charge_current"),
    ],
)
def test_each_cause_is_named(change, cause):
    case = regen(bike({**change, "pack.start_charge_fraction": 0.6}), DOWN_AND_UP).cases[0]
    assert case.causes[0].cause == cause
    assert case.causes[0].friction_wh > 0.5 * case.braking_wh


def _down_and_up(length_m: float):
    """5 % down and up again, around the level at which the air is that of the closed form."""
    sine = 0.05 / np.hypot(1.0, 0.05)
    top = 0.5 * length_m * sine
    return make_points([0.0, length_m, 2.0 * length_m], [top, -top, top], smoothing_m=20.0)


def test_steady_descent_is_the_closed_form():
    """-5 %, 100 kg, 25 km/h: gravity 340.1 - drag 115.6 - rolling 52.4 - bearings 1.05 = 171.1 W at the wheel.

    Constants after Tengattini and Bigazzi 2017 and Martin et al. 1998; closed form.
    """
    level = {
        "rider.mass_kg": 60.0, "rider.power_w": 0.0, "bicycle.cargo_kg": 0.0, "bicycle.drag_area_m2": 0.559,
        "bicycle.wheel_drag_area_m2": 0.0044, "tyre.rolling_resistance": 0.0077, "weather.temperature_c": 15.0,
        "weather.relative_humidity_percent": 0.0, "weather.sea_level_pressure_hpa": 1013.25,
        "pack.start_charge_fraction": 0.5, "controller.charge_current_limit_a": 40.0,
    }  # fmt: skip
    part = bike(level).build
    rest = 100.0 - 60.0 - part.motor.mass_kg - part.controller.mass_kg - part.pack.mass_kg
    loaded = bike({**level, "bicycle.mass_kg": rest})
    assert loaded.build.mass_kg == pytest.approx(100.0)
    long, short = (regen(loaded, _down_and_up(length)).cases[0] for length in (2000.0, 1000.0))
    power = 3600.0 * (long.motor_braking_wh - short.motor_braking_wh) / (1000.0 / (25.0 / 3.6))
    assert long.with_regen.friction_wh == pytest.approx(0.0, abs=1e-6)
    assert power == pytest.approx(171.1, rel=0.005)


def test_urban_cycle_stays_under_what_braking_offers():
    """Braking energy of the cycle is 14 to 15 % of the traction energy of a 100 kg bike: no more can come back."""
    speed = np.array(UDC_KM_H) / 3.6
    loaded = bike({"rider.power_w": 0.0, "bicycle.cargo_kg": 0.0, "pack.start_charge_fraction": 0.7})
    case = regen(loaded, make_cycle(UDC_TIME_S, speed)).cases[0]
    assert 0.04 < case.returned_fraction < 0.15


@pytest.mark.parametrize(
    "change, word",
    [
        ({"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0}, "freewheel"),
        ({"controller.brake_current_limit_a": 0.0}, "braking current is 0"),
        ({"controller.charge_current_limit_a": 0.0}, "No charging current"),
        ({"pack.cell.max_charge_a": 0.0}, "No charging current"),
    ],
)
def test_drives_that_cannot_are_told_so(change, word):
    result = regen(bike(change), HILLS)
    assert result.impossible and not result.cases
    text = " ".join(view_text(view(result)).split())
    assert "No." in text and word in text
    assert f"{result.without.friction_wh:.1f} Wh" in text


@pytest.mark.parametrize(("drives_a", "brakes_a"), [(25.0, 25), (39.0, 39), (41.0, 40)])
def test_a_small_motor_is_not_told_to_brake_harder_than_it_drives(drives_a, brakes_a):
    """40 A of braking were proposed to a front hub whose controller drives it with 25 A."""
    found = regen(
        bike({"controller.brake_current_limit_a": 0.0, "controller.motor_current_limit_a": drives_a}),
        make_climb(1500.0, -6.0),
    )
    assert f"--set controller.brake_current_limit_a={brakes_a}." in " ".join(view(found, pictures=False).answer)


def test_threads_change_nothing(found):
    again = regen(bike(), HILLS, threads=1)
    assert again.cases == found.cases and again.freewheel_range_km == found.freewheel_range_km


def test_ride_that_gets_stuck_is_told():
    result = regen(bike({"controller.motor_current_limit_a": 12.0}), make_climb(2000.0, 14.0))
    drawn = view(result)
    assert (
        drawn.answer[0].startswith("It did not arrive")
        and drawn.answer[0].endswith("So far:")
        and len(drawn.figures) == 2
    )


def test_the_freewheel_beside_it_is_that_bike_s_own_range(found):
    """Without braking current alone the motor would still drag along: that is another bike."""
    free = bike({"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0})
    assert found.freewheel_range_km == pytest.approx(range_of(simulate(free, HILLS, trace=False)).range_km, rel=2e-3)
    beside = _with_freewheel(load_build(BELT))
    assert (beside.build.drive.coupling, beside.build.controller.brake_current_limit_a) == ("freewheel", 0.0)


def test_hub_motor_has_no_freewheel_to_compare_with(root: Path):
    assert regen(root / "configs" / "longtail-hub.toml", HILLS).freewheel_range_km is None


BELT, ROAD = "configs/longtail-belt.toml", "routes/valley-commute.toml"


@pytest.fixture
def run(root: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(root)
    return lambda *words: CliRunner().invoke(app, ["regen", *map(str, words)])


def test_command_answers_in_words_and_json(run):
    told = run(BELT, ROAD, "--units", "imperial")
    assert told.exit_code == 0 and "brake pads" in told.stdout and "a full pack" in told.stdout
    assert "km" not in told.stdout
    answer = json.loads(run(BELT, ROAD, "--json").stdout)
    assert answer["schema"] == "ridesim.regen/2" and answer["can_regenerate"] is True
    assert answer["cases"][0]["with_regen"]["returned_wh"] > 1.0


def test_command_writes_files_and_page(run, tmp_path: Path):
    done = run(BELT, ROAD, "--out", tmp_path / "o", "--report", tmp_path / "page.html")
    assert done.exit_code == 0, done.stderr
    names = {path.name for path in (tmp_path / "o").glob("[!.]*")}
    assert names == {"answer.txt", "answer.json", "along-the-road.csv", "along-the-road.png", "braking-energy.png"}
    assert "<svg" in (tmp_path / "page.html").read_text(encoding="utf-8")


def test_command_tells_a_freewheel_plainly(run, tmp_path: Path):
    done = run("configs/longtail-freewheel.toml", ROAD, "--out", tmp_path)
    assert done.exit_code == 0 and "No. The freewheel" in done.stdout
    assert done.stdout.count("Verdicts are of the bike exactly as it stands") == 1  # it stood there twice
    answer = json.loads((tmp_path / "answer.json").read_text(encoding="utf-8"))
    assert answer["can_regenerate"] is False and answer["cases"] == []


def test_command_refuses_in_one_line(run):
    for words in ((BELT, "no-such.gpx"), (BELT, ROAD, "--speed", "900"), ("no-such.toml", ROAD)):
        done = run(*words)
        assert done.exit_code == 2 and not done.stdout
        assert len(done.stderr.strip().splitlines()) == 1 and "Traceback" not in done.stderr


def test_a_pack_above_the_controllers_voltage_stops_regen_as_it_stops_the_ride():
    """It was a note among others, below a cheerful gain of range: the ride's verdict comes first, and its reason."""
    weak = bike({"controller.voltage_limit_v": 40.0})
    assert judge(simulate(weak, DOWN_AND_UP)).word == "stop"
    told = regen(weak, DOWN_AND_UP)
    shown = view(told, pictures=False)
    assert told.verdict.word == shown.verdict == "stop" and "40 V" in shown.answer[0]
    assert regen_figures(told)["verdict"] == "stop"
    coasting = replace_keys(weak, {"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0})
    assert regen(coasting, DOWN_AND_UP).view(pictures=False).verdict == "stop"


def test_a_ride_that_is_fine_is_fine_with_regen(found):
    assert judge(simulate(bike(), HILLS)).word == found.verdict.word == found.view(pictures=False).verdict


def test_the_verdict_is_that_of_the_bike_as_built_and_heeds_the_chances_with_regen(monkeypatch):
    """Its own charge, once over the road, with regen; the chances are those of the first of the two candidates."""
    asked, judged = [], []

    def heeded(verdict: Verdict, at: int) -> Verdict:
        asked.append((verdict.word, at))
        return Verdict("look again", ("In 9% of bikes like it: brakes too hot.",))

    monkeypatch.setattr("ridesim.studies.regen._common", lambda *_: SimpleNamespace(heeded=heeded))
    monkeypatch.setattr("ridesim.studies.regen.judge", lambda ride: judged.append(ride) or judge(ride))
    told = regen(bike(), make_hills(500.0, 10.0, 250.0), how_sure=True)
    assert asked == [("fine", 0)] and told.verdict.word == "look again"
    assert [(each.build, each.finished) for each in judged] == [(bike().build, True)]


def test_the_reason_of_the_ride_comes_first_and_what_follows_is_so_far_where_it_does_not_arrive():
    def first(word: str, finished: bool, impossible: str = "") -> tuple[str, ...]:
        result = SimpleNamespace(verdict=Verdict(word, ("Too hot.",)), without=SimpleNamespace(finished=finished),
                                 impossible=impossible)  # fmt: skip
        return _judged(result, "metric")  # type: ignore[arg-type]

    assert first("fine", True) == () and first("fine", True, "a freewheel") == ("The ride itself is fine.",)
    assert first("stop", True) == ("Too hot.",) and first("stop", False) == ("Too hot. So far:",)


@pytest.mark.parametrize(("km", "said"), [(27.21, "27 km"), (4.38, "4.4 km"), (-0.62, "0.6 km"), (123.4, "123 km")])
def test_a_range_gained_is_told_as_finely_as_ride_tells_it(km, said):
    """`ride` said 27 km of range of what `regen` told as 27.2 km."""
    assert _apart(km, "metric") == said
    from ridesim.report.text import _added

    assert km < 0.0 or _added(km, "metric") == f", {said} of range"
