"""Pages asked for in imperial units speak no metric: answers, tables, pictures, notes and cautions."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from ridesim.cli.app import app

METRIC = re.compile(r"[0-9] ?(?:km/h|km|°C|kg|N·m|N|m/s|m|mm|K|Wh/km|l)(?![\w·²/])|\[(?:km/h|km|°C|kg|mm|m|Wh/km)\]")
TRADE = re.compile(r"\d+ x \d+ mm cylinder|round pin [\d.]+ mm|\d+M, [\d.]+ mm")
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
    "ratios {builds}/longtail-two-stage.toml {roads}/ridge-climb.gpx --quick --ratios 7,9",
    "throttle {builds}/longtail-two-stage.toml --grade 8 --length 1",
    "compare {builds}/longtail-belt.toml {builds}/longtail-hub.toml --road {roads}/ridge-climb.gpx",
)


@pytest.mark.parametrize("words", COMMANDS, ids=[words.split()[0] + str(at) for at, words in enumerate(COMMANDS)])
def test_an_imperial_page_is_imperial(words: str, root: Path, tmp_path: Path) -> None:
    place = tmp_path / "page.html"
    asked = words.format(builds=root / "configs", roads=root / "routes").split()
    done = CliRunner().invoke(app, [*asked, "--units", "imperial", "--report", str(place)])
    assert done.exit_code == 0, done.stderr
    page = place.read_text(encoding="utf-8").partition("<body>")[2]
    shown = re.split(r"<h2>(?:Your numbers|What this model leaves out|Where this came from)", page)[0]
    told = html.unescape(re.sub(r"<(?:style|defs)\b.*?</(?:style|defs)>|<[^>]*>", " ", shown, flags=re.DOTALL))
    for text in (told, done.stdout):
        known = TRADE.sub("", text)
        assert [known[max(at.start() - 40, 0) : at.end() + 20] for at in METRIC.finditer(known)] == []
    assert "32 °F" in told  # the caution about charging in the cold
