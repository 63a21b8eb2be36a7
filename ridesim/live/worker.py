"""A process beside the page's server that answers what takes longer than a ride, one question at a time.

In a process of its own it can be told to stop within one ride, and neither slows nor stops the rides of other pages.
It reads lines of JSON and writes lines of JSON; it ends when its input does.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import sys
import threading
from pathlib import Path
from typing import Any, TextIO

from ridesim.errors import RidesimError
from ridesim.live.asking import ask
from ridesim.live.folder import Folder
from ridesim.live.state import Shelf, State
from ridesim.report.plain import plain


class Stopped(Exception):
    """The page no longer wants the answer."""


def main(words: list[str]) -> None:
    """Answer questions from standard input: words are start folder, room of dropped roads, given files."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server is interrupted, and ends this by closing the input
    if hasattr(os, "nice"):
        os.nice(5)  # the rides of the page come first
    sink = os.fdopen(os.dup(1), "w", encoding="utf-8")
    sys.stdout = sys.stderr
    shelf = Shelf(Folder(Path(words[0]), Path(words[1]), tuple(words[2:])))
    jobs: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
    unwanted: set[int] = set()
    threading.Thread(target=_read, args=(jobs, unwanted), daemon=True).start()
    while True:
        _answer(jobs.get(), shelf, unwanted, sink)


def _read(jobs: queue.SimpleQueue[dict[str, Any]], unwanted: set[int]) -> None:
    for line in sys.stdin:
        message = json.loads(line)
        if "stop" in message:
            unwanted.add(message["stop"])
        else:
            jobs.put(message)
    os._exit(0)


def _answer(job: dict[str, Any], shelf: Shelf, unwanted: set[int], sink: TextIO) -> None:
    number, count = job["id"], 0

    def tell(**content: Any) -> None:
        """Write one line of an answer."""
        sink.write(json.dumps(plain({"id": number, **content})) + "\n")
        sink.flush()

    def done(more: int) -> None:
        """Tell how many are done. Raises Stopped for an answer that nobody waits for."""
        nonlocal count
        if number in unwanted:
            raise Stopped
        count += more
        tell(done=count)

    shelf.folder.dropped.update({name: Path(place) for name, place in job["dropped"].items()})
    state = State(job["state"]["build"], job["state"]["road"], job["state"]["changes"])
    try:
        done(0)
        tell(result=ask(job["kind"], shelf, state, done))
    except Stopped:
        tell(stopped=True)
    except RidesimError as error:
        tell(error=str(error))
    except Exception as error:
        if os.environ.get("RIDESIM_DEBUG"):
            raise
        tell(
            error=f"a fault of ours ({type(error).__name__}); start again with RIDESIM_DEBUG=1 and send us what it says"
        )
    unwanted.discard(number)


if __name__ == "__main__":
    main(sys.argv[1:])
