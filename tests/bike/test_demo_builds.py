"""The invented builds in configs/: they load, they differ in kind, and they carry no embarrassing warning."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from ridesim.bike import rough
from ridesim.bike.load import load_build

NAMES = (
    "longtail-belt",
    "longtail-two-stage",
    "longtail-hub",
    "longtail-freewheel",
    "commuter-light",
    "longtail-two-drives",
    "longtail-two-motors",
    "longtail-mid-drive",
    "longtail-loaded",
)
MEANT = dict.fromkeys(("longtail-two-stage", "longtail-two-motors"), ("No motor temperature sensor",))
"""The bike that is meant to run hot, and its cure by a second motor, say why nothing stops them."""


@pytest.mark.parametrize("name", NAMES)
def test_demo_build_loads_with_the_warnings_it_is_meant_to_have(configs: Path, name: str) -> None:
    loaded = load_build(configs / f"{name}.toml")
    wanted = MEANT.get(name, ())
    assert len(loaded.warnings) == len(wanted)
    assert all(text.startswith(start) for text, start in zip(loaded.warnings, wanted, strict=True))


def test_no_other_builds_lie_there(configs: Path) -> None:
    assert {path.stem for path in configs.glob("*.toml")} == set(NAMES)


def test_builds_differ_in_kind(configs: Path) -> None:
    builds = [load_build(configs / f"{name}.toml").build for name in NAMES[:3]]
    assert [len(build.drive.stage) for build in builds] == [1, 2, 0]
    assert [build.controller.commutation for build in builds] == ["sine", "six_step", "sine"]
    assert load_build(configs / "longtail-freewheel.toml").build.drive.coupling == "freewheel"


@pytest.mark.parametrize("name", NAMES)
def test_demo_build_is_plausible(configs: Path, name: str) -> None:
    build = load_build(configs / f"{name}.toml").build
    assert 9.0 <= rough.wheel_kv_rpm_per_v(build) <= 11.0
    assert (90 if "light" in name else 140) < build.mass_kg < (200 if "loaded" in name else 165)
    # A 7 % climb: sine of the angle is 0.0698; rolling on top; rider left out.
    assert rough.both_standing_force_n(build) > build.mass_kg * 9.80665 * 0.0698 + rough.flat_resistance_n(build)


def test_variants_are_short(configs: Path) -> None:
    for name in ("longtail-freewheel", "commuter-light", "longtail-two-motors"):
        lines = (configs / f"{name}.toml").read_text(encoding="utf-8").splitlines()
        assert len([line for line in lines if line.strip() and not line.startswith("#")]) <= 6


def test_every_file_says_that_it_is_invented(configs: Path) -> None:
    for path in [*configs.glob("*.toml"), *configs.glob("parts/*.toml")]:
        text = path.read_text(encoding="utf-8")
        assert "Invented values" in text.split("\n\n")[0]
        assert re.fullmatch(r"[a-z0-9-]+", path.stem)
        assert tomllib.loads(text)["name"]
