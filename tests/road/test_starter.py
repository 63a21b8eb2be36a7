"""The texts written from the road schema: starter, key reference, JSON schema."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest

from ridesim.road.load import load_road
from ridesim.road.schema import KINDS, Furniture
from ridesim.road.starter import EXAMPLES, json_schema_text, key_reference_markdown, key_reference_rows, starter_text
from ridesim.road.written import checked, read_toml

ROUTES = Path(__file__).parents[2] / "routes"


def commented_kinds() -> dict[str, str]:
    """Return what a person has after taking one # off the block of each other kind."""
    blocks = starter_text().split("# The other kinds of road")[1].split("\n\n")
    plain = ["\n".join(re.sub("^# ?", "", line) for line in block.splitlines()) for block in blocks]
    return {tomllib.loads(text)["road"]["kind"]: text for text in plain if text.startswith("[road]")}


def test_starter_loads_and_is_furnished(tmp_path: Path) -> None:
    path = tmp_path / "road.toml"
    path.write_text(starter_text(), encoding="utf-8")
    road = load_road(path)
    assert road.length_m == pytest.approx(2000.0) and len(road.stops) == 1
    assert "gravel" in road.surface and road.speed_limit_m_per_s[0] < 6.0


def test_every_other_kind_can_be_uncommented(tmp_path: Path) -> None:
    kinds = commented_kinds()
    assert set(kinds) | {"ramp"} == set(KINDS) == set(EXAMPLES)
    for kind, text in kinds.items():
        path = tmp_path / f"{kind}.toml"
        path.write_text(text, encoding="utf-8")
        checked(read_toml(path), str(path))
        if kind != "gpx":
            assert load_road(path).length_m > 100.0


def test_starter_has_every_key_with_its_range() -> None:
    text = starter_text()
    for row in key_reference_rows():
        if row.key == "kind":
            continue
        lines = [line for line in text.splitlines() if re.match(rf"(# )*{row.key} =", line)]
        assert any(row.help in line and f"# {row.allowed}; " in line for line in lines), row


def test_defaults_in_the_starter_are_the_schemas(tmp_path: Path) -> None:
    """With the # taken from every default that has a value, the road stays the same."""
    first = starter_text().split("# The other kinds")[0]
    path, other = tmp_path / "a.toml", tmp_path / "b.toml"
    path.write_text(first, encoding="utf-8")
    more, count = re.subn(r"(?m)^# ([a-z0-9_]+ = [^# ].*)$", r"\1", first)
    other.write_text(more, encoding="utf-8")
    assert count == 5
    assert checked(read_toml(path), "a") == checked(read_toml(other), "b")


def test_key_reference_in_markdown() -> None:
    text = key_reference_markdown()
    assert {len(re.findall(r"(?<!\\)\|", line)) for line in text.splitlines() if line.startswith("|")} == {5}
    assert '### `[road] kind = "gpx"`' in text and "### `[[surface]]`" in text
    assert "| `dwell_s` | 0 to 86400 s | required | for how long |" in text
    assert "| `flat` | true or false | false |" in text


def test_json_schema_knows_every_key_and_the_demo_road() -> None:
    schema = json.loads(json_schema_text())
    kinds = schema["properties"]["road"]["discriminator"]["mapping"]
    assert set(kinds) == set(KINDS)
    for kind, reference in kinds.items():
        table = schema["$defs"][reference.rsplit("/", 1)[1]]
        assert set(table["properties"]) == set(KINDS[kind].model_fields) and not table["additionalProperties"]
    assert set(schema["properties"]) == {"road", *Furniture.model_fields}
    assert schema["$defs"]["SpeedLimit"]["properties"]["speed_km_h"]["maximum"] == 150
    demo = tomllib.loads((ROUTES / "valley-commute.toml").read_text(encoding="utf-8"))
    assert set(demo) <= set(schema["properties"])
    assert set(demo["road"]) <= set(schema["$defs"]["GpxRoad"]["properties"])


def test_new_road_command(ridesim_command, tmp_path: Path) -> None:
    path = tmp_path / "lane.toml"
    done = ridesim_command("new", "--road", path)
    assert done.returncode == 0 and path.read_text(encoding="utf-8") == starter_text(), done.stderr
    assert ridesim_command("road", path).returncode == 0
    assert ridesim_command("new", "--road", path).returncode == 2
    assert json.loads(ridesim_command("new", "--road", "--schema").stdout)["properties"]["road"]
    assert ridesim_command("new", "--road", "--keys").stdout.startswith("### `[road]`")
