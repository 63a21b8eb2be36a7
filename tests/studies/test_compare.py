"""Which build? Differences that are real, in order, and add up."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from typer.testing import CliRunner

from ridesim.cli.app import app
from ridesim.errors import RideError
from ridesim.report.compare.taking import take_words
from ridesim.report.compare.view import _difference, view
from ridesim.report.view import view_text
from ridesim.ride.ledger import LOSS_LINES
from ridesim.ride.range import range_of
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb, make_hills
from ridesim.studies.compare import compare
from ridesim.studies.compare_rows import Row, spread_of
from ridesim.sure.common import Difference

from ..bikes import bike

HILLS = make_hills(3000.0, 50.0, 1500.0)
CLIMB = make_climb(1500.0, 6.0)


@pytest.fixture(scope="module")
def loaded_and_light():
    return compare([bike(), bike({"bicycle.cargo_kg": 60.0})], [HILLS, CLIMB])


def test_a_build_is_like_itself():
    result = compare([bike(), bike()], [HILLS])
    assert not result.keys_that_differ
    assert all(row.same and row.spread == 0.0 for row in result.roads[0].rows)
    assert "ride alike" in view_text(view(result, pictures=False))
    assert len({entry.label for entry in result.entries}) == 2


def test_heavier_is_told_and_named(loaded_and_light):
    assert loaded_and_light.keys_that_differ == {"bicycle.cargo_kg": (20.0, 60.0)}
    light, heavy = loaded_and_light.entries
    assert heavy.masses_kg["all that rolls"] - light.masses_kg["all that rolls"] == pytest.approx(40.0)
    assert heavy.masses_kg["pack"] == light.masses_kg["pack"] == pytest.approx(65 * 0.048 + 1.0)
    assert heavy.steepest_start_percent < light.steepest_start_percent
    for road in loaded_and_light.roads:
        assert road.rides[1].figures.net_wh_per_km > road.rides[0].figures.net_wh_per_km
        assert road.rides[1].range_km <= road.rides[0].range_km


def test_largest_differences_come_first(loaded_and_light):
    for road in loaded_and_light.roads:
        spreads = [row.spread for row in road.rows]
        assert spreads == sorted(spreads, reverse=True) and spreads[0] > 0.1


def test_figures_are_those_of_the_ride(loaded_and_light):
    ridden = simulate(bike(), HILLS, trace=False)
    summary = ridden.summary
    ride = loaded_and_light.roads[0].rides[0]
    assert ride.figures.net_wh_per_km == pytest.approx(summary["net_wh_per_km"], rel=1e-9)
    assert ride.range_km == pytest.approx(range_of(ridden).range_km, rel=1e-9)
    assert ride.figures.peak_motor_current_dc_equivalent_a == pytest.approx(
        summary["peak_motor_current_dc_equivalent_a"]
    )
    assert ride.winding_margin_k == pytest.approx(summary["winding_limit_c"] - summary["peak_winding_temp_c"])
    ledger = summary["ledger_wh"]
    assert ride.losses_wh == pytest.approx({name: ledger[name] for name in LOSS_LINES})
    assert ride.lost_wh == pytest.approx(sum(ledger[name] for name in LOSS_LINES))


def test_hub_against_belt(root: Path):
    """A direct hub motor loses nothing in stages, weighs more, and pays in copper for each newton on the climb."""
    builds = [root / "configs" / name for name in ("longtail-belt.toml", "longtail-hub.toml")]
    result = compare(builds, [root / "routes" / "ridge-climb.gpx"])
    belt, hub = result.entries
    assert (belt.label, hub.label) == ("longtail-belt", "longtail-hub")
    drive = "motor, controller and pack"
    assert hub.masses_kg[drive] > belt.masses_kg[drive] + 5.0
    on_belt, on_hub = result.roads[0].rides
    assert on_hub.losses_wh["drive_stage_loss"] == pytest.approx(0.0, abs=1e-9)
    assert on_belt.losses_wh["drive_stage_loss"] > 1.0
    assert on_hub.losses_wh["motor_copper_loss"] > 2.0 * on_belt.losses_wh["motor_copper_loss"]
    text = view_text(view(result, pictures=False))
    assert "motor copper" in text and "copper loss for 100 N" in text


def test_copper_for_a_push_is_the_closed_form():
    """R (F r / (G eta K_t))^2 with r = C / 2 pi and K_t = 60 / (2 pi Kv)."""
    entry = compare([bike(), bike()], [CLIMB]).entries[0]
    torque = 100.0 * (2.060 / 6.283185307) / ((40 / 18) * (72 / 16) * 0.97 * 0.96)
    assert entry.copper_at_push_w == pytest.approx(0.030 * (torque * 100.0 * 6.283185307 / 60.0) ** 2, rel=1e-6)


def test_currents_compare_across_commutations():
    """The same motor at the same torque: a sine-wave limit of 80 A is 69.3 A as a six-step drive reads it."""
    six = bike({"controller.commutation": "six_step", "controller.motor_current_limit_a": 80.0 * 3**0.5 / 2.0,
                "controller.brake_current_limit_a": 50.0 * 3**0.5 / 2.0})  # fmt: skip
    rows = compare([bike(), six], [HILLS]).roads[0].rows
    assert next(row for row in rows if row.name == "peak_motor_current_dc_equivalent_a").spread < 1e-9


def test_one_that_does_not_arrive_is_told():
    weak = bike({"controller.motor_current_limit_a": 12.0})
    told = view_text(view(compare([bike(), weak], [make_climb(1500.0, 12.0)]), pictures=False))
    text = " ".join(told.split())
    assert "does not arrive" in text and "got stuck" in text


def test_one_that_is_stuck_is_better_in_nothing_but_what_it_is():
    """Coolest cells, least current: it never rode. And those alike to the digits shown are better together."""
    stuck = bike({"controller.motor_current_limit_a": 5.0, "rider.power_w": 0.0})
    light = bike({"bicycle.cargo_kg": 0.0})
    found = compare([bike(), light, stuck], [make_climb(500.0, 9.0)])
    table = next(each for each in view(found, pictures=False).tables if each.title.startswith("On "))
    better = {row[0]: row[-1] for row in table.rows}
    last = found.entries[2].label
    assert not any(last in names for names in better.values()) and found.entries[1].label in better.values()
    assert better["distance"].count(", ") == 1


def test_a_share_of_what_the_pack_gave_is_not_told_down_a_hill():
    """The height gives what the brakes take: 7886 % of the energy was told as lost."""
    pair = [bike(), bike({"bicycle.cargo_kg": 0.0})]
    text = view_text(view(compare(pair, [make_climb(2000.0, -8.0)]), pictures=False))
    said = " ".join(text.split())
    assert not re.search(r"\d% of the energy is lost", said) and "On climb the losses differ most in" in said
    assert re.search(r"all of these +[0-9.]+ +[0-9.]+\n", text)


def test_one_that_runs_too_hot_is_told(root: Path):
    builds = [root / "configs" / name for name in ("longtail-belt.toml", "longtail-two-stage.toml")]
    text = view_text(view(compare(builds, [root / "routes" / "ridge-climb.gpx"]), pictures=False))
    assert "hotter than its class allows in longtail-two-stage (" in " ".join(text.split())


def test_each_build_has_its_verdict_and_a_return_of_nothing_is_no_difference(root: Path):
    """0.2 Wh returned of 250 drawn is nothing to choose by; the answer begins with the verdicts."""
    builds = [root / "configs" / f"longtail-{name}.toml" for name in ("belt", "freewheel", "two-stage")]
    result = compare(builds, [root / "routes" / "ridge-climb.gpx"])
    told = view(result, pictures=False)
    assert told.answer[0].startswith(
        "On Sheds to the top terrace: longtail-belt FINE; longtail-freewheel FINE; longtail-two-stage STOP (The winding"
    )
    assert "exactly as it stands" in told.notes[0]
    returned = next(row for row in result.roads[0].rows if row.name == "pack_energy_returned_wh")
    assert max(returned.values) > 0.1 and min(returned.values) == 0.0
    assert returned.same and returned.share_of == "of what is drawn"


def test_spread():
    assert spread_of((10.0, 12.0)) == pytest.approx(2.0 / 11.0)
    assert spread_of((10.0, None)) == 0.0
    assert spread_of((80.0, 100.0), 100.0) == pytest.approx(0.2)
    assert spread_of((-10.0, 10.0)) == pytest.approx(2.0)


def test_three_builds_show_spans():
    result = compare([bike(), bike({"bicycle.cargo_kg": 40.0}), bike({"bicycle.cargo_kg": 60.0})], [CLIMB])
    text = view_text(view(result))
    assert text.count(" against ") >= 6 and len(result.roads[0].rides) == 3
    assert len(view(result).figures) == 2


def test_senseless_questions_are_refused():
    with pytest.raises(RideError, match="two or more"):
        compare([bike()], [CLIMB])
    with pytest.raises(RideError, match="--road"):
        compare([bike(), bike()], [])


BUILDS = ("configs/longtail-belt.toml", "configs/longtail-hub.toml")


@pytest.fixture
def run(root: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(root)
    return lambda *words: CliRunner().invoke(app, ["compare", *map(str, words)])


def test_command_answers_in_words_and_json(run):
    told = run(*BUILDS, "--road", "routes/ridge-climb.gpx", "--units", "imperial")
    assert told.exit_code == 0 and "difference" in told.stdout and "weigh" in told.stdout
    assert not any(unit in told.stdout for unit in ("km", "°C", " kg"))
    roads = ("--road", "routes/ridge-climb.gpx", "--road", "routes/valley-commute.toml")
    answer = json.loads(run(*BUILDS, *roads, "--json").stdout)
    assert answer["schema"] == "ridesim.compare/2" and len(answer["roads"]) == 2
    assert answer["builds"][1]["masses_kg"]["motor"] == pytest.approx(7.4)
    assert answer["roads"][0]["differences"][0]["spread"] > 0.2


def test_command_writes_files_and_page(run, tmp_path: Path):
    done = run(*BUILDS, "--road", "routes/ridge-climb.gpx", "--out", tmp_path / "o", "--report", tmp_path / "p.html")
    assert done.exit_code == 0, done.stderr
    names = {path.name for path in (tmp_path / "o").glob("[!.]*")}
    assert names == {"answer.txt", "answer.json", "rides.csv", "losses-1.png", "along-1.png"}
    rows = list(csv.DictReader((tmp_path / "o" / "rides.csv").open()))
    assert [row["build"] for row in rows] == ["longtail-belt", "longtail-hub"]
    page = (tmp_path / "p.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 2 and "direct hub motor" in page


def test_command_refuses_in_one_line(run):
    for words in ((BUILDS[0], "--road", "routes/ridge-climb.gpx"), BUILDS, (*BUILDS, "--road", "no-such.gpx")):
        done = run(*words)
        assert done.exit_code == 2 and not done.stdout
        assert len(done.stderr.strip().splitlines()) == 1 and "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("values", "told"),
    [((0.4, 5.7), "+5.3 Wh"), ((40.0, 57.2), "+43%"), ((-3.0, 50.0), "+53.0 Wh"), ((10.0, 60.0), "+50.0 Wh"),
     ((60.0, 10.0), "-83%"), ((0.9, 1.0), "+0.1 Wh"), ((1.0, 1.2), "+20%")],
)  # fmt: skip
def test_no_percent_of_next_to_nothing(values: tuple[float, float], told: str):
    """+1323 % of 0.4 Wh was noise: just inside and outside of what bears a percentage."""
    assert _difference(Row("lost_wh", "lost", "wh", "low", values, spread_of(values)), "metric") == told


@pytest.mark.parametrize(
    ("unit", "values", "metric", "imperial"),
    [("c", (80.0, 90.0), "+10 K", "+18 °F"), ("k", (80.0, 70.0), "-10 K", "-18 °F"),
     ("c", (80.0, 90.0, 60.0), "30 K", "54 °F"), ("fraction", (0.5, 0.25), "-25 points", "-25 points"),
     ("km", (0.0, 16.09344), "+16.1 km", "+10.0 mi"), ("km", (10.0, 0.0, 5.0), "10.0 km", "6.2 mi")],
)  # fmt: skip
def test_a_difference_of_temperatures_is_one_of_degrees(unit: str, values: tuple, metric: str, imperial: str):
    """A kelvin is 1.8 degrees Fahrenheit, without the 32 (NIST SP 811, appendix B)."""
    row = Row("any", "any", unit, "low", values, 0.5)
    assert (_difference(row, "metric"), _difference(row, "imperial")) == (metric, imperial)


def test_the_first_line_says_which_to_take_or_what_it_depends_on():
    """More of a motor's resistance is worse in all; less load is dear to nobody; and a stopped one is not taken."""
    sure = compare([bike(), bike({"motor.resistance_mohm": 90.0})], [CLIMB], how_sure=True)
    first = take_words(sure)[0]
    assert first.startswith(f"Take {sure.entries[0].label}: it takes less energy") and "worse in nothing" in first
    assert view(sure, pictures=False).answer[0] == first
    quick = compare([bike(), bike({"controller.voltage_limit_v": 40.0})], [CLIMB])
    assert take_words(quick) == (f"Take {quick.entries[0].label}: it is the only one that nothing stops.",)
    alike = compare([bike(), bike()], [CLIMB], how_sure=True)
    assert "cannot be told apart" in take_words(alike)[0]
    paced = compare([bike(), bike({"rider.cruise_speed_km_h": 14.0})], [make_climb(1000.0, 1.0)], how_sure=True)
    words = take_words(paced)[0]
    assert words.startswith("It depends on what you want") and "is faster" in words and "takes less energy" in words


