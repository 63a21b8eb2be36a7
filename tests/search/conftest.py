"""Small goals on short roads."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ridesim.schema.texts import toml_value
from ridesim.search.goals import Asked, read_goals

HILLS = """
[road]
kind = "points"
name = "short hills"
distance_km = [0.0, 0.4, 0.9, 1.4, 2.0]
altitude_m = [100.0, 104.0, 139.0, 130.0, 132.0]
smoothing_m = 60.0
"""


@pytest.fixture
def make_goals(root: Path, tmp_path: Path) -> Callable[..., Asked]:
    """Write goals into a folder with a short road, and read them. Keys: vary, hold, matters, stage, price, more."""
    (tmp_path / "hills.toml").write_text(HILLS)

    def write(**keys: Any) -> Asked:
        path = tmp_path / "goals.toml"
        path.write_text(goals_text(root, **keys))
        return read_goals(path)

    return write


def goals_text(
    root: Path, *, matters: list[str], vary: dict[str, Any] | None = None, stage: list[dict[str, Any]] | None = None,
    hold: list[dict[str, Any]] | None = None, price: list[dict[str, Any]] | None = None,
    between: list[dict[str, Any]] | None = None, base: str = "longtail-belt", more: str = "",
) -> str:  # fmt: skip
    """Return goals as a file has them."""
    lines = [f'build = "{root / "configs" / base}.toml"', f"matters = {toml_value(matters)}", more]
    lines += ["[[road]]", 'file = "hills.toml"', "[vary]"]
    lines += [f"{name} = {toml_value(value)}" for name, value in (vary or {}).items()]
    for head, tables in (("vary.stage", stage), ("vary.between", between), ("hold", hold), ("price", price)):
        for table in tables or []:
            lines += [f"[[{head}]]", *(f"{name} = {toml_value(value)}" for name, value in table.items())]
    return "\n".join(lines) + "\n"
