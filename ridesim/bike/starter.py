"""Texts written from the schema's metadata: the starter build, the key reference and the JSON schema for editors."""

from __future__ import annotations

from typing import Any

from ridesim.bike.files import part_names, read_layer, shipped_parts
from ridesim.bike.keys import PART_SECTIONS, bike_keys
from ridesim.bike.schema import Build
from ridesim.bike.taken_back import KEY
from ridesim.bike.tolerance import TABLE, TOGETHER
from ridesim.schema.texts import KeyRow, explain_units, folded, json_text, key_rows, key_tables, section_lines

EXAMPLE_PARTS = {
    "tyre": "tyre-26-inch-wide",
    "motor": "motor-80mm",
    "controller": "controller-sine-60v-80a",
    "pack.cell": "cell-18650-nmc-energy",
}
"""The starter writes these parts out in full."""

HOLDERS = {"pack": "Pack", "second": "Second"}
"""The models of the sections that hold a part."""

EXAMPLE_VALUES: dict[str, Any] = {
    "name": "my bike",
    "rider": {"mass_kg": 78},
    "bicycle": {"mass_kg": 20, "cargo_kg": 10},
    "drive": {"stage": [{"driver_teeth": 14, "driven_teeth": 136}]},
    "pack": {"series": 13, "parallel": 6},
}
"""Invented values of the starter for keys that no part has."""

HEAD = """\
# A starter build for ridesim. Every key is here, with its unit and range.
# A key with a # before it is left at its default; take the # away and change it. Those without are invented
# examples: put your own numbers there.
# A part can live in its own file and be named instead of written out: motor = "{motor}", or
# [motor] with part = "{motor}" and the keys that differ. Parts are looked up in parts/ beside this file,
# then by path, then among those that come with ridesim:
{parts}
# A variant of a build is a few lines: extends = "this-file.toml" and the keys that differ.
# Such a file takes keys of the other back to their defaults by a list: back_to_default = ["rider.power_w"].
# How sure you are of a number: [tolerance] with "motor.resistance_mohm" = "5 %" (one standard deviation),
# 0.03 (the same, in the key's unit), "x/ 1.3" (10 to 90 % of cases), "within 5 %", "measured" or "exact"; a part file
# may have its own. `ridesim spread` says what that makes of the answers.
# Lithium cells, high currents, brakes, hot motors: check what you build; local law decides what may be ridden.
"""


def starter_text() -> str:
    """Return a commented TOML build with every key; it loads as it is."""
    parts = ", ".join(part_names())
    lines = [HEAD.format(motor=EXAMPLE_PARTS["motor"], parts="\n".join(folded(parts, "#   ")))]
    lines += section_lines(Build, "", _example())
    return "\n".join(lines).rstrip() + "\n"


def key_reference_rows() -> tuple[KeyRow, ...]:
    """Return every key of a build, in the order of the schema."""
    return key_rows(bike_keys())


def key_reference_markdown() -> str:
    """Return the key reference as Markdown: a table a section."""
    return key_tables(key_reference_rows(), lambda section: f"`[{section}]`" if section else "Top of the file")


def json_schema_text() -> str:
    """Return the JSON schema of a build file for editors, parts and `extends` included."""
    schema = Build.model_json_schema()
    explain_units(schema)
    for table in (schema, *schema["$defs"].values()):
        table.pop("required", None)  # a parent or a part may give it
    for place, model in PART_SECTIONS.items():
        holder = schema if "." not in place else schema["$defs"][HOLDERS[place.split(".")[0]]]
        _allow_part(schema["$defs"][model.__name__], holder["properties"], place.split(".")[-1])
    schema["properties"][TABLE] = _tolerances("how uncertain keys are, by dotted key")
    schema["properties"][TOGETHER] = {"type": "array", "description": "keys drawn together, and their covariance"}
    schema["properties"]["extends"] = {"type": "string", "description": "a build file that this one changes"}
    schema["properties"][KEY] = {
        "type": "array", "items": {"type": "string"}, "description": "keys of that file that go back to their defaults"
    }  # fmt: skip
    return json_text(schema)


def _tolerances(description: str) -> dict[str, Any]:
    said = f'{description}: "5 %", a number in the key\'s unit, "x/ 1.3", "within 5 %", "measured" or "exact"'
    return {"type": "object", "description": said}


def _allow_part(table: dict[str, Any], properties: dict[str, Any], name: str) -> None:
    table["properties"][TABLE] = _tolerances("how uncertain this part's keys are")
    table["properties"]["part"] = {"type": "string", "description": f"name of a {name} part; the other keys change it"}
    meant = properties[name].get("description", "")
    properties[name] = {"anyOf": [{"type": "string"}, {"$ref": f"#/$defs/{table['title']}"}], "description": meant}


def _example() -> dict[str, Any]:
    """The values that the starter writes without a # before them."""
    values: dict[str, Any] = {name: dict(v) if isinstance(v, dict) else v for name, v in EXAMPLE_VALUES.items()}
    for place, part in EXAMPLE_PARTS.items():
        data = read_layer(shipped_parts() / f"{part}.toml", part).data
        *outer, last = place.split(".")
        holder = values[outer[0]] if outer else values
        holder[last] = data
    return values