def _told_apart(verdicts: list[str], better: dict[str, list[tuple[str, str, float]]], margin_k: float = 100.0) -> Any:
    """Return builds A, B, C on one road by hand: of each answer who beats whom, in which share of the bikes."""
    labels = ["A", "B", "C"][: len(verdicts)]

    def difference(answer: str, one: int, two: int) -> Difference | None:
        for first, second, chance in better.get(answer, []):
            if {first, second} == {labels[one], labels[two]}:
                return Difference(answer, first, second, chance, -2.0, -1.0, -0.5, 64, 64)
        return None

    rides = [SimpleNamespace(verdict=word, winding_margin_k=margin_k) for word in verdicts]
    common = SimpleNamespace(labels=tuple(labels), difference=difference)
    return SimpleNamespace(road=SimpleNamespace(name="hill"), rides=rides, common=common)


def _first_words(*roads: Any) -> tuple[str, ...]:
    labels = ["A", "B", "C"][: len(roads[0].rides)]
    return take_words(SimpleNamespace(entries=[SimpleNamespace(label=each) for each in labels], roads=roads))  # type: ignore[arg-type]


ENERGY, TIME, HEAT = "net_energy_wh", "total_time_s", "peak_winding_temp_c"


def test_a_build_is_taken_where_it_beats_all_and_nothing_else_is_told():
    one = _told_apart(["fine"] * 2, {ENERGY: [("A", "B", 0.95)]})
    assert _first_words(one) == (
        "Take A: it takes less energy than B, and is worse in nothing that can be told apart.",
    )
    stopped = _told_apart(["fine", "stop", "fine"], {ENERGY: [("A", "B", 0.5), ("A", "C", 0.95)]})
    assert _first_words(stopped)[0].startswith("Take A: it takes less energy than C, and")
    looked = _told_apart(["look again", "fine"], {ENERGY: [("A", "B", 0.95)]})
    assert _first_words(looked)[0].endswith("; look again at it first, as its verdict says.")
    three = _told_apart(["fine"] * 3, {ENERGY: [("A", "B", 0.95)]})
    assert _first_words(three) == ("It depends on what you want: A takes less energy.",)
    three = _told_apart(["fine"] * 3, {ENERGY: [("A", "B", 0.95), ("A", "C", 0.95), ("B", "C", 0.95)]})
    assert _first_words(three)[0].startswith("Take A:")
    assert _first_words(_told_apart(["stop"] * 2, {})) == ("Take none of them as it is: each is stopped.",)


