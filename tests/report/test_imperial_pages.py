"""Pages asked for in imperial units speak no metric: answers, tables, pictures, notes and cautions."""

from __future__ import annotations

import csv
import html
import re
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from ridesim.cli.app import app

METRIC = re.compile(r"[0-9] ?(?:km/h|km|°C|kg|N·m|N|m/s|m|mm|K|Wh/km|l)(?![\w·²/])|\[(?:km/h|km|°C|kg|mm|m|Wh/km)\]")
TRADE = re.compile(r"motor-80mm|\d+ x \d+ mm cylinder|round pin [\d.]+ mm|\d+M, [\d.]+ mm")
"""Sizes by which the trade sells parts everywhere."""
COMMANDS = (
    "check {builds}/longtail-two-stage.toml {roads}/ridge-climb.gpx",
    "climb {builds}/longtail-belt.toml --grade 8 --length 4",
    "climb {builds}/longtail-belt.toml --grade 10 --length 5 --find speed",
    "road {roads}/valley-commute.gpx",
    "pack --voltage 48 --energy-wh 700 --current 30 --temperature-c -5",
    "law {builds}/commuter-light.toml --rated-power-w 250 --where eu",
    "wire {builds}/longtail-belt.toml {roads}/ridge-climb.gpx",
    "belt {builds}/longtail-two-stage.toml {roads}/ridge-climb.gpx",
    "ride {builds}/longtail-belt.toml {roads}/ridge-climb.gpx --quick",
    "ride {builds}/longtail-two-stage.toml {roads}/ridge-climb.gpx --quick --set controller.motor_current_limit_a=20",
    "ratios {builds}/longtail-two-stage.toml {roads}/ridge-climb.gpx --quick --ratios 7,9"
    " --set weather.temperature_c=-8",
    "launch {builds}/longtail-belt.toml --set weather.temperature_c=-8",
    "throttle {builds}/longtail-two-stage.toml --grade 8 --length 1",
    "compare {builds}/longtail-belt.toml {builds}/longtail-hub.toml --road {roads}/ridge-climb.gpx",
)


OF_RECORDINGS = (
    "log {here}/log.csv",
    "replay {builds}/longtail-belt.toml {here}/log.csv",
    "fit {builds}/longtail-belt.toml {here}/log.csv"
    " --only motor.resistance_mohm --only motor.kv_rpm_per_v --only tyre.circumference_mm",
    "coastdown {here}/coast.csv",
    "search {here}/goals.toml --samples 16",
    "season {builds}/longtail-belt.toml {here}/hill.toml --days mon --years 1",
)
READ = (
    "time_s", "speed_km_h", "distance_km", "altitude_m", "motor_speed_rpm", "motor_current_a", "pack_current_a",
    "pack_voltage_v", "winding_temp_c", "body_temp_c",
)  # fmt: skip
FILED = re.compile(r"\b(?:log\.\w+_k|tyre\.circumference_mm) .*")
"""Rows of a file's keys, whose names carry their unit."""


@pytest.fixture(scope="module")
def recorded(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a made log (a sensor broken, one off), a coast and goals."""
    here = tmp_path_factory.mktemp("recorded")
    (here / "hill.toml").write_text('[road]\nkind = "climb"\nlength_km = 0.8\ngrade_percent = 6.0\n')
    asked = ["ride", root / "configs" / "longtail-belt.toml", here / "hill.toml", "--quick", "--out", here / "ridden"]
    assert CliRunner().invoke(app, [str(each) for each in asked]).exit_code == 0
    with (here / "ridden" / "trace.csv").open() as trace, (here / "log.csv").open("w") as log:
        writer = csv.DictWriter(log, READ, extrasaction="ignore")
        writer.writeheader()
        for at, row in enumerate(csv.DictReader(trace)):
            off = {"winding_temp_c": 900.0} if at in range(5, 12) else {"body_temp_c": 30.0 + 0.3 * at}
            writer.writerow({**row, **off})
    times = np.arange(0.0, 40.0)
    (here / "coast.csv").write_text(
        "time_s,speed_m_per_s\n" + "".join(f"{at:g},{9.0 - 0.15 * at + 0.001 * at * at:.3f}\n" for at in times)
    )
    (here / "goals.toml").write_text(GOALS.format(builds=root / "configs"))
    return here


GOALS = """
name = "small"
build = "{builds}/longtail-belt.toml"
matters = ["net_energy_wh", "peak_winding_temp_c"]
[[road]]
file = "hill.toml"
[vary]
motor = ["motor-80mm", "8085,130"]
parallel = [4, 5]
cruise_speed_km_h = [17, 20, 25]
[[hold]]
what = "peak_winding_temp_c"
at_most = 37
[[hold]]
what = "bike_mass_kg"
at_most = 38
[[hold]]
what = "top_speed_km_h"
at_least = 19
"""


@pytest.mark.parametrize("words", OF_RECORDINGS, ids=[words.split()[0] for words in OF_RECORDINGS])
def test_an_imperial_page_of_a_recording_is_imperial(words: str, root: Path, recorded: Path, tmp_path: Path) -> None:
    asked = words.format(builds=root / "configs", here=recorded)
    for text in _told(asked, tmp_path / "page.html"):
        assert _metric(FILED.sub("", text)) == []


@pytest.mark.parametrize("words", COMMANDS, ids=[words.split()[0] + str(at) for at, words in enumerate(COMMANDS)])
def test_an_imperial_page_is_imperial(words: str, root: Path, tmp_path: Path) -> None:
    asked = words.format(builds=root / "configs", roads=root / "routes")
    for text in _told(asked, tmp_path / "page.html"):
        assert _metric(text) == []


def _told(asked: str, place: Path) -> tuple[str, str]:
    """Return what a command's page shows and what it prints, both in imperial units."""
    done = CliRunner().invoke(app, [*asked.split(), "--units", "imperial", "--report", str(place)])
    assert done.exit_code == 0, done.stderr
    page = place.read_text(encoding="utf-8").partition("<body>")[2]
    shown = re.split(r"<h2>(?:Your numbers|What this model leaves out|Where this came from)", page)[0]
    told = html.unescape(re.sub(r"<(?:style|defs)\b.*?</(?:style|defs)>|<[^>]*>", " ", shown, flags=re.DOTALL))
    assert "32 °F" in told  # the caution about charging in the cold
    return told, done.stdout


def _metric(text: str) -> list[str]:
    known = TRADE.sub("", text)
    return [known[max(at.start() - 40, 0) : at.end() + 20] for at in METRIC.finditer(known)]
