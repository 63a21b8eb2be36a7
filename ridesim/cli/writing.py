"""Files appear whole or not at all, whoever ends the process, and only over files that are as ridesim wrote them.

Everything is written in a hidden room beside its place first, and moved when all of it is there. A room is locked while
its writer lives. The next writer finds the rooms of killed ones: a finished set is moved on, the rest goes.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import NoReturn

from ridesim.cli.written import RECORD, hashes_of, is_as_written, is_sealed, record_text, recorded, seal
from ridesim.errors import RideError

try:
    import fcntl
except ImportError:  # Windows: rooms are told dead by their age instead
    fcntl = None  # type: ignore[assignment]

ROOM = ".ridesim-"
READY = ".ready"
PAGES = (".html", ".htm")
OLD_S = 86_400.0

over_anything: ContextVar[bool] = ContextVar("over_anything", default=False)
"""Whether the command at work was told to write over files of others."""

keeping = threading.Event()
"""Set while an interrupted command writes what it has."""

_rooms: set[Path] = set()
_moving = threading.Lock()


@contextmanager
def whole_file(path: Path, *, page: bool = True) -> Iterator[Path]:
    """Yield a temporary name for `path`, moved there when the block ends well. Raises RideError.

    A `page` is sealed; unless the command was told --force, it is not written over what `refuse_page` keeps.
    """
    with _told(path, "choose another place"):
        if page:
            refuse_page(path)
        elif path.is_dir():
            raise RideError(str(path), "is a folder, not a file", "name a file in it")
        with _room(path.parent) as room:
            place = room / f"new{path.suffix[:20]}"
            yield place
            if not place.exists():
                return
            if page:
                seal(place)
            place.chmod(0o666 & ~_umask())
            with _moving:
                place.replace(path)


def refuse_page(path: Path) -> None:
    """Raise RideError where no page may be written: a folder, another ending, or a file that is no page of ours.

    A file of others, or a page that was changed since, is left alone unless the command was told --force.
    """
    if path.is_dir():
        raise RideError(str(path), "is a folder, not a file", "name a file in it")
    if path.suffix.lower() not in PAGES:  # --force over a build given by mistake would be the end of it
        raise RideError(str(path), f"is no name of a page ({path.suffix or 'no ending'})", "let it end in .html")
    if not over_anything.get() and path.exists() and not is_sealed(path):
        _refuse(path)


def save_text(file: Path, text: str) -> None:
    """Write a text file whole; one that is there only where the command was told --force. Raises RideError."""
    if file.exists() and not _forced(None):
        raise RideError(str(file), "is there already", "choose another name, or add --force")
    with whole_file(file, page=False) as place:
        place.write_text(text, encoding="utf-8")


def write_all(
    folder: Path, writers: Mapping[str, Callable[[Path], object]], *, force: bool | None = None
) -> list[Path]:
    """Write every file in a room of its own and move them together at the end. Raises RideError.

    Without `force` (else as the command was told) nothing is written where a file is in the way that ridesim did not
    write, or that was changed since.
    """
    if os.path.lexists(folder) and not folder.is_dir():
        raise RideError(str(folder), "is a file, not a folder", "name a folder for --out")
    with _told(folder, "choose another folder"), _room(folder) as room:
        for name, writer in writers.items():
            writer(room / name)
        (room / RECORD).write_text(record_text(hashes_of(room, writers)), encoding="utf-8")
        with _moving, _locked(folder):
            if not _forced(force):  # under the lock: what another writer is moving in is no stranger's
                _refuse_foreign(folder, writers)
            (room / READY).touch()
            _move_in(room, folder)
    return [folder / name for name in writers]


def _forced(force: bool | None) -> bool:
    return over_anything.get() if force is None else force


def clear_away() -> None:
    """Remove what this process was writing; it must end right after, for no room opens any more."""
    _moving.acquire(timeout=1.0)
    for room in tuple(_rooms):
        shutil.rmtree(room, ignore_errors=True)


@contextmanager
def _told(place: Path, cure: str) -> Iterator[None]:
    """Turn what the file system says into one line about a place."""
    try:
        yield
    except OSError as error:
        raise RideError(str(place), f"cannot be written ({error.strerror or error})", cure) from None


@contextmanager
def _room(folder: Path) -> Iterator[Path]:
    """Yield a new folder in `folder`, locked as long as this process lives, after taking away those of the dead."""
    folder.mkdir(parents=True, exist_ok=True)
    _clear_dead(folder)
    with _moving:
        room = Path(tempfile.mkdtemp(prefix=ROOM, dir=folder))
        _rooms.add(room)
    try:
        with _locked(room):
            yield room
    finally:
        shutil.rmtree(room, ignore_errors=True)
        _rooms.discard(room)


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Hold a lock on a folder; the system lets go of it when the process ends, however it ends."""
    if fcntl is None:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # a file system without locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _clear_dead(folder: Path) -> None:
    for room in folder.glob(f"{ROOM}*"):
        with contextlib.suppress(OSError):  # another writer may be clearing too
            if _is_dead(room):
                if (room / READY).exists():
                    with _locked(folder):
                        _move_in(room, folder)
                shutil.rmtree(room)


def _is_dead(room: Path) -> bool:
    if fcntl is None or not any(room.iterdir()):  # empty: it may be so new that it is not locked yet
        return time.time() - room.stat().st_mtime > (OLD_S if fcntl is None else 60.0)
    handle = os.open(room, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    finally:
        os.close(handle)
    return True


def _move_in(room: Path, folder: Path) -> None:
    if (room / RECORD).is_file():  # first: what is then moved is known for ours, wherever a kill falls
        known = room / f"{READY}-record"
        known.write_text(record_text(recorded(folder) | recorded(room)), encoding="utf-8")
        _placed(known, folder / RECORD)
    for place in sorted(room.iterdir()):
        if not place.name.startswith(READY) and place.name != RECORD:
            _placed(place, folder / place.name)


def _placed(new: Path, at: Path) -> None:
    new.chmod(0o666 & ~_umask())
    new.replace(at)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _refuse_foreign(folder: Path, names: Iterable[str]) -> None:
    before = recorded(folder)
    for name in names:
        if os.path.lexists(folder / name) and not is_as_written(folder / name, before):
            _refuse(folder / name)


def _refuse(path: Path) -> NoReturn:
    what = "is there, and ridesim did not write it, or it was changed since"
    raise RideError(str(path), what, "choose another place, or add --force to write over it")
