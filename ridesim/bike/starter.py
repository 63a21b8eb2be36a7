"""Texts written from the schema's metadata: the starter build, the key reference and the JSON schema for editors."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from pydantic import BaseModel

from ridesim.bike.files import part_names, read_layer, shipped_parts
from ridesim.bike.keys import PART_SECTIONS, Key, kind_of, model_of, walk
from ridesim.bike.schema import Build
from ridesim.units import symbol_of

EXAMPLE_PARTS = {
    "tyre": "tyre-26-inch-wide",
    "motor": "motor-80mm",
    "controller": "controller-sine-60v-80a",
    "pack.cell": "cell-18650-nmc-energy",
}
"""The starter writes these parts out in full."""

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
# Lithium cells, high currents, brakes, hot motors: check what you build; local law decides what may be ridden.
"""

WIDTH = 44
"""Column at which the comments start."""


class KeyRow(NamedTuple):
    """One line of the key reference."""

    section: str
    key: str
    unit: str
    allowed: str
    default: str
    help: str


def starter_text() -> str:
    """Return a commented TOML build with every key; it loads as it is."""
    parts = ", ".join(part_names())
    lines = [HEAD.format(motor=EXAMPLE_PARTS["motor"], parts="\n".join(_folded(parts, "#   ")))]
    lines += _section(Build, "", _example())
    return "\n".join(lines).rstrip() + "\n"


def key_reference_rows() -> tuple[KeyRow, ...]:
    """Return every key of a build, in the order of the schema."""
    return tuple(
        KeyRow(item.section, item.name, item.unit, _allowed(item), _default_words(item), item.help) for item in walk()
    )


def key_reference_markdown() -> str:
    """Return the key reference as Markdown: a table a section."""
    lines: list[str] = []
    section: str | None = None
    for row in key_reference_rows():
        if row.section != section:
            section = row.section
            title = f"`[{section}]`" if section else "Top of the file"
            lines += ["", f"### {title}", "", "| key | range | default | meaning |", "| --- | --- | --- | --- |"]
        lines.append(f"| `{row.key}` | {row.allowed} | {row.default} | {_cell(row.help)} |")
    return "\n".join(lines).strip() + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def json_schema_text() -> str:
    """Return the JSON schema of a build file for editors, parts and `extends` included."""
    schema = Build.model_json_schema()
    for table in (schema, *schema["$defs"].values()):
        table.pop("required", None)  # a parent or a part may give it
        for name, value in table["properties"].items():
            value.pop("title", None)
            _add_unit(name, value)
    for place, model in PART_SECTIONS.items():
        holder = schema if "." not in place else schema["$defs"]["Pack"]
        _allow_part(schema["$defs"][model.__name__], holder["properties"], place.split(".")[-1])
    schema["properties"]["extends"] = {"type": "string", "description": "a build file that this one changes"}
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def _add_unit(name: str, value: dict[str, Any]) -> None:
    unit = symbol_of(name)
    if unit:
        value["description"] = f"{value.get('description', '')} [{unit}]".strip()


def _allow_part(table: dict[str, Any], properties: dict[str, Any], name: str) -> None:
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


def _section(model: type[BaseModel], path: str, values: Mapping[str, Any]) -> Iterator[str]:
    """Lines of a section: its own keys, then its sub-sections, as TOML wants them."""
    for item in walk(model, path):
        if item.section == path and model_of(item.field)[0] is None:
            yield _line(item, values)
    for name, field in model.model_fields.items():
        child, is_array = model_of(field)
        if child is None:
            continue
        inner = f"{path}.{name}".lstrip(".")
        tables: list[Mapping[str, Any]] = values.get(name, []) if is_array else [values.get(name, {})]
        header = f"[[{inner}]]" if is_array else f"[{inner}]"
        for table in tables:
            yield f"\n{header}   # {field.description or ''}"
            yield from _section(child, inner, table)


def _line(item: Key, values: Mapping[str, Any]) -> str:
    if item.name in values:
        text = f"{item.name} = {toml_value(values[item.name])}"
        default = "" if item.required or item.default is None else f"default {_default_words(item)}; "
        note = "required; " if item.required else default
    else:
        value = "" if item.default is None else f" {toml_value(item.default)}"
        text, note = f"# {item.name} ={value}", ""
    return f"{text:<{WIDTH}} # {_allowed(item)}; {note}{item.help}"


def _allowed(item: Key) -> str:
    return "tables, see below" if model_of(item.field)[0] is not None else item.allowed


def _default_words(item: Key) -> str:
    if item.required:
        return "required"
    value = item.default
    if value is None or value == ():
        return "empty"
    if isinstance(value, float):
        return f"{value:.10g}"
    return toml_value(value) if kind_of(item.field) == "list of numbers" else str(value)


def toml_value(value: Any) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list | tuple):
        return f"[{', '.join(toml_value(item) for item in value)}]"
    return repr(value)


def _folded(text: str, start: str, width: int = 110) -> list[str]:
    """Break a list of words into lines that begin with `start`."""
    lines, line = [], start
    for word in text.split(" "):
        if len(line) + len(word) > width:
            lines.append(line.rstrip())
            line = start
        line += word + " "
    return [*lines, line.rstrip()]
