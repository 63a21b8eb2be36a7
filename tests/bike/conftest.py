"""A small valid build to break in one place at a time."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

BIKE = """\
name = "test bike"
tyre = "tyre-26-inch-wide"
motor = "motor-80mm"
controller = "controller-sine-60v-80a"

[rider]
mass_kg = 78

[bicycle]
mass_kg = 20

[[drive.stage]]
driver_teeth = 14
driven_teeth = 136

[pack]
series = 13
parallel = 6
cell = "cell-18650-nmc-energy"
"""


@pytest.fixture
def bike(tmp_path: Path) -> Path:
    """A build file that loads without a warning, in a folder of its own."""
    path = tmp_path / "bike.toml"
    path.write_text(BIKE, encoding="utf-8")
    return path


@pytest.fixture
def configs() -> Path:
    """The demo builds."""
    return ROOT / "configs"
