"""Reading a file whole, after a look at what it is: never a pipe, a device, a folder or more than fits."""

from __future__ import annotations

import re
import stat
import sys
from pathlib import Path

from ridesim.errors import RidesimError
from ridesim.units import from_si

DEEPEST_KEY = 32
_DEEP_KEY = re.compile(rb"(?<![\w\"'-])(?:[\w\"'-]++[ \t]*+\.[ \t]*+){%d}" % DEEPEST_KEY)

KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


def refuse_unless_file(path: Path, most_bytes: int, error: type[RidesimError], to_do: str = "check the path") -> None:
    """Raise `error` unless `path` is a plain file of at most `most_bytes`; it is not opened."""
    try:
        found = path.stat()
    except FileNotFoundError:
        raise error(str(path), "no such file", to_do) from None
    except (OSError, ValueError) as fault:
        raise error(shortened(path), f"cannot be read ({reason_of(fault)})", to_do) from None
    kind = next((name for is_kind, name in KINDS if is_kind(found.st_mode)), None)
    if kind is not None:
        raise error(str(path), f"cannot be read: it is {kind}, not a file", "name a file")
    if found.st_size > most_bytes:
        size, most = from_si(found.st_size, "mb"), from_si(most_bytes, "mb")
        what = f"the file is too large ({size:.0f} MB, at most {most:.0f} MB)"
        raise error(str(path), what, "split it, or drop what is not needed")


def read_whole(path: Path, most_bytes: int, error: type[RidesimError], to_do: str = "check the path") -> bytes:
    """Return the bytes of a plain file of at most `most_bytes`. Raises `error`."""
    refuse_unless_file(path, most_bytes, error, to_do)
    try:
        with path.open("rb") as file:
            return file.read(most_bytes)
    except OSError as fault:
        raise error(str(path), f"cannot be read ({reason_of(fault)})", to_do) from None


def refuse_deep_keys(text: bytes, where: str, error: type[RidesimError]) -> None:
    """Raise `error` for a key of dozens of parts, such as a.a.a.a: TOML's reader takes minutes over thousands."""
    if _DEEP_KEY.search(text):
        raise error(where, f"has a key of more than {DEEPEST_KEY} parts", "write plain tables")


def reason_of(fault: Exception) -> str:
    """Return why the system refused, in its own words."""
    return (fault.strerror if isinstance(fault, OSError) else None) or str(fault)


def shortened(path: Path, most: int = 120) -> str:
    """Return a path as a message shows it, with its end kept."""
    text = str(path)
    return text if len(text) <= most else f"...{text[-most:]}"


def read_input(most_bytes: int, error: type[RidesimError], to_do: str) -> bytes:
    """Return all of standard input, at most `most_bytes`. Raises `error`."""
    if sys.stdin is None:
        raise error("standard input", "is closed", to_do)
    try:
        text = sys.stdin.buffer.read(most_bytes + 1)
    except (OSError, ValueError) as fault:
        raise error("standard input", f"cannot be read ({reason_of(fault)})", to_do) from None
    if len(text) > most_bytes:
        raise error("standard input", f"is too large (at most {from_si(most_bytes, 'mb'):.1f} MB)", to_do)
    return text
