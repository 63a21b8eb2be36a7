"""The workshop's commands end to end: text, JSON, files, pages, and one clear line for bad input."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from ridesim.cli.app import app

RUNNER = CliRunner()
BELT, TWO, HUB = (f"configs/longtail-{kind}.toml" for kind in ("belt", "two-stage", "hub"))
CLIMB = "routes/ridge-climb.gpx"

ANSWERS: dict[str, list[str]] = {
    "check": ["check", TWO, CLIMB],
    "belt": ["belt", TWO, CLIMB],
    "rewind": [
        "rewind", BELT, "--turns", "7", "--strands", "6", "--wire-mm", "0.5", "--connection", "delta", "--teeth", "12",
        "--slot-area-mm2", "60", "--want-kv", "70",
    ],
    "wire": ["wire", BELT, CLIMB],
    "pack": ["pack", "--voltage", "48", "--energy-wh", "700", "--current", "30"],
    "size": [
        "size", "--mass-kg", "140", "--top-speed-km-h", "30", "--hill", "8,3", "--range-km", "40", "--voltages", "48",
    ],
    "law": ["law", BELT],
    "bench": ["bench", "--drop", "0.53,20,24", "--no-load", "24,1.0,2370", "--no-load", "48,1.7,4750"],
}  # fmt: skip
CAUTIONED = {
    "check": "management board", "belt": "fingers", "rewind": "burns skin", "wire": "fire", "pack": "Lithium",
    "size": "lithium", "law": "licensed advice decide", "bench": "eye protection",
}  # fmt: skip


@pytest.fixture(autouse=True)
def _in_the_root(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(root)


@pytest.fixture(autouse=True, scope="module")
def _one_wish_is_sized_once() -> Iterator[None]:
    """A sizing rides for seconds; its text, files and imperial words show one and the same."""
    from ridesim.workshop.size.sizing import size_drive

    kept: dict[Any, Any] = {}

    def once(wish: Any, done: Any = None) -> Any:
        return kept.setdefault(wish, kept.get(wish) or size_drive(wish, done))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("ridesim.workshop.size.sizing.size_drive", once)
        yield


def ask(*words: str) -> Any:
    return RUNNER.invoke(app, list(words))


@pytest.mark.parametrize("name", ANSWERS)
def test_text_has_an_answer_and_the_caution(name: str) -> None:
    done = ask(*ANSWERS[name])
    assert done.exit_code == 0, done.stderr
    assert CAUTIONED[name] in " ".join(done.stdout.split())
    if name != "law":
        assert any(word in done.stdout for word in ("FINE:", "LOOK AGAIN:", "STOP:"))
    assert "nan" not in done.stdout.lower() and "degC" not in done.stdout


@pytest.mark.parametrize("name", ["law", "bench", "check"])
def test_json_is_one_object_with_units_and_inputs(name: str) -> None:
    done = ask(*ANSWERS[name], "--json")
    assert done.exit_code == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer["schema"] == f"ridesim.{name}/2"
    assert answer["inputs"]
    assert "verdict" in (answer["report"] if name == "law" else answer)


@pytest.mark.parametrize("name", ["belt", "wire", "pack", "size", "rewind", "check"])
def test_out_writes_text_json_and_a_picture(name: str, tmp_path: Path) -> None:
    done = ask(*ANSWERS[name], "--out", str(tmp_path / "answer"), "--json")
    assert done.exit_code == 0, done.stderr
    written = {path.name for path in (tmp_path / "answer").glob("[!.]*")}
    assert {"answer.json", "answer.txt"} <= written
    assert any(name.endswith(".png") for name in written)
    answer = json.loads((tmp_path / "answer" / "answer.json").read_text(encoding="utf-8"))
    assert answer == json.loads(done.stdout)
    assert answer["schema"] == f"ridesim.{name}/2" and answer["verdict"] and answer["inputs"]


def test_a_page_of_the_check(tmp_path: Path) -> None:
    page = tmp_path / "check.html"
    done = ask(*ANSWERS["check"], "--report", str(page))
    assert done.exit_code == 0, done.stderr
    text = page.read_text(encoding="utf-8")
    assert "winding" in text and "<svg" in text and "stage 2" in text


def test_check_names_the_hot_motor() -> None:
    sheet = json.loads(ask(*ANSWERS["check"], "--json").stdout)
    by_name = {each["name"]: each for each in sheet["findings"]}
    assert by_name["winding"]["verdict"] == "stop" and by_name["winding"]["figure"] > 155.0
    assert sheet["verdict"] == "stop" and "winding" in sheet["reason"]


def test_check_has_the_first_turn_in_text_and_json() -> None:
    steps = json.loads(ask(*ANSWERS["check"], "--json").stdout)["first_turn"]
    assert [set(step) for step in steps] == [{"what", "to_do"}] * len(steps) and len(steps) >= 10
    text = " ".join(ask(*ANSWERS["check"]).stdout.split())
    assert "Before the first turn of the wheel" in text and steps[0]["to_do"] in text


def test_check_without_a_road_climbs_as_told() -> None:
    steep = json.loads(ask("check", TWO, "--grade", "10", "--minutes", "15", "--json").stdout)
    gentle = json.loads(ask("check", TWO, "--grade", "3", "--minutes", "5", "--json").stdout)
    assert steep["inputs"]["climb"] == {"grade_percent": 10.0, "minutes_min": 15.0}
    hot, cool = (
        next(each["figure"] for each in sheet["findings"] if each["name"] == "winding") for sheet in (steep, gentle)
    )
    assert hot > cool + 50.0


def test_belts_by_hand_in_every_layout() -> None:
    stage = ["--driver-teeth", "20", "--driven-teeth", "100", "--centre-mm", "240", "--torque-nm", "3"]
    one = json.loads(ask("belt", *stage, "--json").stdout)
    assert one["stages"][0]["check"]["geometry"]["ratio"] == 5.0
    two = json.loads(ask("belt", *stage, "--second-stage", "18,72,200,25", "--json").stdout)
    assert two["two_stages"]["ratio"] == pytest.approx(20.0)
    joined = json.loads(ask("belt", *stage, "--joined", "20,20,90,15", "--json").stdout)
    assert joined["joined"]["shaft_torque_nm"] == pytest.approx(3.0 + 3.0 * 0.97)
    motors = ["--motor", "330,60,24", "--motor", "330,-60,24"]
    series = ["belt", "--driven-teeth", "136", "--torque-nm", "3", *motors, "--pretension-n", "10"]
    slack = json.loads(ask(*series, "--json").stdout)
    assert slack["verdict"] == "stop" and any("slack" in words for words in slack["series"]["warnings"])
    by_belt = json.loads(ask("belt", *stage[:4], "--belt-teeth", "160", "--torque-nm", "3", "--json").stdout)
    assert by_belt["stages"][0]["check"]["geometry"]["belt_teeth"] == pytest.approx(160.0)
    pairs = json.loads(ask("belt", "--ratio", "9", "--centre-mm", "320", "--json").stdout)
    assert pairs["pairs"][0]["ratio"] == pytest.approx(9.0)


def test_imperial_units_are_for_people() -> None:
    text = ask("size", *ANSWERS["size"][1:], "--units", "imperial").stdout
    assert "mph" in text and "km/h" not in text.split("note:")[0]


def test_group_reads_a_table(tmp_path: Path) -> None:
    table = tmp_path / "cells.csv"
    table.write_text("cell,capacity\n" + "\n".join(f"{n},{2.8 + 0.01 * n}" for n in range(14)) + "\n", encoding="utf-8")
    asked = ("group", str(table), "--series", "4", "--parallel", "3")
    answer, text = json.loads(ask(*asked, "--json").stdout), ask(*asked).stdout
    assert len(answer["spare"]) == 2 and set(answer["spare"]) <= {1, 2, 3}
    assert sorted(sum(answer["groups"], answer["spare"])) == list(range(1, 15))  # counted from 1, as the text does
    left = text.split("Left over: ")[1].split("\n\n")[0]
    assert [int(words.split()[-1]) for words in left.split(" (")[:-1]] == answer["spare"]
    assert len(answer["groups"]) == 4 and answer["weakest_group_fraction"] > 0.99
    worn = tmp_path / "worn.txt"
    worn.write_text("2.8\n" * 11 + "1.4\n", encoding="utf-8")
    assert json.loads(ask("group", str(worn), *asked[2:], "--json").stdout)["weak"] == [12]


def test_group_tells_how_it_read_the_file_and_what_resistance_does(tmp_path: Path) -> None:
    plain = tmp_path / "plain.txt"
    plain.write_text("2500\n2510\n2490\n2505\n", encoding="utf-8")
    text = ask("group", str(plain), "--series", "2", "--parallel", "2").stdout
    told = json.loads(ask("group", str(plain), "--series", "2", "--parallel", "2", "--json").stdout)
    assert any("2500 mAh" in note for note in told["notes"])
    assert "2500 mAh is 2.5 Ah" in text and "measure resistances too" in " ".join(text.split())
    table = tmp_path / "cells.csv"
    table.write_text("cell;capacity_ah;resistance_mohm\n1;2,5;30\n2;2,5;40\n", encoding="utf-8")
    answer = json.loads(ask("group", str(table), "--series", "2", "--parallel", "1", "--json").stdout)
    assert sorted(answer["group_resistance_mohm"]) == pytest.approx([30.0, 40.0])
    assert answer["verdict"] == "look again" and answer["capacities_ah"] == [2.5, 2.5]


def test_a_cold_pack_is_told_not_to_be_charged_and_the_answer_stays_whole() -> None:
    done = ask(*ANSWERS["pack"], "--temperature-c", "-5")
    assert done.exit_code == 0, done.stderr
    text = " ".join(done.stdout.split())
    assert "STOP:" in text and "no charging below 0 °C" in text and "Schmalstieg et al. 2014" in text
    cold = json.loads(ask(*ANSWERS["pack"], "--rest-temperature-c", "-5", "--json").stdout)
    assert all(plan["ageing"] is None and "temperature_c = -5" in plan["no_ageing"] for plan in cold["plans"])
    assert any("ageing" in note and "no figure" in note for note in cold["notes"])


def test_imperial_pack_has_no_kilograms() -> None:
    text = ask(*ANSWERS["pack"], "--units", "imperial", "--temperature-c", "-5").stdout
    assert "lb" in text and "below 32 °F" in " ".join(text.split())
    assert " kg" not in text and "°C" not in text


def test_law_says_what_the_builds_own_run_gives_and_counts_a_place_once() -> None:
    light = "configs/commuter-light.toml"
    stated = ["law", light, "--rated-power-w", "250", "--where", "eu"]
    once, twice = (json.loads(ask(*words, "--json").stdout) for words in (stated, [*stated, "--where", "EU"]))
    assert once["report"] == twice["report"] and len(once["report"]["findings"]) == 1
    peak = once["own_run_peak_w"]
    assert peak > 750.0 and once["power_verdict"] == "look again"
    text = " ".join(ask(*stated, "--units", "imperial").stdout.split())
    assert f"its own run at full throttle gives {peak:.0f} W" in text
    assert "km/h" not in text and "mph)" in text
    limited = json.loads(ask(*stated, "--set", "controller.motor_power_limit_w=700", "--json").stdout)
    assert limited["power_verdict"] == "fine" and limited["own_run_peak_w"] < 750.0
    unstated = json.loads(ask("law", light, "--where", "eu", "--json").stdout)
    assert unstated["rated_power_w"] == unstated["own_run_peak_w"] == pytest.approx(peak)
    assert unstated["power_reason"] == f"no rated power is stated, so the most of its own run counts, {peak:.0f} W"


WRONG: list[tuple[list[str], str]] = [
    (["check", "nobody.toml"], "no such file"),
    (["check", BELT, CLIMB, "--grade", "5"], "leave out one of them"),
    (["check", BELT, "--minutes", "0"], "climb_min"),
    (["belt", HUB], "no stage of kind belt"),
    (["belt", BELT, "--driver-teeth", "14"], "does not read --driver-teeth"),
    (["belt", "--driver-teeth", "20"], "--torque-nm"),
    (["belt", "--driven-teeth", "100", "--motor", "1,2,20", "--torque-nm", "3"], "2 needed"),
    (["belt", "--driven-teeth", "100", "--motor", "1,2,x", "--motor", "9,9,20", "--torque-nm", "3"], "list of numbers"),
    (["wire", "--voltage-v", "50"], "no current"),
    (["wire", "--voltage-v", "50", "--pack-rms-a", "20", "--jacket", "wool"], "'wool' is not known"),
    (["wire", "--voltage-v", "50", "--pack-peak-a", "20"], "--pack-rms-a"),
    (["wire", "--voltage-v", "50", "--pack-rms-a", "20", "--controllers", "3"], "allowed 1 to 2"),
    (["wire", BELT, "--voltage-v", "50"], "does not read --voltage-v"),
    (["rewind", "--turns", "7", "--teeth", "12", "--connection", "star", "--wire-mm", "0.5"], "--kv"),
    ([*ANSWERS["rewind"][:-2], "--to-wire-mm", "0"], "wire_diameter_mm"),
    ([*ANSWERS["rewind"][:-2], "--to-turns", "0"], "turns"),
    ([*ANSWERS["rewind"][:-2], "--kv", "0"], "kv_rpm_per_v"),
    (["pack", "--voltage", "48", "--energy-wh", "700", "--current", "30", "--cell", "nobody"], "no such part"),
    (["pack", "--voltage", "-1", "--energy-wh", "700", "--current", "30"], "nominal_voltage_v"),
    (["group", "nobody.txt", "--series", "3", "--parallel", "2"], "no such file"),
    (["law", BELT, "--where", "atlantis"], "'atlantis' is not known"),
    (["bench", "--spin", "3"], "V_RMS,RPM"),
    (["size", "--mass-kg", "140", "--top-speed-km-h", "30", "--hill", "8", "--range-km", "40"], "PERCENT,KM"),
    (
        ["size", "--mass-kg", "140", "--top-speed-km-h", "30", "--hill", "8,45", "--range-km", "40"],
        "not below the range",
    ),
]


@pytest.mark.parametrize(("words", "says"), WRONG, ids=[" ".join(words[:3]) for words, _ in WRONG])
def test_bad_input_is_one_clear_line(words: list[str], says: str) -> None:
    done = ask(*words)
    assert done.exit_code == 2
    assert not done.stdout
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1 and says in lines[0] and "Traceback" not in lines[0]


@pytest.mark.parametrize("name", [*ANSWERS, "group"])
def test_help_has_a_worked_example(name: str) -> None:
    done = ask(name, "--help")
    assert done.exit_code == 0 and f"Example: ridesim {name}" in done.stdout.replace("\n ", " ")


@pytest.mark.parametrize("name", ["belt", "wire"])
def test_an_answer_says_how_much_of_it_is_guessed_and_its_json_has_every_note(name: str) -> None:
    text = ask(*ANSWERS[name]).stdout
    printed = " ".join(text.split())
    answer = json.loads(ask(*ANSWERS[name], "--json").stdout)
    (leans,) = answer["leans_on"]
    assert leans["defaults"] > 10 and leans["estimates"] > 3
    assert f"leans on {leans['defaults']} defaults and {leans['estimates']} estimates" in printed
    assert len(answer["notes"]) == text.count("\nnote: ")
    assert all(note in printed for note in answer["notes"])


def test_wire_names_fuses_watts_and_what_it_counts(root: Path) -> None:
    answer = json.loads(ask("wire", BELT, "--json").stdout)
    assert answer["charge_fuse"]["rating_a"] < answer["fuse"]["rating_a"] <= answer["connector"]["current_limit_a"]
    assert answer["precharge"]["standby_current_a"] == pytest.approx(1.5 / 54.6)
    assert answer["precharge"]["buy_w"] >= 1.0 and "wirewound" in answer["precharge"]["buy_kind"]
    assert answer["inputs"]["habits"]["joint_limit_c"] == 90.0
    bunched = json.loads(ask("wire", BELT, "--together", "7", "--json").stdout)
    hot = json.loads(ask("wire", BELT, "--lead-limit-c", "180", "--json").stdout)
    areas = [each["leads"][1]["chosen"]["area_mm2"] for each in (hot, answer, bunched)]
    assert areas[0] < areas[1] < areas[2]
    blade = ["wire", "--voltage-v", "84", "--pack-rms-a", "20", "--fuse", "blade"]
    assert json.loads(ask(*blade, "--json").stdout)["verdict"] == "stop"
    standing = ["wire", "--voltage-v", "54.6", "--pack-rms-a", "20", "--capacitance-uf", "1000", "--standby-w", "1.5"]
    assert json.loads(ask(*standing, "--json").stdout)["precharge"]["standby_current_a"] == pytest.approx(1.5 / 54.6)


METRIC_WORDS = re.compile(r"[0-9] (?:N·m|N|m/s|m|mm|km|km/h|°C|K|kg|mm²|A/mm²|Wh/km)(?![\w·/²])")


@pytest.mark.parametrize("name", ["belt", "wire"])
def test_an_imperial_answer_has_no_metric_figure(name: str) -> None:
    """But for the names of parts as the trade sells them: a belt's width, a fuse's size, the cord's table."""
    text = ask(*ANSWERS[name], "--units", "imperial").stdout
    rows = [line for line in text.splitlines() if not line.startswith("belt ")]
    assert METRIC_WORDS.findall("\n".join(rows)) == []
    assert METRIC_WORDS.findall(ask(*ANSWERS[name]).stdout)


