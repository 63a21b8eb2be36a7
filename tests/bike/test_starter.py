"""The texts written from the schema: starter, key reference, JSON schema."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from ridesim.bike.keys import PART_SECTIONS, bike_keys
from ridesim.bike.load import load_build
from ridesim.bike.schema import Build
from ridesim.bike.starter import json_schema_text, key_reference_markdown, key_reference_rows, starter_text

KEYS = list(bike_keys())


@pytest.fixture
def starter(tmp_path: Path) -> Path:
    path = tmp_path / "starter.toml"
    path.write_text(starter_text(), encoding="utf-8")
    return path


def test_starter_loads_without_a_warning(starter: Path) -> None:
    assert load_build(starter).warnings == ()


def test_starter_has_every_key_with_its_range() -> None:
    text = starter_text()
    for block in re.split(r"\n(?=\[)", text):
        section = re.match(r"\[+([a-z._]+)\]", block)
        name = section[1] if section else ""
        wanted = {item.name: item for item in KEYS if item.section == name and "tables" not in str(item.default)}
        for key, item in wanted.items():
            if f"[[{name}.{key}]]".replace("[[.", "[[") in text:
                continue
            lines = [line for line in block.splitlines() if re.match(rf"(# )?{key} =", line)]
            assert len(lines) == 1, (name, key)
            assert item.help in lines[0]
            assert f"# {item.allowed}; " in lines[0]


def test_starter_tells_required_from_default() -> None:
    lines = {" ".join(line.split()) for line in starter_text().splitlines()}
    assert "cargo_kg = 10 # 0 to 300 kg; default 0; load carried" in lines
    assert "mass_kg = 78 # 20 to 250 kg; required; rider with clothes and bag" in lines
    assert "# wind_from_deg = 0.0 # 0 to 360 °; where it blows from, clockwise from north" in lines


def test_starter_sections_are_those_of_the_schema() -> None:
    sections = set(re.findall(r"^\[+([a-z._]+)\]+", starter_text(), flags=re.M))
    assert sections == {item.section for item in KEYS if item.section}


def test_defaults_in_the_starter_are_the_schemas(starter: Path) -> None:
    """With the # taken from every default that has a value, the bike stays the same."""
    text = starter_text()
    uncommented, count = re.subn(r"(?m)^# ([a-z0-9_]+ = .*)$", r"\1", text)
    uncommented = re.sub(r"(?m)^([a-z0-9_]+ = +# .*)$", r"# \1", uncommented)
    other = starter.with_name("all.toml")
    other.write_text(uncommented, encoding="utf-8")
    assert count > 50
    assert tomllib.loads(uncommented) != tomllib.loads(text)
    loaded = load_build(other)
    assert loaded.build == load_build(starter).build
    assert all(used.value is None for used in loaded.defaults_used)


def test_key_reference_has_every_key_once() -> None:
    rows = key_reference_rows()
    places = [(row.section, row.key) for row in rows]
    assert len(places) == len(set(places)) == len(KEYS)
    kv = next(row for row in rows if row.key == "kv_rpm_per_v")
    assert (kv.section, kv.unit, kv.allowed, kv.default) == ("motor", "rpm/V", "1 to 5000 rpm/V", "required")
    assert all(row.help for row in rows)


def test_markdown_tables_have_four_columns() -> None:
    lines = [line for line in key_reference_markdown().splitlines() if line.startswith("|")]
    assert {len(re.findall(r"(?<!\\)\|", line)) for line in lines} == {5}
    assert "| `kv_rpm_per_v` | 1 to 5000 rpm/V | required |" in key_reference_markdown()


def refusals(value: Any, rule: dict[str, Any], defs: dict[str, Any], path: str = "") -> list[str]:
    """A small judge of the few JSON-schema words in use: what an editor would underline."""
    if "$ref" in rule:
        rule = defs[rule["$ref"].rsplit("/", 1)[1]]
    if "anyOf" in rule:
        found = [refusals(value, branch, defs, path) for branch in rule["anyOf"]]
        return min(found, key=lambda faults: (any(fault.startswith(f"{path}: not") for fault in faults), len(faults)))
    kinds = {
        "object": dict,
        "array": list,
        "string": str,
        "number": (int, float),
        "integer": int,
        "null": type(None),
        "boolean": bool,
    }
    if "type" in rule and not isinstance(value, kinds[rule["type"]]):
        return [f"{path}: not {rule['type']}"]
    out = [f"{path}: enum" for _ in [0] if "enum" in rule and value not in rule["enum"]]
    if isinstance(value, int | float):
        out += [f"{path}: low" for _ in [0] if value < rule.get("minimum", value)]
        out += [f"{path}: high" for _ in [0] if value > rule.get("maximum", value)]
    if isinstance(value, dict):
        known = rule.get("properties", {})
        out += [f"{path}.{name}: unknown" for name in value if name not in known]
        out += [f"{path}.{name}: missing" for name in rule.get("required", ()) if name not in value]
        for name in value.keys() & known.keys():
            out += refusals(value[name], known[name], defs, f"{path}.{name}")
    if isinstance(value, list):
        out += [fault for item in value for fault in refusals(item, rule.get("items", {}), defs, path)]
    return out


def test_json_schema_accepts_what_loads(configs: Path) -> None:
    schema = json.loads(json_schema_text())
    for path in [*configs.glob("*.toml")]:
        assert refusals(tomllib.loads(path.read_text(encoding="utf-8")), schema, schema["$defs"]) == [], path
    assert refusals(tomllib.loads(starter_text()), schema, schema["$defs"]) == []


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        ({"rider": {"mass_kg": -1}}, ".rider.mass_kg: low"),
        ({"motor": {"kv": 3}}, ".motor.kv: unknown"),
        ({"drive": {"coupling": "rope"}}, ".drive.coupling: enum"),
        ({"pack": {"series": "13"}}, ".pack.series: not integer"),
    ],
)
def test_json_schema_refuses_what_does_not(data: dict[str, Any], fault: str) -> None:
    schema = json.loads(json_schema_text())
    assert fault in refusals(data, schema, schema["$defs"])


def test_json_schema_says_units_and_parts() -> None:
    schema = json.loads(json_schema_text())
    motor = schema["$defs"]["Motor"]["properties"]
    assert motor["kv_rpm_per_v"]["description"].endswith("[rpm/V]")
    assert set(schema["properties"]) == {
        *Build.model_fields,
        "extends",
        "back_to_default",
        "tolerance",
        "tolerance_together",
    }
    for model in PART_SECTIONS.values():
        assert schema["$defs"][model.__name__]["properties"]["part"]["type"] == "string"
