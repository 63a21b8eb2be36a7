"""How far? Ranges that end where they should, and that other figures confirm."""

from __future__ import annotations

import csv
import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from ridesim.bike.load import replace_keys
from ridesim.cli.app import app
from ridesim.errors import RideError
from ridesim.report.reach.view import view
from ridesim.report.view import view_text
from ridesim.ride.judge import judge
from ridesim.ride.range import outlook_of, range_of
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb, make_cycle, make_flat, make_hills
from ridesim.studies.compare import pack_energy_wh
from ridesim.studies.reach import indoors_c, reach

from ..bikes import bike

FLAT = make_flat(2000.0)
HILLS = make_hills(4000.0, 40.0, 2000.0)


@pytest.fixture(scope="module")
def found():
    return reach(bike(), HILLS, cold_c=-15.0, aged=(0.8, 1.5))


def test_range_is_that_of_the_ride_until_empty(found):
    ride = simulate(bike(), HILLS, trace=False)
    assert found.base.range_km == pytest.approx(range_of(ride).range_km, rel=1e-9)
    assert found.base.stop == "low_voltage"


def test_faster_goes_less_far_and_bad_days_too(found):
    far = [case.range_km for case in found.speeds]
    assert far == sorted(far, reverse=True) and len(far) == 4
    by_name = {case.condition: case.range_km for case in found.conditions}
    assert by_name["cold"] < by_name["cold_day"] < by_name["as_built"]
    assert by_name["cold_and_aged"] < by_name["aged"] < by_name["as_built"]
    assert all(bad.range_km < good.range_km for bad, good in zip(found.worst_speeds, found.speeds, strict=True))


def test_range_goes_with_capacity_alone():
    """On a level road a pack of 80 % of the capacity at the same resistance goes 80 % as far."""
    full = bike({"pack.start_charge_fraction": 1.0})
    new, aged = reach(full, FLAT, cold_c=None, aged=(0.76, 1.1), speeds_km_h=()).conditions
    assert aged.range_km / new.range_km == pytest.approx(0.76 / 0.95, abs=0.01)


def test_energy_taken_is_what_the_pack_holds():
    """Range times use is the pack's open-circuit energy less what it loses inside: 90 to 100 % at such a load."""
    loaded = bike({"pack.start_charge_fraction": 1.0, "controller.brake_current_limit_a": 0.0})
    base = reach(loaded, FLAT, speeds_km_h=(), cold_c=None, aged=None).base
    taken = base.range_km * base.net_wh_per_km
    assert 0.9 < taken / (pack_energy_wh(loaded.build) * (1.0 - base.charge_left_fraction)) < 1.0


def test_curves_end_where_the_ride_ends(found):
    for curve in found.curves:
        case = next(case for case in found.conditions if case.condition == curve.condition)
        assert curve.distance_km[-1] == pytest.approx(case.range_km, abs=1e-6)
        assert curve.charge_fraction[-1] == pytest.approx(case.charge_left_fraction, abs=1e-9)
        # The figure is that of a step's faster end, the curve's of its middle.
        assert curve.voltage_low_v.min() == pytest.approx(case.lowest_pack_voltage_v, rel=1e-3)
        assert np.all(curve.voltage_low_v <= curve.voltage_v + 1e-9)


def test_clock_keeps_its_own_speeds():
    cycle = make_cycle([0.0, 10.0, 60.0, 70.0, 90.0], [0.0, 8.0, 8.0, 0.0, 0.0])
    result = reach(bike(), cycle, cold_c=None, aged=None)
    assert len(result.speeds) == 1 and result.base.laps == pytest.approx(result.base.range_km / 0.48, rel=1e-6)
    assert "at the speeds of its clock" in view_text(view(result, pictures=False))


def test_charge_floor_ends_it():
    base = reach(bike({"pack.charge_floor_fraction": 0.3}), FLAT, speeds_km_h=(), cold_c=None, aged=None).base
    assert base.stop == "pack_empty" and base.charge_left_fraction == pytest.approx(0.3, abs=1e-4)


