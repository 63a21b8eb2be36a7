"""`ridesim search` as people use it: files, JSON, an interrupt, a second go, and bad input."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., subprocess.CompletedProcess[str]]

GOALS = """
name = "small"
build = "{root}/configs/longtail-belt.toml"
matters = ["net_energy_wh", "total_time_s"]
[[road]]
file = "hill.toml"
[vary]
motor = ["motor-80mm", "8085,130"]
cell = ["cell-18650-nmc-power", "cell-lfp-32700"]
parallel = [4, 5]
cruise_speed_km_h = [20, 25]
[[hold]]
what = "peak_winding_temp_c"
at_most = 120
certainty_percent = 80
"""
HILL = """
[road]
kind = "climb"
length_km = 1.0
grade_percent = 4.0
"""


@pytest.fixture
def goals(root: Path, tmp_path: Path) -> Path:
    (tmp_path / "hill.toml").write_text(HILL)
    (tmp_path / "goals.toml").write_text(GOALS.format(root=root))
    return tmp_path / "goals.toml"


def test_it_writes_builds_that_ride_to_what_it_printed(ridesim_command: Run, goals: Path, tmp_path: Path):
    out, page = tmp_path / "found", tmp_path / "found.html"
    done = ridesim_command("search", goals, "--json", "--out", out, "--report", page, "--samples", "16")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["schema"] == "ridesim.search/2" and told["combinations"] == 16
    assert page.stat().st_size > 10_000 and (out / "front.png").stat().st_size > 10_000
    for member in told["members"]:
        build = out / f"build-{member['build']}.toml"
        assert len(build.read_text().splitlines()) < 16
        ride = json.loads(ridesim_command("ride", build, tmp_path / "hill.toml", "--json").stdout)
        assert ride["verdict"]["word"] != "stop"
        for key, value in member["figures"].items():
            assert ride[key] == pytest.approx(value, rel=1e-9), key
    again = ridesim_command("search", goals, "--json", "--out", out, "--samples", "16")
    assert "rides were known from" in again.stderr
    assert json.loads(again.stdout)["members"] == told["members"]


def test_it_says_in_words_what_it_found(ridesim_command: Run, goals: Path):
    done = ridesim_command("search", goals, "--samples", "16", "--most", "3", "--units", "imperial")
    assert done.returncode == 0, done.stderr
    for words in ("is the knee", "The front", "What each is made of", "rule of thumb", "°F", "Local law decides"):
        assert words in done.stdout


def test_an_interrupt_keeps_what_is_done_and_says_how_to_go_on(root: Path, tmp_path: Path):
    text = GOALS.format(root=root).replace("hill.toml", f"{root}/routes/terrace-round.gpx")
    text = text.replace("parallel = [4, 5]", "parallel = [3, 4, 5, 6]\nseries = [10, 11, 12, 13, 14]")
    text = text.replace("[20, 25]", f"{[float(each) for each in range(12, 30)]}")
    text = text.replace("[vary]", f"[vary]\nmotor_current_limit_a = {[float(each) for each in range(50, 80, 3)]}")
    (tmp_path / "goals.toml").write_text(text)
    words = ["search", tmp_path / "goals.toml", "--out", tmp_path / "out", "--yes"]
    running = subprocess.Popen(
        [sys.executable, "-m", "ridesim", *map(str, words)], cwd=root, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, env={**os.environ, "TERM": "dumb"},
    )  # fmt: skip
    until = time.monotonic() + 120.0
    while not list(tmp_path.glob("out/rides-*/*")) and running.poll() is None and time.monotonic() < until:
        time.sleep(0.05)
    running.send_signal(signal.SIGINT)
    _, told = running.communicate(timeout=60)
    assert running.returncode == 130, told
    assert "the same command goes on from there" in told and "Traceback" not in told
    assert list(tmp_path.glob("out/rides-*/draft-*"))
    assert not list(tmp_path.glob("out/*.toml"))


def test_bad_input_is_one_line_and_exit_code_2(ridesim_command: Run, goals: Path, tmp_path: Path):
    for words, told in (
        (["none.toml"], "there is no such file"),
        ([goals, "--way", "sideways"], "there is no way 'sideways'"),
        ([goals, "--way", "evolve", "--most", "0"], "Invalid value"),
        ([], "Usage"),
    ):
        done = ridesim_command("search", *words)
        assert done.returncode == 2 and "Traceback" not in done.stderr
        assert told in done.stderr + done.stdout
    goals.write_text(goals.read_text().replace("at_most = 120", "at_most = 120\nat_least = 130"))
    done = ridesim_command("search", goals)
    assert done.returncode == 2 and done.stderr.count("\n") == 1 and "nothing can keep both" in done.stderr


def test_new_names_and_keys(ridesim_command: Run, tmp_path: Path):
    assert ridesim_command("search", "--new", tmp_path / "g.toml").returncode == 0
    assert "matters = " in (tmp_path / "g.toml").read_text()
    assert ridesim_command("search", "--new", tmp_path / "g.toml").returncode == 2
    assert "peak_winding_temp_c" in ridesim_command("search", "--names").stdout
    assert "| `certainty_percent` |" in ridesim_command("search", "--keys").stdout
