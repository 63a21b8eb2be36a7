"""Build and part files: reading TOML, laying a file over its parent, putting parts in their place."""

from __future__ import annotations

import copy
import difflib
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from ridesim.bike.keys import PART_SECTIONS
from ridesim.bike.taken_back import refuse_given, take_list
from ridesim.errors import BuildError
from ridesim.schema.keys import printable
from ridesim.schema.problems import shown_value
from ridesim.schema.source import read_input, read_whole, reason_of, refuse_deep_keys, shortened

STANDARD_INPUT = "-"
MOST_BYTES = 1024 * 1024
"""A build with every key and two curves of a thousand points has a tenth of that."""
LONGEST_CHAIN = 20
"""Files that extend one another (guess)."""


@dataclass
class Layer:
    """Raw keys, who said each of them, and the bytes they were read from."""

    data: dict[str, Any] = field(default_factory=dict)
    sources: dict[str, str] = field(default_factory=dict)
    texts: list[bytes] = field(default_factory=list)
    fresh: set[str] = field(default_factory=set)
    """Sections begun anew by a part: they replace the parent's section instead of changing it."""


def shipped_parts() -> Path:
    """Return the folder of the parts that come with ridesim: in the wheel, or in a clone."""
    packaged = Path(__file__).parent / "parts"
    return packaged if packaged.is_dir() else Path(__file__).parents[2] / "configs" / "parts"


def part_names(beside: Path | None = None) -> tuple[str, ...]:
    """Return the names of the parts beside a build and of those that come with ridesim."""
    folders = [shipped_parts()] + ([beside / "parts"] if beside is not None else [])
    return tuple(sorted({file.stem for folder in folders if folder.is_dir() for file in folder.glob("*.toml")}))


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name too long for the file system, or with a zero byte
        return False


