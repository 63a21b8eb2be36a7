"""What a page asks of its server, and how it is answered."""

from __future__ import annotations

import asyncio
import json
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Any

from anyio import to_thread
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Mount, Route
from starlette.types import ASGIApp

from ridesim.errors import RideError, RidesimError
from ridesim.harmless import harmless
from ridesim.live.asking import KINDS, PAGES
from ridesim.live.folder import Folder
from ridesim.live.guard import Guard
from ridesim.live.hands import hands_of
from ridesim.live.riding import answer_ride, road_answer
from ridesim.live.state import Shelf, State, parse_json, parse_state
from ridesim.live.variant import variant_text
from ridesim.live.workers import Workers
from ridesim.report.plain import plain
from ridesim.units import from_si

STATIC = Path(__file__).parent / "static"
KINDS_OF_FILE = {".html": "text/html", ".js": "text/javascript", ".css": "text/css"}
STATE_BYTES = 256 * 1024
ROAD_BYTES = 128 * 1024 * 1024
"""A recording of a day is a few megabytes."""
STATE_PATIENCE_S, ROAD_PATIENCE_S = 10.0, 120.0
"""How long a request's body may take to arrive."""

Handler = Callable[[Request], Awaitable[Response]]


class TooMuch(Exception):
    """A body is larger than it may be, or too slow."""


def told(handler: Handler) -> Handler:
    """Answer a user's fault in its own words, and a body that is too large or too slow with a number.

    A fault is an answer: `error` in words, or `there`, the name of a file that would be written over. Its status is
    200, since a browser writes every other one into its console as an error of the page's.
    """

    async def answered(request: Request) -> Response:
        """Answer a request, a user's fault with 200 and words, a bad body with 408 or 413."""
        try:
            return await handler(request)
        except RidesimError as error:
            return JSONResponse({"error": harmless(str(error))})
        except FileExistsError as error:
            return JSONResponse({"there": str(error)})
        except TooMuch:
            return Response(status_code=413, headers={"connection": "close"})
        except (ClientDisconnect, TimeoutError):
            return Response(status_code=408, headers={"connection": "close"})

    return answered


async def body_of(request: Request, most: int = STATE_BYTES, patience_s: float = STATE_PATIENCE_S) -> bytes:
    """Return a request's body. Raises TooMuch, or TimeoutError."""
    pieces: list[bytes] = []
    async for piece in _pieces(request, most, patience_s):
        pieces.append(piece)
    return b"".join(pieces)


async def _pieces(request: Request, most: int, patience_s: float) -> AsyncIterator[bytes]:
    length = request.headers.get("content-length", "0")
    if not length.isdecimal() or len(length) > 12 or int(length) > most:
        raise TooMuch
    total = 0
    async with asyncio.timeout(patience_s):
        async for piece in request.stream():
            total += len(piece)
            if total > most:
                raise TooMuch
            yield piece


