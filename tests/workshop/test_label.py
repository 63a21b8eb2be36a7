"""A motor part from its label: what is scaled, how wide it says it is, and what is refused."""

from __future__ import annotations

import csv
import math
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from ridesim.bike.load import load_build, replace_keys
from ridesim.errors import BuildError
from ridesim.evidence.checks import data_folder
from ridesim.road.load import load_road
from ridesim.schema.tolerance import parse_tolerance
from ridesim.sure.uncertain import doubts_of
from ridesim.workshop.size.label import TOLERANCES, label_part, labelled_motor, parse_label, part_text
from ridesim.workshop.size.parts import load_motor, scaled_motor

SAEMI_MASS, SAEMI_RESISTANCE = 0.10, 0.20
"""Saemi and Benedict (2024), Aerospace 11(8):649, abstract: seven motors taken apart, from their size."""


def test_a_generic_motor_s_own_label_gives_the_motor_itself():
    part = load_motor("motor-63mm")
    made = labelled_motor(parse_label("6374,180"))
    assert made["resistance_mohm"] == pytest.approx(part.resistance_mohm, rel=5e-3)
    assert made["mass_kg"] == pytest.approx(part.mass_kg, rel=5e-3)
    assert made["inductance_uh"] == pytest.approx(part.inductance_uh, rel=5e-3)


def test_from_one_generic_motor_to_the_other_it_is_as_wide_as_published(monkeypatch: pytest.MonkeyPatch):
    """Two parts of invented values, so a check of the rule, not of nature: within what Saemi and Benedict state."""
    large = load_motor("motor-80mm")
    monkeypatch.setattr("ridesim.workshop.size.label.GENERIC", ("motor-63mm",))
    made = labelled_motor(parse_label("8085,100"))
    assert made["mass_kg"] == pytest.approx(large.mass_kg, rel=SAEMI_MASS)
    assert made["resistance_mohm"] == pytest.approx(large.resistance_mohm, rel=SAEMI_RESISTANCE)


@pytest.mark.parametrize("kg", [0.5, 0.89, 1.6])
def test_a_similar_can_scales_as_the_sizing_does(kg: float):
    """`size.parts` (Hendershot and Miller 2010, from memory) knows similar machines only: there both must agree."""
    part = load_motor("motor-63mm")
    s = (kg / part.mass_kg) ** (1.0 / 3.0)
    label = parse_label("6374,150")
    label = type(label)(63.0 * s, 74.0 * s, 150.0, None)
    ours, theirs = labelled_motor(label), scaled_motor(part, kg, 150.0)
    if abs(63.0 * s - 63.0) < abs(63.0 * s - 80.0):
        assert ours["resistance_mohm"] == pytest.approx(theirs["resistance_mohm"], rel=1e-2)
        assert ours["mass_kg"] == pytest.approx(kg, rel=1e-2)


def test_the_stated_spread_of_kv_holds_measured_outrunners():
    """13 outrunners on a bench (open data set, names removed), Kv fitted at full throttle; one is wrongly labelled."""
    folder = data_folder()
    if folder is None or not (folder / "motor").is_dir():
        pytest.skip("the measured outrunners are not there")
    with (folder / "motor/outrunner_full_throttle_fit.csv").open() as file:
        rows = list(csv.DictReader(file))
    off = [math.log(float(row["Kv_fit_rpm_per_V"]) / float(row["Kv_nameplate"])) for row in rows]
    size = parse_tolerance(TOLERANCES["kv_rpm_per_v"]).size
    assert sum(abs(each) <= 2.0 * size for each in off) >= 12
    within_one = sum(abs(each) <= size for each in off) / len(off)
    assert 0.5 <= within_one <= 0.95  # neither too narrow nor needlessly wide: a normal has 0.68


def test_the_part_rides_and_is_less_sure_than_a_measured_one(root: Path, tmp_path: Path):
    place = tmp_path / "parts"
    place.mkdir()
    (place / "label.toml").write_text(part_text(parse_label("6374,149")))
    (tmp_path / "bike.toml").write_text(
        (root / "configs/longtail-two-stage.toml").read_text().replace('"motor-63mm"', '"label"')
    )
    loaded = load_build(tmp_path / "bike.toml")
    assert loaded.build.motor.kv_rpm_per_v == 149.0
    road = load_road(root / "routes/ridge-climb.gpx")
    wide = {each.key: each.standard_deviation / each.value for each in doubts_of(loaded, road).numbers}
    shipped = load_build(root / "configs/longtail-two-stage.toml")
    narrow = {each.key: each.standard_deviation / each.value for each in doubts_of(shipped, road).numbers}
    for key in ("motor.resistance_mohm", "motor.kv_rpm_per_v", "motor.mass_kg"):
        assert wide[key] >= narrow[key]
    assert wide["motor.resistance_mohm"] > 1.2 * SAEMI_RESISTANCE


def test_a_stated_mass_is_taken_and_carries_no_wide_tolerance(root: Path):
    part = label_part(parse_label("6374,149,0.95"))
    assert part["mass_kg"] == 0.95 and "mass_kg" not in part["tolerance"]
    loaded = replace_keys(load_build(root / "configs/longtail-two-stage.toml"), {"motor": part})
    assert loaded.build.motor.mass_kg == 0.95


@pytest.mark.parametrize(
    ("text", "told"),
    [("6374", "no label"), ("0974,149", "diameter of 9 mm"), ("6374,5", "Kv of 5"), ("6374,1.2.3", "no label"),
     ("6374,149,900", "mass of 900 kg"), ("63,149", "no label")],
)  # fmt: skip
def test_what_is_no_label_is_refused(text: str, told: str):
    with pytest.raises(BuildError, match=told):
        parse_label(text)


def test_the_command_writes_a_part(ridesim_command: Callable[..., subprocess.CompletedProcess[str]], tmp_path: Path):
    done = ridesim_command("new", "--motor", "6374,149", tmp_path / "motor.toml")
    assert done.returncode == 0 and "parts/" in done.stderr
    assert 'resistance_mohm = "x/ 1.4"' in (tmp_path / "motor.toml").read_text()
    bad = ridesim_command("new", "--motor", "what")
    assert bad.returncode == 2 and "6374,149" in bad.stderr and "Traceback" not in bad.stderr
