"""The way in and out of every command: the work runs in a thread of its own, the main thread answers signals.

Python handles signals in the main thread only, and only between two steps of its own: work that sits in compiled code
would answer late, or be torn apart. Here the main thread has nothing else to do.
"""

from __future__ import annotations

import signal

TYPE_CHECKING = False  # as typing's own, without its import: signals are to be heard early
if TYPE_CHECKING:
    from typing import NoReturn

ENDING_SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")
LOOK_EVERY_S = 0.03
GRACE_S = 0.2
"""Time for the work to say how far it came after a signal, before the process ends without it."""
LONGER_GRACE_S = 2.0
"""The same where it has begun to write what it has; on a quiet machine it takes a tenth of a second."""
BUSY = 1.75
"""Where a machine has other work too, the wait is so many times longer at most."""
COLLECT_EVERY = 20_000
"""Objects made between two looks of Python's collector."""
INTERRUPTED, BAD_INPUT, OUR_FAULT = 130, 2, 1


def main() -> NoReturn:
    """Run the command line in `sys.argv` and end the process with its exit code."""
    caught: list[int] = []
    for name in ENDING_SIGNALS:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, lambda number, _frame: caught.append(number))
    import threading

    _keep_warnings_of_arithmetic()
    _keep_algebra_on_one_thread()
    _collect_seldom()
    code: list[int] = []
    work = threading.Thread(target=lambda: code.append(run()), name="work", daemon=True)
    work.start()
    while work.is_alive() and not caught:
        work.join(LOOK_EVERY_S)
    if caught and not code:
        if _end_rides():
            _wait_for(work, GRACE_S)
        if _is_keeping():
            _wait_for(work, LONGER_GRACE_S)
        if not code:
            _give_up()
    leave(code[0] if code else OUR_FAULT)


def _keep_warnings_of_arithmetic() -> None:
    """Keep numpy's own words about 1e308 times ten off the terminal: what is not finite is refused by name."""
    import os
    import warnings

    if not os.environ.get("RIDESIM_DEBUG"):
        warnings.simplefilter("ignore", RuntimeWarning)


def _keep_algebra_on_one_thread() -> None:
    """Ask numpy's linear algebra for one thread, where nobody asked for another number: our matrices are small.

    On two cores a second thread took a third of a fit's processor time, and gave nothing.
    """
    import os

    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def _collect_seldom() -> None:
    """Ask Python's collector to look for garbage less often: a start makes objects that live on, and little garbage.

    It took a twentieth of a ride's time.
    """
    import gc

    gc.set_threshold(COLLECT_EVERY)


def _wait_for(work: object, seconds: float) -> None:
    """Wait until the work is done or has had so much of the processor, on a busy machine a few times longer."""
    from time import monotonic, process_time

    ends, spent = monotonic() + BUSY * seconds, process_time() + seconds
    while work.is_alive() and monotonic() < ends and process_time() < spent:  # type: ignore[attr-defined]
        work.join(LOOK_EVERY_S)  # type: ignore[attr-defined]


def run(words: list[str] | None = None) -> int:
    """Run one command and return its exit code; nothing is raised, and what goes wrong is one line on stderr."""
    import sys

    from ridesim.cli.output import careful_streams, say

    careful_streams()
    if words is not None:
        sys.argv[1:] = words  # an answer tells the command that made it
    try:
        code = _run(words)
        if sys.stdout is not None:
            sys.stdout.flush()
    except BrokenPipeError:  # the reader has seen enough
        return 0
    except OSError as error:
        say(f"standard output: cannot be written ({error.strerror or error}); write to a place with room")
        return BAD_INPUT
    return code


def _run(words: list[str] | None) -> int:
    import os
    import sys

    from ridesim.cli.output import say

    try:
        from ridesim.cli.app import command_line

        return int(command_line()(args=words, prog_name="ridesim", standalone_mode=False) or 0)
    except SystemExit as end:
        if type(sys.stdout).__name__ == "PacifyFlushWrapper":  # typer's way to leave when the reader has seen enough
            return 0
        return end.code if isinstance(end.code, int) else int(end.code is not None)
    except KeyboardInterrupt:
        say("interrupted; nothing was left half-written")
        return INTERRUPTED
    except OSError:
        raise
    except Exception as error:
        if hasattr(error, "format_message"):  # typer's own for wrong use, under a name that changes with its version
            return _wrong_use(error)
        if os.environ.get("RIDESIM_DEBUG"):
            raise
        say(f"ridesim: a fault of ours ({type(error).__name__}: {error}); set RIDESIM_DEBUG=1 and send us what it says")
        return OUR_FAULT


PLAINER = (
    ("Input should be a valid integer, unable to parse string as an integer", "it is not a whole number"),
    ("Input should be a valid number, unable to parse string as a number", "it is not a number such as 25 or 7.5"),
    ("Input should be ", "it must be "),
    ("Value error, ", ""),
)
"""What the library says of a wrong value, and plainer words."""


def _wrong_use(error: object) -> int:
    """Say what is wrong with the command line in one line, as with any other bad input."""
    from ridesim.cli.output import say

    context = getattr(error, "ctx", None)
    where = context.command_path if context is not None else "ridesim"
    what = " ".join(str(error.format_message()).split()).rstrip(".")  # type: ignore[attr-defined]
    for theirs, ours in PLAINER:
        what = what.replace(theirs, ours)
    say(f"{where}: {what or _needs(context)}; see {where} --help")
    return BAD_INPUT


def _needs(context: object) -> str:
    """Say what a command lacks that was called with nothing: its help stands above."""
    wanted = [each for each in context.command.params if each.required]  # type: ignore[attr-defined]
    flags = [each.opts[0] for each in wanted]
    words = [str(each.metavar or each.name).upper() for each in wanted]
    names = [flag if flag.startswith("-") else word for flag, word in zip(flags, words, strict=True)]
    return f"needs {' and '.join(names)}" if names else "needs to be told more"


def _end_rides() -> bool:
    """End what rides, and return whether any ride had begun: else there is nothing to tell, and no wait."""
    import sys

    halting = sys.modules.get("ridesim.engine.halting")
    if halting is None or not hasattr(halting, "halt_for_good"):  # half imported
        return False
    halting.halt_for_good()
    return bool(halting.BEGUN.is_set())


def _is_keeping() -> bool:
    import sys

    keeping = getattr(sys.modules.get("ridesim.cli.writing"), "keeping", None)  # half imported, nothing is written
    return keeping is not None and bool(keeping.is_set())


def _give_up() -> NoReturn:
    """End a process whose work does not come back: what it was writing is taken away."""
    import os
    import sys
    from contextlib import suppress

    with suppress(OSError):
        os.write(2, b"interrupted; nothing was left half-written\n")
    clear_away = getattr(sys.modules.get("ridesim.cli.writing"), "clear_away", None)
    if clear_away is not None:
        clear_away()
    os._exit(INTERRUPTED)


def leave(code: int) -> NoReturn:
    """End the process at once: everything is written, and tearing the interpreter down takes longer than a ride."""
    import atexit
    import os
    import sys
    from contextlib import suppress

    for name in ENDING_SIGNALS:
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    atexit._run_exitfuncs()
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError, AttributeError):
            stream.flush()
    os._exit(code)
