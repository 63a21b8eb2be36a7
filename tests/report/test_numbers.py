"""Every number of a build says whose it is."""

from __future__ import annotations

from pathlib import Path

from ridesim.bike.load import load_build
from ridesim.engine.estimates import estimate
from ridesim.report.numbers import DEFAULT, ESTIMATE, PART, YOURS, counts, numbers_of, value_text


def test_whose_numbers(root: Path) -> None:
    loaded = load_build(root / "configs" / "longtail-two-stage.toml", {"rider.power_w": 100.0})
    rows = {(row.section, row.name): row for row in numbers_of(loaded)}
    assert rows["rider", "mass_kg"].whose == YOURS and rows["rider", "mass_kg"].value == "78 kg"
    assert (rows["rider", "power_w"].value, rows["rider", "power_w"].source) == ("100 W", "command line")
    assert rows["motor", "kv_rpm_per_v"].whose == PART and rows["motor", "kv_rpm_per_v"].source.endswith(".toml")
    assert rows["bicycle", "grip"].whose == DEFAULT and "guess" in rows["bicycle", "grip"].source
    guessed = rows["motor", "winding_to_body_w_per_k"]
    assert guessed.whose == ESTIMATE
    assert guessed.value == f"{estimate(loaded.build).winding_to_body_w_per_k:.6g} W/K"
    assert rows["pack", "to_air_w_per_k"].value == f"{estimate(loaded.build).pack_to_air_w_per_k:.6g} W/K"


def test_every_default_and_every_given_key_is_listed_once(root: Path) -> None:
    loaded = load_build(root / "configs" / "longtail-belt.toml")
    rows = numbers_of(loaded)
    assert len({(row.section, row.name) for row in rows}) == len(rows)
    told = counts(rows)
    assert told[DEFAULT] + told[ESTIMATE] == len(loaded.defaults_used)
    assert told[YOURS] > 10 and told[PART] > 10
    sections = [row.section for row in rows]
    assert [s for i, s in enumerate(sections) if i == 0 or sections[i - 1] != s] == list(dict.fromkeys(sections))


def test_values_as_text() -> None:
    assert value_text("motor.resistance_mohm", 26.0) == "26 mΩ"
    assert value_text("x.assist_speed_limit_km_h", None) == "not set"
    assert (
        value_text("pack.cell.open_circuit_v", tuple(float(n) for n in range(9))) == "0, 1, 2, 3, 4, 5, … (9 values) V"
    )