def flatten(data: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    """Yield (dotted key, value) of every value; tables in arrays are numbered from 0."""
    for name, value in data.items():
        path = f"{prefix}{name}"
        if isinstance(value, Mapping):
            yield from flatten(value, f"{path}.")
        elif isinstance(value, (list, tuple)) and value and all(isinstance(item, Mapping) for item in value):
            yield from flatten({str(index): item for index, item in enumerate(value)}, f"{path}.")
        else:
            yield path, value


def read_text(path: Path) -> bytes:
    """Return the bytes of a file, or of standard input for `-`. Raises BuildError."""
    if str(path) == STANDARD_INPUT:
        return read_input(MOST_BYTES, BuildError, "name a build file, or feed one in")
    if not _is_there(path):
        near = difflib.get_close_matches(path.name, [file.name for file in _toml_files(path.parent)], 1)
        hint = f"did you mean {path.parent / near[0]}?" if near else "check the name, or write a starter: ridesim new"
        raise BuildError(shortened(path), "there is no such file", hint)
    return read_whole(path, MOST_BYTES, BuildError, "name a TOML build file")


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:  # a name too long for the file system, a loop of links: the reading says which
        return True


def _toml_files(folder: Path) -> list[Path]:
    try:
        return sorted(folder.glob("*.toml"))
    except (OSError, ValueError):
        return []


@lru_cache(maxsize=256)
def _parsed(text: bytes) -> dict[str, Any]:
    """TOML as it stands; kept, since a sizing lays the same few parts into hundreds of bikes. Nobody may change it."""
    return tomllib.loads(text.decode("utf-8-sig"))


def parse_toml(text: bytes, where: str) -> dict[str, Any]:
    """Parse TOML; the tables in it are shared, and not to be changed. Raises BuildError with line and column."""
    refuse_deep_keys(text, where, BuildError)
    try:
        return dict(_parsed(text))
    except UnicodeDecodeError as fault:
        line = text[: fault.start].count(b"\n") + 1
        raise BuildError(f"{where}, line {line}", "is not UTF-8 text", "save the file as UTF-8") from fault
    except RecursionError as fault:
        raise BuildError(where, "has brackets nested too deep", "write plain tables") from fault
    except ValueError as fault:  # TOMLDecodeError, and Python's own refusal of endless integers
        what, place = _syntax_fault(str(fault), text)
        named = _part_and_table(text)
        if named:
            what, to_do = (
                f"{named} is both the name of a part and a table",
                f'write part = "..." under [{named}] instead',
            )
            raise BuildError(f"{where}{place}", what, to_do) from fault
        cure = NUMBER_ALONE if _NUMBER_WITH_MORE.search(_line_at(text, place)) else "correct the file there"
        raise BuildError(f"{where}{place}", f"is not valid TOML ({what})", cure) from fault


NUMBER_ALONE = "write the number alone, without its unit, with a point before decimals"
_NUMBER_WITH_MORE = re.compile(r"=\s*[+-]?\d[\d.]*\s*[^\W\d]|=\s*[+-]?\d+,\d|=\s*[+-]?\d[\d.]*\s*[°%]")


def _line_at(text: bytes, place: str) -> str:
    """Return the line of which a fault's place tells; "" for one without a line."""
    match = re.match(r", line (\d+)", place)
    lines = text.decode("utf-8", "replace").splitlines()
    return lines[int(match[1]) - 1] if match and int(match[1]) <= len(lines) else ""


def _part_and_table(text: bytes) -> str:
    """Return the section of a part that is named in one line and changed as a table further down; else ""."""
    lines = [line.split("#")[0].strip() for line in text.decode("utf-8", "replace").splitlines()]
    for place in PART_SECTIONS:
        last = place.rsplit(".", 1)[-1]
        at = next((at for at, line in enumerate(lines) if re.match(rf"{last}\s*=\s*[\"']", line)), None)
        if at is not None and f"[{place}]" in lines[at + 1 :]:
            return place
    return ""


OTHERS = {".gpx": "road", ".csv": "table", ".tsv": "table", ".fit": "recording", ".html": "page"}
BIKES = frozenset({"extends", "rider", "bicycle", "motor", "controller", "pack", "drive"})
"""What a build has, and a road or goals have not."""


def _syntax_fault(message: str, text: bytes) -> tuple[str, str]:
    match = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    if match:
        return message[: match.start()], f", line {match[1]}, column {match[2]}"
    if message.endswith(" (at end of document)"):
        lines = text.decode("utf-8", "replace").splitlines() or [""]
        return message.removesuffix(" (at end of document)"), f", line {len(lines)}, column {len(lines[-1]) + 1}"
    return "a number with too many digits" if "digits" in message else message.splitlines()[0], ""


def read_layer(path: Path, label: str, section: str = "", chain: tuple[Path, ...] = ()) -> Layer:
    """Read a build (section "") or a part file, laid over what it extends, with its parts in place."""
    here = _resolved(path)
    if len(chain) >= LONGEST_CHAIN:
        raise BuildError(label, f"is the end of {len(chain)} files that extend one another", "join some of them")
    if here in chain:
        names = " -> ".join(file.name for file in (*chain[chain.index(here) :], here))
        raise BuildError(label, f"extends itself ({names})", "take one `extends` out of the circle")
    text = read_text(path)
    _refuse_other(label, OTHERS.get(path.suffix.lower(), ""))
    data = parse_toml(text, label)
    is_road = not section and isinstance(data.get("road"), dict | list) and not BIKES & set(data)
    _refuse_other(label, "road" if is_road else "")
    taken = take_list(data, label) if not section else ()
    parent = data.pop("extends", None)
    own = place_parts(data, label, path.parent, section)
    own.texts.insert(0, text)
    if parent is None:
        return own
    refuse_given(taken, {name: said for name, said in own.sources.items() if said == label}, label)
    layer = lay_over(_read_parent(parent, path, label, section, (*chain, here)), own)
    for key in taken:
        layer = with_key(layer, key, None, label)
    return layer


def _refuse_other(label: str, kind: str) -> None:
    """Raise BuildError for a road or a table where a build is asked for: the words stand in the wrong order."""
    if kind:
        cure = "name a build there; where several files are asked, the build is first"
        raise BuildError(label, f"is a {kind}, not a build", cure)


def _resolved(path: Path) -> Path:
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError) as fault:  # a loop of links is a RuntimeError before Python 3.13
        raise BuildError(shortened(path), f"cannot be read ({reason_of(fault)})", "check the path") from None