def test_threads_change_nothing():
    one, two = (reach(bike(), FLAT, speeds_km_h=(15.0,), threads=count) for count in (1, 3))
    assert one.conditions == two.conditions and one.speeds == two.speeds


def test_hill_that_ends_it_is_told():
    text = view_text(view(reach(bike(), make_climb(9000.0, 22.0), speeds_km_h=()), pictures=False))
    assert "STOP" in text and "got stuck" in text and "not once around" in text
    assert "higher than it began" in text
    assert "held the motor back there: the motor current limit" in " ".join(text.split())


@pytest.mark.parametrize(
    "asked, word",
    [({"cold_c": -99.0}, "cold"), ({"aged": (1.4, 1.0)}, "capacity"), ({"speeds_km_h": (500.0,)}, "cruise_speed")],
)
def test_senseless_questions_are_refused(asked, word):
    with pytest.raises(RideError, match=word):
        reach(bike(), FLAT, **asked)


def test_published_use_of_a_pedelec(root: Path):
    """About 6.5 Wh/km (Umweltbundesamt 2014: 10 km boil 0.7 l of water) to 10 (press): a light bike, pedalled."""
    build, commute = root / "configs" / "commuter-light.toml", root / "routes" / "valley-commute.toml"
    base = reach(build, commute, cold_c=None, aged=None, speeds_km_h=()).base
    assert 4.0 < base.net_wh_per_km < 10.0


def test_use_of_a_loaded_bike_without_pedalling(root: Path):
    """8 to 20 Wh/km from the pack at 25 to 32 km/h on the level: the road-load equation over 70 to 80 %."""
    from ridesim.bike.load import load_build

    loaded = load_build(root / "configs" / "longtail-belt.toml", {"rider.power_w": 0})
    for case in reach(loaded, make_flat(3000.0), cold_c=None, aged=None, speeds_km_h=(32.0,)).speeds:
        assert 8.0 < case.net_wh_per_km < 20.0


ARGUMENTS = ["configs/longtail-belt.toml", "routes/terrace-round.gpx"]


