"""Running the server: on this machine only, on a free port, until it is interrupted."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import secrets
import socket
import tempfile
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from ridesim.engine.halting import BEGUN, HALT
from ridesim.live.folder import Folder, Seal
from ridesim.live.server import application

HERE = "127.0.0.1"
LOOK_EVERY_S = 0.03
MOST_CONNECTIONS = 64
LONGEST_HEAD = 16 * 1024
"""Bytes of a request's head."""


def serve(
    start: Path, build: str, road: str, port: int, opens: bool, tell: Callable[[str], None], seal: Seal | None = None
) -> None:  # fmt: skip
    """Serve the page until the process is told to end; `tell` is given its address, `seal` pages before they are kept.

    Raises OSError for a taken port.
    """
    token = secrets.token_urlsafe(24)
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listener, tempfile.TemporaryDirectory() as room:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((HERE, port))
        listener.listen(MOST_CONNECTIONS)  # a browser that comes early waits, and is not refused
        number = int(listener.getsockname()[1])
        folder = Folder(start, Path(room), (build, road), seal)
        app = application(folder, (build, road), token, number)
        log = logging.getLogger("uvicorn.error")
        log.setLevel(logging.ERROR)  # strangers' nonsense is not the user's business
        log.addFilter(_is_no_goodbye)
        config = uvicorn.Config(
            app, log_config=None, access_log=False, server_header=False, date_header=False, ws="none", http="h11",
            limit_concurrency=MOST_CONNECTIONS, timeout_keep_alive=30, h11_max_incomplete_event_size=LONGEST_HEAD,
            timeout_graceful_shutdown=0,
        )  # fmt: skip
        address = f"http://{HERE}:{number}/{token}/"
        tell(address)
        if opens:
            webbrowser.open(address)
        asyncio.run(_until_told(uvicorn.Server(config), listener))


def _is_no_goodbye(record: logging.LogRecord) -> bool:
    """Return whether a word of the server's is more than that it ends, as it was told to."""
    return "graceful shutdown" not in record.getMessage()


async def _until_told(server: uvicorn.Server, listener: socket.socket) -> None:
    """Serve; the rides' own flag says when the process is about to end, since signals are heard elsewhere."""

    async def watch() -> None:
        """Tell the server to end once the rides are told to halt."""
        BEGUN.set()
        while not HALT[0]:
            await asyncio.sleep(LOOK_EVERY_S)
        server.should_exit = True

    watcher = asyncio.ensure_future(watch())
    try:
        await server.serve(sockets=[listener])
    finally:
        watcher.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await watcher
