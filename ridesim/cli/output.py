"""How commands talk: stdout is data, stderr is talk, files appear whole or not at all."""

from __future__ import annotations

import functools
import json
import math
import os
import shlex
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from enum import IntEnum
from pathlib import Path
from typing import Any, TypeVar

import typer

from ridesim.errors import RideError, RidesimError

F = TypeVar("F", bound=Callable[..., Any])

PROGRESS_AFTER_S = 1.0


class ExitCode(IntEnum):
    """How a command ends."""

    ANSWERED = 0
    OUR_FAULT = 1
    BAD_INPUT = 2
    INTERRUPTED = 130


def answering(command: F) -> F:
    """Turn what a command raises into an exit code and a line on stderr, never a traceback."""

    @functools.wraps(command)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except RidesimError as error:
            say(str(error))
            raise typer.Exit(ExitCode.BAD_INPUT) from None
        except KeyboardInterrupt:
            say("interrupted; nothing was left half-written")
            raise typer.Exit(ExitCode.INTERRUPTED) from None
        except BrokenPipeError:
            _close_stdout()
            raise typer.Exit(ExitCode.ANSWERED) from None
        except (typer.Exit, typer.Abort):
            raise
        except Exception as error:
            if os.environ.get("RIDESIM_DEBUG"):
                raise
            fault = f"{type(error).__name__}: {error}"
            say(f"ridesim: a fault of ours ({fault}); set RIDESIM_DEBUG=1 and send us what it says")
            raise typer.Exit(ExitCode.OUR_FAULT) from None

    return wrapped  # type: ignore[return-value]


def _close_stdout() -> None:
    """Point stdout at nothing, so that the interpreter does not complain about the closed pipe at its end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def say(text: str) -> None:
    """Write a line for people to stderr."""
    print(text, file=sys.stderr, flush=True)


def print_json(payload: Mapping[str, Any]) -> None:
    """Print one JSON object to stdout; what is not finite becomes null."""
    print(to_json(payload))


def to_json(payload: Mapping[str, Any]) -> str:
    """Return JSON text of plain values, numpy values included; what is not finite becomes null."""
    return json.dumps(plain(payload), indent=2, ensure_ascii=False, allow_nan=False)


def plain(value: Any) -> Any:
    """Return a value made of dict, list, str, int, float, bool and None only."""
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def envelope(kind: str, inputs: Mapping[str, Any], **content: Any) -> dict[str, Any]:
    """Return the head that every JSON answer carries, followed by its content."""
    from ridesim import __version__

    return {
        "schema": f"ridesim.{kind}/1",
        "version": __version__,
        "command": command_line(),
        "inputs": dict(inputs),
        **content,
    }


def command_line() -> str:
    """Return the command as it was typed, so that it can be run again."""
    return shlex.join(["ridesim", *sys.argv[1:]])


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Yield a temporary name beside `path`, renamed to it when the block ends well and removed when it does not."""
    if path.is_dir():
        raise RideError(str(path), "is a folder, not a file", "name a file in it")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.stem}-", suffix=path.suffix, dir=path.parent)
    except OSError as error:
        raise RideError(str(path), f"cannot be written ({error.strerror})", "choose another place") from None
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        temporary.chmod(0o666 & ~_umask())
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def write_all(folder: Path, writers: Mapping[str, Callable[[Path], object]]) -> list[Path]:
    """Write every file under a temporary name first and rename them together at the end."""
    if folder.exists() and not folder.is_dir():
        raise RideError(str(folder), "is a file, not a folder", "name a folder for --out")
    made: list[tuple[Path, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".ridesim-", dir=folder) as temporary:
            for name, writer in writers.items():
                place = Path(temporary) / name
                writer(place)
                made.append((place, folder / name))
            for place, final in made:
                place.replace(final)
    except OSError as error:
        raise RideError(str(folder), f"cannot be written ({error.strerror})", "choose another folder") from None
    return [final for _, final in made]


@contextmanager
def progress(words: str, total: int | None = None) -> Iterator[Callable[[int], None]]:
    """Yield a function that advances a bar on stderr; shown on a terminal only, and only after a second."""
    if not sys.stderr.isatty():
        yield lambda _done: None
        return
    from ridesim.cli.bar import LateBar

    with LateBar(words, total, PROGRESS_AFTER_S) as bar:
        yield bar.advance


def say_if_compiling() -> None:
    """Tell a person that the first ride of a new version compiles, once."""
    from ridesim.jit import is_compiled_before

    if not is_compiled_before():
        say("compiling the ride model, once (some 10 s) ...")
