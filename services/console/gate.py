"""Stands before pages and interface: knows who asks, and turns away whoever may not."""

import json
import re
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any
from urllib.parse import quote

from services.console.access import Scope, Visitor, remember
from services.console.headers import SAFE_METHODS, SECURE, Headers, comes_from_elsewhere, plain
from services.console.keys import Keys

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]

API = "/api/"
MOST_BYTES = 1_000_000
SIGN_IN = "/sign-in"
OPEN_TO_ALL = re.compile(
    r"/(sign-in|sign-out|api/v1/session|api/v1/openapi\.json|manifest\.webmanifest|favicon\.ico|service-worker\.js"
    r"|icon[\w.-]*|look/.*|static/.*|acknowledge/.*|_nicegui/.*|_nicegui_ws/.*)"
)
"""What needs nobody's name. A page's socket belongs to the page that was served, which asks anew whenever it acts."""
OPEN_TO_VIEWERS = re.compile(
    r"/(sign-in|sign-out|_nicegui_ws/.*|acknowledge/.*"
    r"|api/v1/(session|tokens(/.*)?|calculators/.*|rehearsals|requests/tell-[a-z-]+))"
)
"""What changes nothing on the site although it is posted, or only one's own keys."""


@dataclass(frozen=True, slots=True)
class Refusal:
    """A request that is turned away, and why in words."""

    status: HTTPStatus
    detail: str


@dataclass(slots=True)
class Visits:
    """Counts who is there, so that a console that nobody looks at can end."""

    open_sockets: int = 0
    last_s: float = 0.0


class Gate:
    """ASGI middleware."""

    def __init__(self, app: Application, keys: Keys, visits: Visits) -> None:
        self.app = app
        self.keys = keys
        self._visits = visits

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Each request and each socket; the server's own start and stop pass."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = plain(scope["headers"])
        place = scope["client"][0] if scope.get("client") else ""
        remember(scope, lambda: self.keys.who(headers, place))
        method = scope.get("method", "POST")  # a socket can do what a POST can
        refusal = too_much(headers) or judged(
            self.keys.who(headers, place), method, scope["path"], comes_from_elsewhere(headers)
        )
        await (self._pass(scope, receive, send) if refusal is None else _turn_away(refusal, scope, send))

    async def _pass(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def send_securely(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", ()), *_missing(message), *_unkept(scope["path"])]
            await send(message)

        is_socket = scope["type"] == "websocket"
        self._visits.open_sockets += is_socket
        self._visits.last_s = self.keys.clock.elapsed()
        try:
            await self.app(scope, receive, send_securely)
        finally:
            self._visits.open_sockets -= is_socket
            self._visits.last_s = self.keys.clock.elapsed()


def judged(who: Visitor, method: str, path: str, from_elsewhere: bool) -> Refusal | None:
    """Why a request is turned away, or None when it may pass."""
    acts = method not in SAFE_METHODS
    if acts and from_elsewhere:
        return Refusal(HTTPStatus.FORBIDDEN, "Another site's page asked for this; open the console itself.")
    if not who.may_look and not OPEN_TO_ALL.fullmatch(path):
        return Refusal(HTTPStatus.UNAUTHORIZED, "Sign in, or send a token that is still good.")
    if acts and not who.may_act and not (OPEN_TO_VIEWERS if who.may_look else OPEN_TO_ALL).fullmatch(path):
        return Refusal(HTTPStatus.FORBIDDEN, "You may look, not act; sign in as an operator.")
    return None


def too_much(headers: Headers) -> Refusal | None:
    """Why a body is not taken in: nobody sends so much, and whoever does not say how much is not waited for."""
    if "transfer-encoding" in headers:
        return Refusal(HTTPStatus.LENGTH_REQUIRED, "Say how long it is.")
    length = headers.get("content-length", "0")
    if not length.isdecimal() or len(length) > 9 or int(length) > MOST_BYTES:
        return Refusal(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"It is longer than {MOST_BYTES} bytes.")
    return None


async def _turn_away(refusal: Refusal, scope: Scope, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008, "reason": refusal.detail})
        return
    start, body = _answer(refusal, scope)
    await send({"type": "http.response.start", **start})
    await send({"type": "http.response.body", "body": body})


def _answer(refusal: Refusal, scope: Scope) -> tuple[dict[str, Any], bytes]:
    headers = [*SECURE, (b"cache-control", b"no-store")]
    if refusal.status is HTTPStatus.UNAUTHORIZED and not scope["path"].startswith(API) and scope["method"] == "GET":
        to = f"{SIGN_IN}?to={quote(scope['path'])}".encode()
        return {"status": HTTPStatus.SEE_OTHER.value, "headers": [*headers, (b"location", to)]}, b""
    if refusal.status is HTTPStatus.UNAUTHORIZED:
        headers.append((b"www-authenticate", b"Bearer"))
    body = json.dumps({"detail": refusal.detail}).encode()
    headers += [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    return {"status": refusal.status.value, "headers": headers}, body


def _missing(message: Message) -> list[tuple[bytes, bytes]]:
    there = {name.lower() for name, _ in message.get("headers", ())}
    return [(name, value) for name, value in SECURE if name not in there]


def _unkept(path: str) -> list[tuple[bytes, bytes]]:
    return [(b"cache-control", b"no-store")] if path.startswith(API) else []
