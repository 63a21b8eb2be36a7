"""`ridesim fit`, `ridesim coastdown` and `ridesim evidence` at the command line."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from ridesim.cli.app import app

RUNNER = CliRunner()


@pytest.fixture
def run_file(tmp_path: Path) -> Path:
    """Coasting with a constant drag of 10 N per 100 kg and some air: enough to lose speed."""
    time = np.arange(0.0, 40.0)
    speed = 8.0 * np.exp(-time / 60.0) - 0.05 * time
    place = tmp_path / "run.csv"
    place.write_text("time_s,speed_m_per_s\n" + "".join(f"{t},{v}\n" for t, v in zip(time, speed, strict=True)))
    return place


@pytest.fixture
def log_file(tmp_path: Path) -> Path:
    time = np.arange(0.0, 2400.0)
    speed = 7.0 + np.sin(time / 60.0)
    rows = "".join(
        f"{t},{v},{100 + 5 * np.sin(t / 200)},{180 + 60 * np.sin(t / 60)}\n" for t, v in zip(time, speed, strict=True)
    )
    place = tmp_path / "ride.csv"
    place.write_text("time_s,speed_m_per_s,altitude_m,power_w\n" + rows)
    return place


def test_coastdown_answers_in_json_and_writes_its_picture(run_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    ended = RUNNER.invoke(app, ["coastdown", str(run_file), "--mass", "100", "--json", "--out", str(out)])
    assert ended.exit_code == 0, ended.stderr
    answer = json.loads(ended.stdout)
    assert answer["schema"] == "ridesim.coastdown/2"
    assert answer["drag_area_m2"] > 0.0
    assert sorted(place.name for place in out.glob("[!.]*")) == ["answer.json", "answer.txt", "speeds.png"]


def test_the_mass_is_printed_and_an_assumed_one_is_told(run_file: Path, log_file: Path) -> None:
    for command, file in (("coastdown", run_file), ("fit", log_file)):
        silent = " ".join(RUNNER.invoke(app, [command, str(file)]).stdout.split())
        assert "80 kg of rider and bike" in silent and "--mass is not given" in silent
        told = " ".join(RUNNER.invoke(app, [command, str(file), "--mass", "97"]).stdout.split())
        assert "97 kg of rider and bike" in told and "--mass is not given" not in told
    answer = json.loads(RUNNER.invoke(app, ["coastdown", str(run_file), "--json"]).stdout)
    assert answer["mass_kg"] == 80.0 and any("--mass" in note for note in answer["notes"])
    assert answer["drag_area_90_m2"][0] <= answer["drag_area_m2"] <= answer["drag_area_90_m2"][1]
    assert answer["verdict"] == "look again"


def test_imperial_pages_speak_of_miles_and_pounds_alone(run_file: Path, log_file: Path) -> None:
    for command, file in (("coastdown", run_file), ("fit", log_file)):
        text = RUNNER.invoke(app, [command, str(file), "--mass", "97", "--units", "imperial"]).stdout
        assert "mph" in text and "214 lb" in text
        assert "km/h" not in text and " m/s" not in text and " kg" not in text


def test_fit_answers_in_words_and_writes_a_page(log_file: Path, tmp_path: Path) -> None:
    page = tmp_path / "fit.html"
    ended = RUNNER.invoke(app, ["fit", str(log_file), "--mass", "85", "--report", str(page), "--units", "imperial"])
    assert ended.exit_code == 0, ended.stderr
    assert "drag_area_m2 =" in ended.stdout
    assert "187 lb" in ended.stdout
    assert "<svg" in page.read_text()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["fit", "none.csv"], "none.csv: no such file"),
        (["fit", "{run}"], "lacks the column altitude_m, power_w"),
        (["fit", "{log}", "--mass", "2"], "mass: 2 kg is out of range"),
        (["coastdown", "{run}", "--back", "none.csv"], "none.csv: no such file"),
        (["evidence", "--subject", "wings"], "none called 'wings'"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(words: list[str], told: str, run_file: Path, log_file: Path) -> None:
    given = [word.format(run=run_file, log=log_file) for word in words]
    ended = RUNNER.invoke(app, given)
    assert ended.exit_code == 2
    assert told in ended.stderr
    assert ended.stdout == ""


def test_evidence_prints_the_table_and_json() -> None:
    ended = RUNNER.invoke(app, ["evidence", "--subject", "air", "--subject", "vehicle"])
    assert ended.exit_code == 0, ended.stderr
    assert "All 52 checks hold" in ended.stdout
    assert "ISO 2533:1975" in ended.stdout
    ended = RUNNER.invoke(app, ["evidence", "--subject", "air", "--json"])
    answer = json.loads(ended.stdout)
    assert answer["count"] == 41
    assert answer["missed"] == 0
    assert {"quantity", "ours", "theirs", "difference", "tolerance", "source", "holds"} <= set(answer["checks"][0])


def test_a_miss_is_told_and_still_exits_0(monkeypatch: pytest.MonkeyPatch) -> None:
    from ridesim.evidence import air

    monkeypatch.setattr(air, "air_density", lambda *_given: 1.3)
    ended = RUNNER.invoke(app, ["evidence", "--subject", "air", "--misses"])
    assert ended.exit_code == 0
    assert "LOOK AGAIN" in ended.stdout
    assert "NO" in ended.stdout
    assert "standard atmosphere at 0 m" not in ended.stdout