def test_belt_hears_geometry_tensions_and_shaft() -> None:
    stage = ["belt", "--driver-teeth", "20", "--driven-teeth", "100", "--centre-mm", "240", "--width-mm", "25",
             "--torque-nm", "3", "--second-stage", "22,72,200,25"]  # fmt: skip
    free = json.loads(ask(*stage, "--json").stdout)
    told = json.loads(ask(*stage, "--turn-deg", "90", "--pretension-n", "160,500", "--json").stdout)
    assert free["two_stages"]["jackshaft"]["angle_deg"] is None
    assert told["two_stages"]["jackshaft"]["angle_deg"] == 90.0
    assert [each["check"]["tensions"]["pretension_n"] for each in told["stages"]] == [160.0, 500.0]
    shaft = json.loads(ask(*stage, "--shaft-mm", "8", "--overhang-mm", "30", "--json").stdout)["shafts"][0]
    assert (shaft["limit_from"], shaft["overhang_mm"], shaft["verdict"]) == ("estimate", 30.0, "look again")
    assert json.loads(ask(*stage, "--shaft-limit-n", "10", "--json").stdout)["verdict"] == "stop"
    assert "Hz when plucked" in ask(*stage).stdout and "--turn-deg" in ask(*stage).stdout
    assert "list of numbers" in ask(*stage, "--pretension-n", "tight").stderr
