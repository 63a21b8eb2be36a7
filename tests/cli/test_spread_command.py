"""`ridesim spread`: the whole story from the command line, and one clear line for bad questions."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

BUILD, ROAD = "configs/longtail-two-stage.toml", "routes/ridge-climb.gpx"
KEYS = "motor.kv_rpm_per_v,motor.winding_to_body_w_per_k,motor.resistance_mohm"


@pytest.fixture(scope="module")
def told(ridesim_command, tmp_path_factory):
    """One run with files and a page: (JSON, folder, page)."""
    folder = tmp_path_factory.mktemp("spread")
    page = folder / "page.html"
    done = ridesim_command(
        "spread", BUILD, ROAD, "--samples", 32, "--only", KEYS, "--json", "--out", folder / "files", "--report", page
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout), folder / "files", page


def test_json_holds_spans_chances_and_carriers(told):
    answer, _, _ = told
    assert answer["schema"] == "ridesim.spread/2"
    assert (answer["samples"], answer["seed"], answer["verdict"]) == (32, 1, "stop")
    winding = answer["answers"]["peak_winding_temp_c"]
    ends = {each["share"]: each for each in winding["percentiles"]}
    assert ends[0.1]["value"] < winding["as_built"] < ends[0.9]["value"]
    assert ends[0.9]["low"] <= ends[0.9]["value"] <= ends[0.9]["high"]
    assert sum(answer["ends"].values()) == 32
    assert [each["key"] for each in answer["uncertain"]] and len(answer["uncertain"]) == 3
    assert {each["key"] for each in answer["carriers"]} == set(KEYS.split(","))
    assert {"first_order", "total", "total_low"} <= set(answer["carriers"][0])
    assert answer["measure_next"][0]["command"].startswith("ridesim bench")
    chances = {each["limit"]: each["chance"] for each in answer["chances"]}
    assert chances["winding"] > 0.5 and chances["cells_heat"] == 0.0


def test_files_and_page(told):
    _, files, page = told
    names = {file.name for file in files.glob("[!.]*")}
    assert {"answer.txt", "answer.json", "draws.csv", "along-the-road.png", "answers.png", "carriers.png"} <= names
    with (files / "draws.csv").open() as source:
        assert len(list(csv.DictReader(source))) == 32
    text = (files / "answer.txt").read_text()
    for words in ("in 8 of 10 bikes like it", "What to measure next", "arrive", "Who carries the spread"):
        assert words in text
    assert page.read_text().count("<svg") >= 3


def test_a_tolerance_in_the_build_narrows_the_span(ridesim_command):
    widths = []
    for said in ("10 %", "1 %"):
        change = f'tolerance.motor.kv_rpm_per_v="{said}"'
        done = ridesim_command(
            "spread", BUILD, ROAD, "--samples", 32, "--only", "motor.kv_rpm_per_v", "--json", "--set", change
        )
        assert done.returncode == 0, done.stderr
        widths.append(json.loads(done.stdout)["answers"]["peak_winding_temp_c"]["standard_deviation"])
    assert widths[1] < 0.3 * widths[0]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--answer", "heat"), "there is no answer 'heat'"),
        (("--samples", 3), "out of range"),
        (("--samples", 1_000_000), "say --yes"),
        (("--only", "motor.kv"), "did you mean motor.kv_rpm_per_v"),
        (("--set", 'tolerance.motor.resistance_mohm="0 %"'), 'write "exact"'),
        (("--set", 'tolerance.motor.resistence_mohm="5 %"'), "did you mean motor.resistance_mohm"),
    ],
)
def test_bad_questions_in_one_line(ridesim_command, tmp_path: Path, words, said):
    done = ridesim_command("spread", BUILD, ROAD, *words, "--out", tmp_path / "files")
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "files").exists()
