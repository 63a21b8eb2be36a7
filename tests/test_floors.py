"""The versions that are claimed are tested: .ci/run installs tests/floors.txt in a second environment."""

from __future__ import annotations

import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_the_floors_tried_are_the_floors_claimed():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    claimed = [wish.replace(">=", "==") for wish in project["dependencies"]]
    lines = (ROOT / "tests" / "floors.txt").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if not line.startswith("#")] == claimed


def test_the_floors_are_tried():
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "--constraint tests/floors.txt" in script