def _read_parent(parent: object, path: Path, label: str, section: str, chain: tuple[Path, ...]) -> Layer:
    if not isinstance(parent, str):
        raise BuildError(label, f"extends = {shown_value(parent)} is not a file name", 'write extends = "other.toml"')
    name = parent if parent.endswith(".toml") else f"{parent}.toml"
    if section:
        found, found_label = find_part(parent, path.parent, label, section)
    else:
        found, found_label = path.parent / name, str(path.parent / name)
        if not _is_file(found):
            near = difflib.get_close_matches(name, [file.name for file in path.parent.glob("*.toml")], 1)
            hint = f'did you mean "{near[0]}"?' if near else "name a file beside this one"
            raise BuildError(label, f'extends = "{printable(parent)}": there is no such file', hint)
    return read_layer(found, found_label, section, chain)


def find_part(name: str, beside: Path, label: str, section: str) -> tuple[Path, str]:
    """Return file and label of a part: beside the build in parts/, by relative path, or shipped. Raises BuildError."""
    file_name = name if name.endswith(".toml") else f"{name}.toml"
    for candidate in (beside / "parts" / file_name, beside / file_name):
        if _is_file(candidate):
            return candidate, str(candidate)
    shipped = shipped_parts() / file_name
    if "/" not in name and "\\" not in name and _is_file(shipped):
        return shipped, f"{file_name} (ships with ridesim)"
    known = part_names(beside)
    kind = section.split(".")[-1]
    near = difflib.get_close_matches(name, known, 3, 0.5) or [part for part in known if part.startswith(kind)]
    hint = f"nearest: {', '.join(near)}" if near else f"write {printable(file_name)} in parts/ beside the build"
    raise BuildError(label, f'{section} = "{printable(name)}": there is no such part', hint)


def place_parts(data: Mapping[str, Any], label: str, beside: Path, section: str = "") -> Layer:
    """Return the keys of one file with every named part read in under the keys that override it."""
    layer = Layer({str(name): copy.deepcopy(value) for name, value in data.items()})
    prefix = f"{section}." if section else ""
    layer.sources = {f"{prefix}{name}": label for name, _ in flatten(layer.data)}
    if section:
        layer.data = _nest(section, layer.data)
        return layer
    for place in PART_SECTIONS:
        part = _take_part(layer, place, label)
        if part is not None:
            file, file_label = find_part(part, beside, label, place)
            below = read_layer(file, file_label, place)
            _refuse_other_kind(below, place, part, label)
            layer = lay_over(below, layer)
            layer.fresh.add(place)
    return layer


def _refuse_other_kind(part: Layer, place: str, name: str, label: str) -> None:
    """Raise BuildError for a part whose keys are all those of another kind of part, and not of this one."""
    keys = {path.removeprefix(f"{place}.").split(".")[0] for path in part.sources} - {"tolerance"}
    if keys <= set(PART_SECTIONS[place].model_fields):
        return
    for other, model in PART_SECTIONS.items():
        if keys <= set(model.model_fields):
            kind, other_kind = place.split(".")[-1], other.split(".")[-1]
            raise BuildError(label, f'{place} = "{name}" names a {other_kind}, not a {kind}', f"name a {kind} part")