@pytest.mark.parametrize(("chance", "said"), [(0.89, "cannot be told apart"), (0.91, "Take A")])
def test_nine_of_ten_bikes_decide(chance: float, said: str):
    assert said in _first_words(_told_apart(["fine"] * 2, {ENERGY: [("A", "B", chance)]}))[0]


@pytest.mark.parametrize(
    ("margin_k", "said"), [(49.0, "Take A: it has a cooler winding"), (51.0, "cannot be told apart")]
)
def test_a_cooler_winding_decides_only_where_it_is_warm(margin_k: float, said: str):
    assert said in _first_words(_told_apart(["fine"] * 2, {HEAT: [("A", "B", 0.99)]}, margin_k))[0]


def test_what_it_depends_on_names_who_is_beaten_in_nothing_there():
    told = {ENERGY: [("A", "B", 0.95), ("A", "C", 0.95)], TIME: [("B", "A", 0.95), ("C", "A", 0.95)]}
    (words,) = _first_words(_told_apart(["fine"] * 3, told))
    assert words == "It depends on what you want: A takes less energy, B and C are faster."
    (words,) = _first_words(_told_apart(["fine", "look again", "look again"], told))
    assert words.startswith("It depends on what you want: only A needs no second look, A takes")


def test_roads_that_differ_are_told_one_by_one():
    flat, steep = (_told_apart(["fine"] * 2, {ENERGY: [pair]}) for pair in (("A", "B", 0.95), ("B", "A", 0.95)))
    assert [each[:14] for each in _first_words(flat, steep)] == ["Take A on hill", "Take B on hill"]
    assert _first_words(flat, flat)[0].startswith("Take A: on every road it takes less energy")


def test_each_of_the_others_is_told_with_what_beats_it():
    """ "It takes less energy and is faster than B and C" was said where it is faster than B, and spares of C."""
    mixed = _told_apart(["fine"] * 3, {ENERGY: [("A", "C", 0.95)], TIME: [("A", "B", 0.95), ("B", "C", 0.95)]})
    (words,) = _first_words(mixed)
    assert (
        words
        == "Take A: it is faster than B and takes less energy than C, and is worse in nothing that can be told apart."
    )
    alike = _told_apart(["fine"] * 3, {ENERGY: [("A", "B", 0.95), ("A", "C", 0.95)]})
    assert _first_words(alike)[0].startswith("Take A: it takes less energy than B and C, and")
    (words,) = _first_words(mixed, alike)
    assert words.startswith("Take A on every road: on hill it is faster than B and takes less energy than C, and")
    assert "; on hill it takes less energy than B and C, and" in words