@pytest.fixture
def run(root: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(root)
    return lambda *words: CliRunner().invoke(app, ["range", *ARGUMENTS, *map(str, words)])


def test_command_answers_in_words_and_json(run):
    told = run("--speeds", "20", "--units", "imperial")
    assert told.exit_code == 0 and " mi at " in told.stdout
    assert not any(unit in told.stdout for unit in ("km", "°C"))
    answer = json.loads(run("--speeds", "20", "--json").stdout)
    assert answer["schema"] == "ridesim.range/2" and answer["range_km"] > 50.0
    assert {case["condition"] for case in answer["conditions"]} >= {"as_built", "cold", "aged"}


def test_command_writes_files_and_page(run, tmp_path: Path):
    done = run("--speeds", "20", "--out", tmp_path / "o", "--report", tmp_path / "page.html")
    assert done.exit_code == 0, done.stderr
    names = {path.name for path in (tmp_path / "o").glob("[!.]*")}
    assert names == {
        "answer.txt", "answer.json", "cases.csv", "curves.csv", "charge-and-voltage.png", "range-against-speed.png",
    }  # fmt: skip
    rows = list(csv.DictReader((tmp_path / "o" / "cases.csv").open()))
    assert float(rows[0]["range_km"]) > 50.0
    assert "<svg" in (tmp_path / "page.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "words",
    [("--speeds", "fast"), ("--aged", "0.8"), ("--cold", "-80"), ("--set", "rider.mas_kg=3"), ("--speeds", "1")],
)
def test_command_refuses_in_one_line(run, words):
    done = run(*words)
    assert done.exit_code == 2 and not done.stdout
    assert len(done.stderr.strip().splitlines()) == 1 and "Traceback" not in done.stderr


def test_a_descent_without_end_tells_no_range():
    """16381 km downhill were told as a range. 2 % down roll by themselves (C_rr 0.008), 0.5 % do not."""
    loaded = bike({"pack.start_charge_fraction": 1.0})
    for grade, told in ((-2.0, False), (-0.9, False), (-0.7, True)):
        road = make_climb(3000.0, grade)
        base = reach(loaded, road, speeds_km_h=(), cold_c=None, aged=None).base
        far = range_of(simulate(loaded, road, trace=False))
        assert (base.range_km is not None) is told
        assert (far.range_km is not None) is told
        if not told:
            assert "descent without end" in base.stop_reason == far.range_ended_by


def test_a_one_way_hill_is_said_to_be_ridden_again_and_again():
    from ridesim.report.text import ride_text

    def told(ride):
        return " ".join(ride_text(ride, outlook_of(ride)).split())

    up = told(simulate(bike(), make_climb(3000.0, 4.0)))
    assert "of this road again and again, each time 120 m up, not there and back" in up
    level = told(simulate(bike(), make_flat(3000.0)))
    assert "there and back" not in level and "again and again" in level
    down = told(simulate(bike(), make_climb(3000.0, -4.0)))
    assert "range not told: the road falls all the way" in down and "descent without end" in down
    assert "- of range" not in down and "not told of this road" not in down


def test_what_the_judge_stops_on_the_way_stops_the_range_too():
    """Plain magnets die at 80 degC while the winding is fine: the range says so, as the judge does of the same ride."""
    climb = make_climb(3000.0, 6.0)
    calm, dying = (
        reach(bike({"motor.magnet_grade": grade, "bicycle.cargo_kg": 60.0}), climb, speeds_km_h=(25.0,), cold_c=None,
              aged=None)
        for grade in ("SH", "plain")
    )  # fmt: skip
    assert calm.base.stops == () and view(calm, pictures=False).verdict != "stop"
    told = view(dying, pictures=False)
    assert dying.base.peak_winding_temp_c < dying.winding_limit_c
    assert told.verdict == "stop" and any("magnets reach" in line and "80 °C" in line for line in told.answer)


def test_brakes_that_cook_on_the_way_stop_the_range_as_they_stop_the_ride():
    """A long descent on small stated discs: `ride` stops it, and a range over the same road is not fine."""
    small = {"brakes.front.kind": "disc", "brakes.rear.kind": "disc", "brakes.front.mass_g": 60.0,
             "brakes.rear.mass_g": 60.0, "controller.brake_current_limit_a": 0.0}  # fmt: skip
    down = replace_keys(bike(), small | {"bicycle.cargo_kg": 80.0})
    road = make_climb(2000.0, -9.0)
    assert "brake_heat" in {each.name for each in judge(simulate(down, road)).findings if each.verdict == "stop"}
    told = reach(down, road, speeds_km_h=(), cold_c=None, aged=None).view(pictures=False)
    assert told.verdict == "stop" and any("disc reaches" in line for line in told.answer)


@pytest.mark.parametrize(("rating_a", "verdict"), [(3.0, "look again"), (30.0, "fine")])
def test_what_the_judge_looks_at_again_on_the_way_is_no_fine_range(rating_a: float, verdict: str):
    """`ride` says look again for a cell pulled above its rating for a moment; a range over the same road said fine."""
    pulled = bike({"pack.cell.max_discharge_a": rating_a, "pack.start_charge_fraction": 0.3})
    road = make_hills(3000.0, 30.0, 1500.0)
    ride = {each.name: each.verdict for each in judge(simulate(pulled, road)).findings}
    assert (ride["cell_peak"], ride["cell_lasting"]) == (verdict, "fine")
    told = reach(pulled, road, speeds_km_h=(), cold_c=None, aged=None).view(pictures=False)
    assert told.verdict == verdict
    assert any("On the way: Each cell gives up to" in line for line in told.answer) == (verdict != "fine")
    assert not any("reserve" in line or "low-voltage" in line for line in told.answer)  # how every range ends


@pytest.mark.parametrize(("own", "aged"), [
    ((1.0, 1.0), (0.8, 1.5)), ((0.7, 1.0), (0.7, 1.5)), ((0.9, 1.9), (0.8, 1.9)), ((0.78, 1.6), None),
])  # fmt: skip
def test_an_aged_pack_is_no_younger_than_the_build_s_own(own, aged):
    """A pack at 78 % and 1.9 times the resistance went 13 % further when "aged" to 80 % and 1.5 times."""
    keys = {"pack.capacity_fraction": own[0], "pack.resistance_factor": own[1], "pack.start_charge_fraction": 0.2}
    found = reach(bike(keys), make_flat(2000.0), speeds_km_h=(), cold_c=None)
    assert found.aged == aged and found.worn == (aged is None)
    assert [case.condition for case in found.conditions] == ["as_built", "aged"][: 1 if aged is None else 2]
    # A weak pack folds the current back and goes its last stretch slower, so a little further.
    assert all(case.range_km <= 1.1 * found.base.range_km for case in found.conditions)
    notes = " ".join(view(found, pictures=False).notes)
    assert ("is an aged one" in notes) == (aged is None)
    asked = reach(bike(keys), make_flat(2000.0), speeds_km_h=(), cold_c=None, aged=(0.9, 1.2))
    assert asked.aged == (0.9, 1.2)


def test_not_once_around_is_no_range_to_look_at_again():
    """`ride` stops such a bike: it does not arrive."""
    told = reach(bike({"pack.start_charge_fraction": 0.06}), make_flat(20000.0), speeds_km_h=(), how_sure=False)
    assert told.base.laps < 1.0 and told.view(pictures=False).verdict == "stop"


def test_a_worst_day_is_no_milder_than_the_build_s_own():
    told = reach(bike({"weather.temperature_c": -8.0, "pack.start_charge_fraction": 0.1}), make_flat(20000.0),
                 speeds_km_h=())  # fmt: skip
    assert told.cold_c == -8.0


def test_a_span_without_width_is_told_in_words():
    told = dataclasses.replace(reach(bike({"pack.start_charge_fraction": 0.1}), make_flat(20000.0), speeds_km_h=()),
                               span_km=(0.52, 0.53))  # fmt: skip
    assert "the range is the same." in " ".join(told.view(pictures=False).answer)


def test_down_a_falling_road_no_range_is_told_in_any_row():
    """Its rows said "no end" of a road that goes down for ever, at every speed."""
    told = reach(bike(), make_climb(1000.0, -4.0), speeds_km_h=(15.0, 25.0), cold_c=None, aged=None, how_sure=False)
    text = view_text(view(told, pictures=False))
    assert "No range is told" in text and "no end" not in text and "Speed against range" not in text
    assert told.conditions[0].range_km is None


@pytest.mark.parametrize(("cold_km", "told"), [(9.9, False), (10.0, True), (10.4, True)])
def test_a_colder_pack_that_goes_as_far_is_explained(found, cold_km: float, told: bool):
    """A pack as cold as the day beside one from indoors: the last hill decides, and a reader is told so."""
    known = {"as_built": 12.0, "cold_day": 10.0, "cold": cold_km, "aged": 9.0, "cold_and_aged": 8.0}
    cases = tuple(dataclasses.replace(case, range_km=known[case.condition]) for case in found.conditions)
    notes = view(dataclasses.replace(found, conditions=cases), pictures=False).notes
    assert any("jumps by whole hills" in note for note in notes) is told


@pytest.mark.parametrize(("pack_c", "indoors"), [(None, 18.0), (5.0, 5.0)])
def test_a_build_whose_own_day_is_cold_is_ridden_so_once(pack_c: float | None, indoors: float):
    """As built is the cold day already: beside it stands the pack from indoors, a house's or what the build says."""
    winter = bike({"weather.temperature_c": -12.0, "pack.start_temperature_c": pack_c})
    found = reach(winter, FLAT, speeds_km_h=())
    by_name = {case.condition: case.range_km for case in found.conditions}
    assert found.cold_c == -12.0 and indoors_c(winter.build) == indoors
    assert list(by_name) == (["as_built", "cold_day", "aged"] if pack_c is None else
                             ["as_built", "cold_day", "cold", "aged", "cold_and_aged"])  # fmt: skip
    if pack_c is None:
        assert by_name["cold_day"] > by_name["as_built"]
    notes = view(found, pictures=False).notes
    assert not any("jumps by whole hills" in note for note in notes)
