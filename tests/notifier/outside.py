"""The world outside: a real mail server and a real web server that fail on demand, and remember what reached them."""

import asyncio
import json
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from email import message_from_bytes
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from services.runtime.broker import free_port

HANG_S = 1.0


class Mailbox:
    """A mail server on loopback. `plan` says what happens to each mail in turn; afterwards all are taken.

    `refuse`: a temporary failure. `hang`: no answer until the client has gone. `lost`: taken, and the answer is lost.
    """

    def __init__(self, plan: Sequence[str] = ()) -> None:
        self.plan = list(plan)
        self.mails: list[Message] = []
        self.attempts = 0
        self._controller = Controller(self, hostname="127.0.0.1", port=free_port(0))

    @property
    def address(self) -> str:
        return f"127.0.0.1:{self._controller.port}"

    async def handle_DATA(self, server: SMTP, _session: Session, envelope: Envelope) -> str:
        self.attempts += 1
        fate = self.plan.pop(0) if self.plan else "take"
        if fate in ("take", "slow", "lost"):
            self.mails.append(message_from_bytes(envelope.content))
        if fate in ("hang", "slow", "lost"):
            await asyncio.sleep(HANG_S / 10 if fate == "slow" else HANG_S)
        return "451 come back later" if fate == "refuse" else "250 taken"

    @property
    def ids(self) -> list[str]:
        return [mail["Message-ID"] for mail in self.mails]


@contextmanager
def mailbox(plan: Sequence[str] = ()) -> Iterator[Mailbox]:
    found = Mailbox(plan)
    found._controller.start()
    try:
        yield found
    finally:
        found._controller.stop()


class Receiver:
    """A web server on loopback. `plan` says what happens to each request in turn; afterwards all are taken.

    `refuse`: the connection is closed. `500`: an error. `hang`: no answer in time. `lost`: taken, and the same.
    """

    def __init__(self, plan: Sequence[str] = (), port: int = 0) -> None:
        self.plan = list(plan)
        self.taken: list[dict[str, Any]] = []
        self.attempts = 0
        self._server = ThreadingHTTPServer(("127.0.0.1", port), _handler(self))
        self._server.daemon_threads = True

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self._server.server_address[1]}/hook"

    @property
    def ids(self) -> list[str]:
        return [one["id"] for one in self.taken]

    def take(self, body: bytes, key: str) -> int:
        self.attempts += 1
        fate = self.plan.pop(0) if self.plan else "take"
        if fate in ("take", "slow", "lost"):
            message = json.loads(body or b"{}")
            if message.get("id", "") != key:
                return 400
            self.taken.append(message)
        if fate in ("hang", "slow", "lost"):
            time.sleep(HANG_S / 10 if fate == "slow" else HANG_S)
        return {"refuse": 0, "500": 500}.get(fate, 200)


def _handler(receiver: Receiver) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            status = receiver.take(body, self.headers.get("Idempotency-Key", ""))
            if status:
                self.send_response(status)
                self.send_header("Content-Length", "0")
                self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            """Quiet."""

    return Handler


@contextmanager
def receiver(plan: Sequence[str] = (), port: int = 0) -> Iterator[Receiver]:
    found = Receiver(plan, port)
    thread = threading.Thread(target=found._server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield found
    finally:
        found._server.shutdown()
        found._server.server_close()
