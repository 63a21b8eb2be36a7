"""What ridesim wrote, and whether it is still as it was written: a record of hashes in a folder, a seal in a page.

A mark alone tells who wrote a file first; the hash tells whether a person has worked on it since.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from pathlib import Path

RECORD = ".written-by-ridesim"
"""One line a file, its SHA-256 and its name, as `sha256sum -c` reads them."""
LARGEST_RECORD, LARGEST_PAGE = 2**20, 2**27
PAGE_MARK = b'<meta name="generator" content="ridesim'
_LINE = re.compile(r"([0-9a-f]{64})  ([^/\0\n]+)")
_SEAL = re.compile(rb"<!-- as ridesim wrote it: ([0-9a-f]{64}) -->\n\Z")
_SEAL_LENGTH = len(b"<!-- as ridesim wrote it:  -->\n") + 64


def hash_of(path: Path) -> str:
    """Return the SHA-256 of a file."""
    with path.open("rb") as source:
        return hashlib.file_digest(source, "sha256").hexdigest()


def recorded(folder: Path) -> dict[str, str]:
    """Return the hashes by name of what ridesim wrote into a folder; none where there is no record to read."""
    try:
        with (folder / RECORD).open("rb") as source:
            lines = source.read(LARGEST_RECORD).decode("utf-8", "replace").split("\n")
    except OSError:
        return {}
    return {found[2]: found[1] for found in map(_LINE.fullmatch, lines) if found}


def record_text(hashes: dict[str, str]) -> str:
    """Return the text of a record."""
    return "".join(f"{digest}  {name}\n" for name, digest in sorted(hashes.items()))


def hashes_of(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """Return the hashes of the files of these names that are there."""
    return {name: hash_of(folder / name) for name in names if (folder / name).is_file()}


def is_as_written(path: Path, before: dict[str, str]) -> bool:
    """Return whether a file is what `before` records of its folder."""
    return path.is_file() and not path.is_symlink() and before.get(path.name) == hash_of(path)


def seal(page: Path) -> None:
    """Put a hash of its content at the end of a page of ours; other files are left as they are."""
    content = page.read_bytes()
    if PAGE_MARK in content[:4096]:
        with page.open("ab") as sink:
            sink.write(b"<!-- as ridesim wrote it: %s -->\n" % hashlib.sha256(content).hexdigest().encode())


def is_sealed(page: Path) -> bool:
    """Return whether a page ends with the hash of what stands before it."""
    if not page.is_file() or page.stat().st_size > LARGEST_PAGE:
        return False
    content = page.read_bytes()
    found = _SEAL.search(content)
    return bool(found) and hashlib.sha256(content[:-_SEAL_LENGTH]).hexdigest().encode() == found[1]  # type: ignore[index]
