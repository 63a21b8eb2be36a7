"""How commands talk: stdout is data, stderr is talk, and neither carries anything that harms a terminal."""

from __future__ import annotations

import codecs
import contextlib
import dataclasses
import functools
import inspect
import io
import json
import os
import shlex
import shutil
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO, TypeVar, get_type_hints

import typer

from ridesim.cli.options import Bundle, Force
from ridesim.cli.writing import keeping, over_anything, refuse_page
from ridesim.errors import Interrupted, RidesimError
from ridesim.harmless import harmless
from ridesim.report.plain import to_json

if TYPE_CHECKING:
    from ridesim.bike.load import LoadedBuild

F = TypeVar("F", bound=Callable[..., Any])

PROGRESS_AFTER_S = 1.0
LONGEST_LINE = 400
MOST_LINES = 40
PLAIN_LETTERS = {
    "°": "deg ", "·": ".", "…": "...", "²": "2", "³": "3", "–": "-", "—": "-", "≥": ">=", "≤": "<=", "×": "x",
    "Ω": "ohm", "µ": "u", "μ": "u", "±": "+-", "→": "->", "’": "'",
}  # fmt: skip
"""What is written where the terminal's encoding lacks a letter."""


SCHEMA_VERSION = 2
"""Of the JSON answers; DEVELOPERS.md tells what changed between versions."""


class ExitCode(IntEnum):
    """How a command ends."""

    ANSWERED = 0
    OUR_FAULT = 1
    BAD_INPUT = 2
    INTERRUPTED = 130


TEXT_COLUMNS = 100
"""Where a terminal does not tell its width."""


def answering(command: F) -> F:
    """Turn what a command raises into an exit code and a line on stderr, never a traceback.

    Options that go together (`options.Bundle`) are told apart here, and a command that writes files is given the
    option --force too.
    """
    signature = inspect.signature(command, eval_str=True)
    told_apart = {each.name: _fields(each) for each in signature.parameters.values()}
    options = [each for fields in told_apart.values() for each in fields]
    names = {each.name for each in options}
    writes = bool({"out", "report"} & names) and "force" not in names

    @functools.wraps(command)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        """Run the command: a fault in one line and an exit code, no traceback."""
        told = over_anything.set(kwargs.pop("force", False) if writes else False)
        try:
            if isinstance(kwargs.get("report"), Path):  # before the work, not after it
                refuse_page(kwargs["report"])
            return command(*args, **_gathered(signature, told_apart, kwargs))
        except RidesimError as error:
            say(str(error))
            raise typer.Exit(ExitCode.BAD_INPUT) from None
        except KeyboardInterrupt as error:
            done = f" after {_kept(error, kwargs)}" if isinstance(error, Interrupted) else ""
            say(f"interrupted{done}; nothing was left half-written")
            raise typer.Exit(ExitCode.INTERRUPTED) from None
        except BrokenPipeError:
            _close_stdout()
            raise typer.Exit(ExitCode.ANSWERED) from None
        except (typer.Exit, typer.Abort):
            raise
        except OSError as error:
            say(f"{error.filename or 'output'}: cannot be read or written ({error.strerror or error}); check the place")
            raise typer.Exit(ExitCode.BAD_INPUT) from None
        except MemoryError:
            say("memory: there is too little for this question; ask for less at once")
            raise typer.Exit(ExitCode.BAD_INPUT) from None
        except Exception as error:
            if os.environ.get("RIDESIM_DEBUG"):
                raise
            fault = f"{type(error).__name__}: {error}"
            say(f"ridesim: a fault of ours ({fault}); set RIDESIM_DEBUG=1 and send us what it says")
            raise typer.Exit(ExitCode.OUR_FAULT) from None
        finally:
            over_anything.reset(told)

    if writes:
        options.append(_option("force", Force, False))
    wrapped.__signature__ = signature.replace(parameters=options)  # type: ignore[attr-defined]
    wrapped.__annotations__ = {each.name: each.annotation for each in options}
    return wrapped  # type: ignore[return-value]


def command(name: str, example: str, *, bare: bool = False) -> Callable[[F], F]:
    """Make a function the command of this name, an example under its help; `bare`: words are not needed."""

    def listed(asked: F) -> F:
        """Return the command, marked for the list of all."""
        made: Any = answering(asked)
        made.listed_as = {"name": name, "epilog": example, "no_args_is_help": not bare}
        return made

    return listed


def _option(name: str, annotation: Any, default: Any) -> inspect.Parameter:
    return inspect.Parameter(name, inspect.Parameter.POSITIONAL_OR_KEYWORD, default=default, annotation=annotation)


