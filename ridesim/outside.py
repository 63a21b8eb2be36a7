"""What comes from outside: files are opened with care, and their words are shown harmless."""

from __future__ import annotations

import re
import stat
import sys
from pathlib import Path

from ridesim.errors import RidesimError
from ridesim.units import from_si

STANDARD_INPUT = "-"
HARMFUL = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff\ud800-\udfff]")
"""Control characters but the line's end, marks that turn or hide text, and bytes that were no text."""
KINDS = {
    stat.S_IFDIR: "a folder", stat.S_IFIFO: "a pipe", stat.S_IFSOCK: "a socket", stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
}  # fmt: skip


def harmless(text: str) -> str:
    """Return text in which control characters and those that turn the writing direction are spelled out."""
    return HARMFUL.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


def read_file(
    path: str | Path, most_bytes: int, error: type[RidesimError], *, what: str = "file", cure: str = "shorten it"
) -> bytes:
    """Return the bytes of a regular file, or of standard input for `-`, of at most so many bytes.

    Pipes, devices, folders and sockets are refused before they are opened: reading one may never end. Raises `error`.
    """
    if str(path) == STANDARD_INPUT:
        return _read_input(most_bytes, error, what, cure)
    try:
        found = Path(path).stat()
        if not stat.S_ISREG(found.st_mode):
            kind = KINDS.get(stat.S_IFMT(found.st_mode), "something else")
            raise error(str(path), f"is {kind}, not a file", f"name a {what}")
        if found.st_size > most_bytes:
            raise error(str(path), too_large(found.st_size, most_bytes, what), cure)
        with Path(path).open("rb") as source:
            text = source.read(most_bytes + 1)
    except FileNotFoundError:
        raise error(str(path), "no such file", "check the path") from None
    except (OSError, ValueError) as fault:  # ValueError: a zero byte in the name
        reason = getattr(fault, "strerror", None) or fault
        raise error(str(path), f"cannot be read ({reason})", "check the path") from None
    if len(text) > most_bytes:  # it grew, or its system tells no size
        raise error(str(path), too_large(len(text), most_bytes, what), cure)
    return text


def too_large(size: int, most_bytes: int, what: str) -> str:
    """Return what is wrong with a file of so many bytes."""
    return f"is too large for a {what} ({from_si(size, 'mb'):.1f} MB, at most {from_si(most_bytes, 'mb'):.1f} MB)"


def _read_input(most_bytes: int, error: type[RidesimError], what: str, cure: str) -> bytes:
    if sys.stdin is None:
        raise error("standard input", "is closed", f"name a {what}, or feed one in")
    try:
        text = sys.stdin.buffer.read(most_bytes + 1)
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or fault
        raise error("standard input", f"cannot be read ({reason})", f"name a {what}") from None
    if len(text) > most_bytes:
        raise error("standard input", too_large(len(text), most_bytes, what), cure)
    return text
