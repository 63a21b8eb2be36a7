"""A server of the live page in a process of its own, over a folder with demo bikes and roads."""

from __future__ import annotations

import http.client
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

for needed in ("starlette", "uvicorn"):
    pytest.importorskip(needed, reason=f"{needed} is not installed (the extra `live`)")

BUILD, ROAD = "longtail-belt.toml", "terrace-round.gpx"
RAMP = '[road]\nkind = "climb"\nlength_km = 0.4\ngrade_percent = 4\n'
"""A road for what is no question of the road: ridden in no time."""


@dataclass
class Server:
    """Where the server is, and the folder it was started from."""

    port: int
    token: str
    folder: Path
    process: subprocess.Popen[str]

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def address(self) -> str:
        return f"{self.origin}/{self.token}/"

    def post(self, path: str, sent: object, **headers: str) -> tuple[int, bytes]:
        """Post JSON as the page does; return status and body."""
        return self.ask("POST", path, json.dumps(sent).encode(), Origin=self.origin, **headers)

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> tuple[int, bytes]:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            line.request(method, f"/{self.token}/{path}", body, {k.replace("_", "-"): v for k, v in headers.items()})
            answer = line.getresponse()
            return _as_told(answer.status, answer.read())
        finally:
            line.close()

    def ride(self, changes: dict[str, Any] | None = None, road: str = ROAD, build: str = BUILD) -> dict[str, Any]:
        """Ride and return the head of the answer."""
        status, body = self.post("ride", {"state": state(changes, road, build), "points": 4000})
        assert status == 200, body
        return head_of(body)


def _as_told(status: int, body: bytes) -> tuple[int, bytes]:
    """A fault in words is told as 422, a file in the way as 409: the server says 200, for the browser's console."""
    for status_told, start in ((422, b'{"error":'), (409, b'{"there":')):
        if status == 200 and body.startswith(start):
            return status_told, body
    return status, body


def state(changes: dict[str, Any] | None = None, road: str = ROAD, build: str = BUILD) -> dict[str, Any]:
    return {"build": build, "road": road, "changes": changes or {}}


def head_of(body: bytes) -> dict[str, Any]:
    length = int.from_bytes(body[:4], "little")
    found: dict[str, Any] = json.loads(body[4 : 4 + length])
    return found


def start(folder: Path, root: Path, *words: str) -> Server:
    """Start a server in `folder` and wait for its address."""
    environment = {**os.environ, "PYTHONPATH": str(root), "NO_COLOR": "1"}
    process = subprocess.Popen(
        [sys.executable, "-m", "ridesim", "live", *words, "--no-browser"],
        cwd=folder, env=environment, stdout=subprocess.PIPE, stderr=(folder / "stderr.txt").open("w"), text=True,
    )  # fmt: skip
    assert process.stdout is not None
    address = process.stdout.readline().strip()
    if not address.startswith("http"):
        process.kill()
        pytest.fail(f"no address: {address!r}, {(folder / 'stderr.txt').read_text()}")
    port, token = address.removeprefix("http://127.0.0.1:").rstrip("/").split("/")
    return Server(int(port), token, folder, process)


def stop(server: Server) -> None:
    told = (server.folder / "stderr.txt").read_text(encoding="utf-8")
    assert "Traceback" not in told, told[-2000:]
    server.process.terminate()
    try:
        server.process.wait(20)
    except subprocess.TimeoutExpired:
        server.process.kill()


def demo_folder(place: Path, root: Path) -> Path:
    """Copy demo bikes, parts and roads into one folder, as a builder has them."""
    for source in (root / "configs").glob("*.toml"):
        shutil.copy(source, place)
    shutil.copytree(root / "configs" / "parts", place / "parts")
    for name in (ROAD, "ridge-climb.gpx", "valley-commute.gpx", "valley-commute.toml"):
        shutil.copy(root / "routes" / name, place)
    return place


@pytest.fixture(scope="session")
def server(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    made = start(demo_folder(tmp_path_factory.mktemp("bikes"), root), root, BUILD, ROAD)
    yield made
    stop(made)


def eventually(true: Any, seconds: float = 20.0) -> bool:
    """Wait until something is true."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.05)
    return False