def _take_part(layer: Layer, place: str, label: str) -> str | None:
    """Take the name of a part out of its section; the section keeps the keys that override the part."""
    *outer, last = place.split(".")
    holder: Any = layer.data
    for step in outer:
        holder = holder.get(step)
        if not isinstance(holder, dict):
            return None
    value = holder.get(last)
    if isinstance(value, str):
        holder[last] = {}
        layer.sources.pop(place)
        return value
    if not isinstance(value, dict) or "part" not in value:
        return None
    holder[last] = {name: item for name, item in value.items() if name != "part"}
    layer.sources.pop(f"{place}.part", None)
    if not isinstance(value["part"], str):
        raise BuildError(
            label, f"{place}.part = {shown_value(value['part'])} is not a name", 'write part = "name-of-the-part"'
        )
    return str(value["part"])


def _nest(section: str, data: dict[str, Any]) -> dict[str, Any]:
    for step in reversed(section.split(".")):
        data = {step: data}
    return data


def lay_over(below: Layer, above: Layer) -> Layer:
    """Return `below` changed by `above`: tables key by key, arrays and sections begun by a part as a whole."""
    sources = dict(below.sources)
    merged = _merge(below.data, above.data, "", above, sources)
    sources.update(above.sources)
    # Files in the order in which they were read last: the hash then depends on each text and on its role.
    return Layer(merged, sources, above.texts + below.texts, below.fresh | above.fresh)


def _merge(
    below: Mapping[str, Any], above: Mapping[str, Any], prefix: str, layer: Layer, sources: dict[str, str]
) -> dict[str, Any]:
    merged = dict(below)
    for name, value in above.items():
        path, old = f"{prefix}{name}", below.get(name)
        if isinstance(value, dict) and isinstance(old, dict) and path not in layer.fresh:
            merged[name] = _merge(old, value, f"{path}.", layer, sources)
            continue
        for key in [key for key in sources if key == path or key.startswith(f"{path}.")]:
            del sources[key]
        merged[name] = value
    return merged


def with_key(layer: Layer, key: str, value: object, said_by: str) -> Layer:
    """Return a layer with one dotted key changed, None takes it out; a path through an array changes one table of it.

    Raises BuildError, told of `said_by`, where the key leads nowhere.
    """
    data = json_copy(layer.data)
    holder: Any = data
    *outer, last = key.split(".")
    for depth, step in enumerate(outer):
        holder = _inside(holder, step, ".".join(outer[: depth + 1]), said_by)
    sources = {name: said for name, said in layer.sources.items() if name != key and not name.startswith(f"{key}.")}
    if isinstance(holder, list):
        _inside(holder, last, key, said_by)
        holder[int(last)] = {} if value is None else value
    elif value is None:
        holder.pop(last, None)
    else:
        holder[last] = value
    if value is not None:
        sources.update((name, said_by) for name, _ in flatten({key: value}))
    return Layer(data, sources, layer.texts, layer.fresh)


def json_copy(value: Any) -> Any:
    """Copy nested dicts and lists; the values themselves are shared."""
    if isinstance(value, Mapping):
        return {name: json_copy(item) for name, item in value.items()}
    return [json_copy(item) for item in value] if isinstance(value, list | tuple) else value


def _inside(holder: Any, step: str, path: str, said_by: str) -> Any:
    """One step into the build, made where it is missing. Raises BuildError where there is nothing to step into."""
    if isinstance(holder, list):
        if not step.isdecimal() or int(step) >= len(holder):
            what = f"{path} does not exist ({len(holder)} there)"
            to_do = f"number them from 0 to {len(holder) - 1}" if holder else "give the whole list of tables"
            raise BuildError(said_by, what, to_do)
        inner = holder[int(step)]
    else:
        inner = holder.setdefault(step, {})
    if not isinstance(inner, dict | list):
        raise BuildError(said_by, f"{path} is a value, not a section", "name a key such as motor.kv_rpm_per_v")
    return inner
