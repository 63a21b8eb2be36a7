"""Texts written from a schema's metadata: commented files, the key reference, the JSON schema for editors."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from pydantic import BaseModel

from ridesim.schema.keys import Key, is_optional, kind_of, model_of, walk
from ridesim.units import symbol_of

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


def key_rows(keys: Iterable[Key]) -> tuple[KeyRow, ...]:
    """Return the keys as lines of a reference."""
    return tuple(
        KeyRow(item.section, item.name, item.unit, _allowed(item), _default_words(item), item.help) for item in keys
    )


def key_tables(rows: Iterable[KeyRow], title_of: Callable[[str], str]) -> str:
    """Return the key reference as Markdown: a table a section, under the title that `title_of` gives it."""
    lines: list[str] = []
    section: str | None = None
    for row in rows:
        if row.section != section:
            section = row.section
            lines += ["", f"### {title_of(section)}", "", "| key | range | default | meaning |"]
            lines.append("| --- | --- | --- | --- |")
        lines.append(f"| `{row.key}` | {row.allowed} | {row.default} | {_cell(row.help)} |")
    return "\n".join(lines).strip() + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def json_text(schema: dict[str, Any]) -> str:
    """Return a JSON schema as text, with the draft that it follows."""
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def explain_units(schema: dict[str, Any]) -> None:
    """Give the description of each key its unit, and take out the titles that only repeat the key."""
    for table in (schema, *schema["$defs"].values()):
        for name, value in table.get("properties", {}).items():
            value.pop("title", None)
            _add_unit(name, value)


def _add_unit(name: str, value: dict[str, Any]) -> None:
    unit = symbol_of(name)
    if unit:
        value["description"] = f"{value.get('description', '')} [{unit}]".strip()


def section_lines(model: type[BaseModel], path: str, values: Mapping[str, Any]) -> Iterator[str]:
    """Yield the lines of a section: its own keys, then its sub-sections, as TOML wants them."""
    for item in walk(model, path):
        if item.section == path and model_of(item.field)[0] is None:
            yield _line(item, values)
    for name, field in model.model_fields.items():
        child, is_array = model_of(field)
        if child is None:
            continue
        inner = f"{path}.{name}".lstrip(".")
        if is_optional(field) and name not in values:
            yield f"\n# [{inner}]   # {field.description or ''}"
            continue
        tables: list[Mapping[str, Any]] = values.get(name, []) if is_array else [values.get(name, {})]
        header = f"[[{inner}]]" if is_array else f"[{inner}]"
        for table in tables:
            yield f"\n{header}   # {field.description or ''}"
            yield from section_lines(child, inner, table)


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
    return toml_value(value) if kind_of(item.field) in ("list of numbers", "list of texts", "yes or no") else str(value)


def toml_value(value: Any) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list | tuple):
        return f"[{', '.join(toml_value(item) for item in value)}]"
    return repr(value)


def folded(text: str, start: str, width: int = 110) -> list[str]:
    """Break a list of words into lines that begin with `start`."""
    lines, line = [], start
    for word in text.split(" "):
        if len(line) + len(word) > width:
            lines.append(line.rstrip())
            line = start
        line += word + " "
    return [*lines, line.rstrip()]