class Page:
    """The answers of one server. Of a page it keeps dropped roads only: a page's state comes with each request."""

    def __init__(self, folder: Folder, first: tuple[str, str]) -> None:
        self.folder, self.first = folder, first
        self.shelf, self.workers = Shelf(folder), Workers(folder)

    def routes(self) -> list[Route]:
        """Return what can be asked."""
        asked = {
            "ride": self.ride, "road": self.road, "hands": self.hands, "more": self.more, "save": self.save,
            "drop": self.drop, "keep": self.keep,
        }  # fmt: skip
        posts = [Route(f"/{name}", told(handler), methods=["POST"]) for name, handler in asked.items()]
        return [Route("/", static), Route("/static/{name:path}", static), Route("/start", told(self.start)), *posts]

    async def start(self, _: Request) -> Response:
        """What there is in the folder, and what to begin with."""
        listed = await to_thread.run_sync(self.folder.listed)
        from ridesim import __version__

        first = {"build": self.first[0], "road": self.first[1]}
        return JSONResponse({**listed, "first": first, "version": __version__, "most_road_bytes": ROAD_BYTES})

    async def ride(self, request: Request) -> Response:
        """The ride of a state, as columns and figures."""
        sent = parse_json(await body_of(request))
        state, points = parse_state(sent.get("state")), sent.get("points", 2000)
        if type(points) is not int:
            raise RideError("page", "sent no number of points", "reload it")
        return Response(await to_thread.run_sync(self._ride, state, points), media_type="application/octet-stream")

    def _ride(self, state: State, points: int) -> bytes:
        return answer_ride(self.shelf.build(state), self.shelf.road(state), points)

    async def road(self, request: Request) -> Response:
        """The road of a state: its words and its way seen from above."""
        state = parse_state(parse_json(await body_of(request)).get("state"))
        found = await to_thread.run_sync(lambda: road_answer(self.shelf.road(state)))
        return Response(found, media_type="application/octet-stream")

    async def hands(self, request: Request) -> Response:
        """Sliders, parts at hand and keys of a state's build."""
        state = parse_state(parse_json(await body_of(request)).get("state"))
        return JSONResponse(plain(await to_thread.run_sync(self._hands, state)))

    def _hands(self, state: State) -> dict[str, Any]:
        return hands_of(self.shelf.build(state), self.folder.build(state.build).parent)

    async def more(self, request: Request) -> Response:
        """A longer answer, as lines of JSON: progress, then the result."""
        sent = parse_json(await body_of(request))
        kind, state = sent.get("kind"), parse_state(sent.get("state"))
        if kind not in KINDS or kind in PAGES:
            raise RideError("page", "asks an unknown question", "reload it")

        async def lines() -> AsyncIterator[bytes]:
            """Yield a worker's messages, each a line of JSON."""
            async for message in self.workers.ask(str(kind), state):
                yield json.dumps(message).encode() + b"\n"

        return StreamingResponse(lines(), media_type="application/x-ndjson")

    async def save(self, request: Request) -> Response:
        """Write a build variant into the start folder; asks (`there`) before a file is written over."""
        sent = parse_json(await body_of(request))
        state, name = parse_state(sent.get("state")), _file_name(sent.get("name"), ".toml")
        text = await to_thread.run_sync(self._variant, state, name)
        if sent.get("look") is True:
            return JSONResponse({"text": text})
        written = await to_thread.run_sync(partial(self.folder.write_new, name, text, over=sent.get("over") is True))
        return JSONResponse({"written": written, "text": text})

    def _variant(self, state: State, name: str) -> str:
        return variant_text(state, self.shelf.build(state), name.removesuffix(".toml"), self.folder)

    async def keep(self, request: Request) -> Response:
        """Write a page to keep into the start folder, with the same care."""
        sent = parse_json(await body_of(request))
        kind, state, name = sent.get("kind"), parse_state(sent.get("state")), _file_name(sent.get("name"), ".html")
        if kind not in PAGES:
            raise RideError("page", "asks for an unknown page", "reload it")
        over = sent.get("over") is True
        if not over and (self.folder.start / name).exists():
            raise FileExistsError(name)
        async for message in self.workers.ask(str(kind), state):
            if "error" in message:
                return JSONResponse({"error": message["error"]})
            if "result" in message:
                text = harmless(message["result"]["page"])
                written = await to_thread.run_sync(partial(self.folder.write_new, name, text, over=over))
                return JSONResponse({"written": written})
        return JSONResponse({"error": "the page was not made; ask again"})

    async def drop(self, request: Request) -> Response:
        """Take a dropped road: kept where it can be read, told what is wrong where not."""
        title = request.query_params.get("name", "")[:200]
        if not title.lower().endswith((".gpx", ".toml")):
            raise RideError("road", "is neither .gpx nor .toml", "drop a recording or a road file")
        with tempfile.NamedTemporaryFile(dir=self.folder.room, delete=False) as sink:
            try:
                async for piece in _pieces(request, ROAD_BYTES, ROAD_PATIENCE_S):
                    sink.write(piece)
            except BaseException:
                Path(sink.name).unlink(missing_ok=True)
                raise
        name = await to_thread.run_sync(self._kept, title, Path(sink.name))
        return JSONResponse({"road": name})

    def _kept(self, title: str, received: Path) -> str:
        name = self.folder.keep_road(title, received)
        try:
            self.shelf.road(State("", name, {}))
        except RidesimError as error:
            place = self.folder.dropped.pop(name)
            place.unlink(missing_ok=True)
            raise RideError(title, str(error).replace(str(place), title).partition(": ")[2], "") from None
        return name


async def static(request: Request) -> Response:
    """The page's own files, by name: the list is what the package ships."""
    name = request.path_params.get("name", "index.html")
    place = _shipped().get(name)
    if place is None:
        return Response(status_code=404)
    return Response(place.read_bytes(), media_type=f"{KINDS_OF_FILE[place.suffix]}; charset=utf-8")


def _shipped() -> dict[str, Path]:
    files = [place for place in STATIC.rglob("*") if place.suffix in KINDS_OF_FILE]
    return {str(place.relative_to(STATIC)): place for place in files}


def _file_name(name: object, ending: str) -> str:
    if not isinstance(name, str) or not name.strip():
        raise RideError("name", "is missing", "write a file name")
    plain_name = name.strip()
    return plain_name if plain_name.lower().endswith(ending) else f"{plain_name}{ending}"


def application(folder: Folder, first: tuple[str, str], token: str, port: int) -> ASGIApp:
    """Return the server's application: the page under its token, behind the guard."""
    page = Page(folder, first)

    @asynccontextmanager
    async def living(_: Starlette) -> AsyncIterator[None]:
        """Warm the workers up before the first request, and end them after the last."""
        await page.workers.warm_up()
        yield
        await page.workers.close()

    return Guard(Starlette(routes=[Mount(f"/{token}", routes=page.routes())], lifespan=living), token, port)


def limit_words() -> str:
    """Return how large a dropped road may be, in words."""
    return f"{from_si(ROAD_BYTES, 'mb'):.0f} MB"
