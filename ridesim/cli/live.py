"""`ridesim live`: change a part and see the whole road change."""

from __future__ import annotations

import sys
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

import typer

from ridesim.cli.output import command, say_if_compiling, show
from ridesim.errors import RideError

EXAMPLE = "Example: ridesim live configs/longtail-belt.toml routes/terrace-round.gpx"
NEEDED = ("starlette", "uvicorn")


@command("live", EXAMPLE, bare=True)
def live(
    build: Annotated[
        str | None, typer.Argument(metavar="[BUILD]", help="Build file (TOML).  [default: the folder's first]")
    ] = None,
    road: Annotated[
        str | None, typer.Argument(metavar="[ROAD]", help="Road: GPX or road file.  [default: the folder's first]")
    ] = None,
    port: Annotated[int, typer.Option("--port", help="Port; 0 takes a free one.", min=0, max=65535)] = 0,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser.")] = True,
) -> None:
    """Open a page on this machine where a hand on a part redraws the whole ride; Ctrl-C ends it."""
    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        raise RideError("live", f"needs {' and '.join(missing)}", "install them: pip install 'ridesim[live]'")
    from ridesim.bike.load import load_build
    from ridesim.cli.written import seal
    from ridesim.live.folder import Folder
    from ridesim.live.serving import serve
    from ridesim.ride.simulate import simulate
    from ridesim.road.load import load_road

    start = Path.cwd()
    listed = Folder(start, start).listed()
    build, road = build or _first(listed["builds"], "build"), road or _first(listed["roads"], "road")
    loaded = load_build(build)
    say_if_compiling(loaded)
    simulate(loaded, load_road(road))  # a file at fault is told here, and the model is compiled
    try:
        serve(start, build, road, port, browser, _tell, seal)
    except OSError as fault:
        raise RideError("--port", f"{port} cannot be had ({fault.strerror or fault})", "leave it out") from None


def _first(names: list[str], what: str) -> str:
    if not names:
        raise RideError("live", f"there is no {what} in this folder", f"name one, or write one: ridesim new my{what}")
    return names[0]


def _tell(address: str) -> None:
    """Print the address at once: who waits for it may read from a pipe."""
    show(f"{address}\nCtrl-C ends it")
    sys.stdout.flush()
