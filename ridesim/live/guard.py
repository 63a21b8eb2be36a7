"""Who may ask: pages of this server itself, that know its token, with requests of a sane size."""

from __future__ import annotations

import hmac
from typing import Any

from starlette.types import ASGIApp, Receive, Scope, Send

HEADERS = (
    (b"cache-control", b"no-store"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
        b"connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
)
"""On every answer. Styles inside drawings are inline; scripts never are."""
ALLOWED = ("GET", "POST")


class Guard:
    """Lets through what comes from the server's own page.

    The address must name this machine (`Host`, against names that are made to point here), a page of another origin is
    refused (`Origin`, `Sec-Fetch-Site`), and the path must begin with the token. All else hears nothing but a number.
    """

    def __init__(self, app: ASGIApp, token: str, port: int) -> None:
        self.app, self.token = app, token
        self.hosts = {f"127.0.0.1:{port}".encode(), f"localhost:{port}".encode()}
        self.origins = {b"http://" + host for host in self.hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        status = self.refusal(scope)
        if status:
            await send(
                {"type": "http.response.start", "status": status, "headers": [*HEADERS, (b"connection", b"close")]}
            )
            await send({"type": "http.response.body", "body": b""})
            return

        async def headed(message: Any) -> None:
            """Send a message on, the guard's headers added where an answer begins."""
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", []), *HEADERS]}
            await send(message)

        await self.app(scope, receive, headed)

    def refusal(self, scope: Scope) -> int:
        """Return the number of a refusal, 0 for a request that may go on."""
        headers: list[tuple[bytes, bytes]] = scope["headers"]
        said: dict[bytes, list[bytes]] = {}
        for name, value in headers:
            said.setdefault(name.lower(), []).append(value)
        hosts, origins = said.get(b"host", []), said.get(b"origin", [])
        if len(hosts) != 1 or hosts[0] not in self.hosts:
            return 421
        if any(origin not in self.origins for origin in origins):
            return 403
        if said.get(b"sec-fetch-site", [b"same-origin"])[0] not in (b"same-origin", b"none"):
            return 403
        if scope["method"] not in ALLOWED:
            return 405
        if scope["method"] == "POST" and not origins:
            return 403
        first = scope["path"].split("/")[1] if scope["path"].startswith("/") else ""
        return 0 if hmac.compare_digest(first.encode("utf-8", "replace"), self.token.encode()) else 404