def _is_bundle(each: inspect.Parameter) -> bool:
    return isinstance(each.annotation, type) and issubclass(each.annotation, Bundle)


def _fields(each: inspect.Parameter) -> list[inspect.Parameter]:
    """A parameter as options: itself, or each field of its bundle."""
    if not _is_bundle(each):
        return [each]
    hints = get_type_hints(each.annotation, include_extras=True)
    return [_option(field.name, hints[field.name], field.default) for field in dataclasses.fields(each.annotation)]


def _gathered(
    signature: inspect.Signature, told_apart: Mapping[str, list[inspect.Parameter]], given: Mapping[str, Any]
) -> dict[str, Any]:
    """What a command is called with: its bundles put together again from the options given."""
    rest = dict(given)
    for each in filter(_is_bundle, signature.parameters.values()):
        names = [field.name for field in told_apart[each.name]]
        rest[each.name] = each.annotation(**{name: rest.pop(name) for name in names if name in rest})
    return rest


def _kept(end: Interrupted, asked: Mapping[str, Any]) -> str:
    """Keep what is done of a command that was cut short, as it was asked, and return how far it came."""
    if end.left is None:
        return end.done
    keeping.set()
    from ridesim.cli.so_far import keep

    return keep(end, asked.get("out"), bool(asked.get("as_json")))


def _close_stdout() -> None:
    """Point stdout at nothing: its reader has seen enough, and what is left in the buffer must go somewhere."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def careful_streams() -> None:
    """Let stdout and stderr write any text: what their encoding lacks is written in another way, never an error."""
    codecs.register_error("ridesim", _spelled)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="ridesim")


def _spelled(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    letters = error.object[error.start : error.end]
    return "".join(PLAIN_LETTERS.get(letter, "?") for letter in letters), error.end


def say(text: str) -> None:
    """Write a message for people to stderr; a line that somebody else's file made endless is cut in its middle."""
    lines = [harmless(line) for line in text.split("\n")]
    short = [line if len(line) <= LONGEST_LINE else f"{line[:250]} ... {line[-140:]}" for line in lines]
    if len(short) > MOST_LINES:
        short = [*short[: MOST_LINES - 1], f"... and {len(short) - MOST_LINES + 1} more"]
    with contextlib.suppress(OSError, ValueError):
        print("\n".join(short), file=sys.stderr, flush=True)


def on_terminal(stream: TextIO | None) -> bool:
    """Return whether a stream is a terminal; one that was closed before we began is None."""
    return stream is not None and stream.isatty()


def show(text: str) -> None:
    """Write an answer for people to stdout; on a terminal its prose keeps to the terminal's width."""
    if on_terminal(sys.stdout):
        from ridesim.report.folded import folded

        text = folded(text, shutil.get_terminal_size((TEXT_COLUMNS, 24)).columns)
    print(harmless(text))


def print_json(payload: Mapping[str, Any]) -> None:
    """Print one JSON object to stdout; what is not finite becomes null."""
    text = to_json(payload)
    encoding = (getattr(sys.stdout, "encoding", None) or "utf-8").lower().replace("-", "")
    print(text if encoding.startswith("utf") else json.dumps(json.loads(text), indent=2))


def envelope(kind: str, inputs: Mapping[str, Any], **content: Any) -> dict[str, Any]:
    """Return the head that every JSON answer carries, followed by its content."""
    from ridesim import __version__

    return {
        "schema": f"ridesim.{kind}/{SCHEMA_VERSION}",
        "version": __version__,
        "command": command_line(),
        "inputs": dict(inputs),
        **content,
    }


def command_line() -> str:
    """Return the command as it was typed, so that it can be run again."""
    return shlex.join(["ridesim", *sys.argv[1:]])


@contextmanager
def progress(words: str, total: int | None = None, what: str | None = None) -> Iterator[Callable[[int], None]]:
    """Yield a function that advances a bar on stderr; shown on a terminal only, and only after a second.

    `what`: what is counted, to show how many a second.
    """
    if not on_terminal(sys.stderr):
        yield lambda _done: None
        return
    from ridesim.cli.bar import LateBar

    with LateBar(words, total, PROGRESS_AFTER_S, what) as bar:
        yield bar.advance


def say_if_compiling(loaded: LoadedBuild | None = None) -> None:
    """Tell a person that the first ride of a new version compiles, once; that of a bike of two drives once more."""
    from ridesim.jit import is_compiled_before, teller

    teller[:] = [say]
    if not is_compiled_before(1 if loaded is None or loaded.build.second is None else 2):
        say("compiling the ride model, once (some 8 s) ...")
