"""A small page by which an alarm is acknowledged from a message's link, for sites without a console. Off by default.

GET shows what the link is about and a button; only the button's POST acknowledges. A robot that previews links sends no
POST. The page serves one thing, binds where the plant file says, and asks for no password: the link is the key. With a
certificate it speaks TLS 1.2 or later, and nothing else.
"""

import contextlib
import html
import socket
import ssl
import threading
from collections.abc import Callable
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from services.notifier.dispatch import Answer
from services.notifier.links import BadToken, read

Acknowledge = Callable[[str], Answer]
"""Asked with a token, on a thread of the page's own; returns when the notifier has answered."""
PATH = "/acknowledge/"
LONGEST_TOKEN = 1000
HEADERS = {
    "Content-Type": "text/html; charset=utf-8",
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'",
}
FRAME = """<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>coldside</title><style>body{{font:1.2rem sans-serif;margin:2rem;max-width:30rem}}
button{{font:inherit;padding:1rem}}</style><body>{body}</body></html>"""


class Certificate:
    """A certificate and its key, read again when one of the files is newer. Raises OSError for what cannot be read."""

    def __init__(self, certificate: Path, key: Path) -> None:
        self._files = (certificate, key)
        self._read = self._written()
        self._context = self._loaded()

    def context(self) -> ssl.SSLContext:
        """As it is now; the one before while the new files do not belong together."""
        with contextlib.suppress(OSError):
            written = self._written()
            if written != self._read:
                self._context, self._read = self._loaded(), written
        return self._context

    def _written(self) -> tuple[int, ...]:
        found = [file.stat() for file in self._files]
        return tuple(number for one in found for number in (one.st_mtime_ns, one.st_ino, one.st_size))

    def _loaded(self) -> ssl.SSLContext:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(*self._files, password=_no_pass_phrase)
        return context


def _no_pass_phrase() -> str:
    raise ssl.SSLError("the certificate's key has a pass phrase, and nobody is there to type it")


class Server(ThreadingHTTPServer):
    """A thread for each visit. Hands are shaken there, so that a visitor who does not keeps no other waiting."""

    daemon_threads = True
    certificate: Certificate | None = None

    def get_request(self) -> tuple[socket.socket, Any]:
        """A visitor, behind TLS where there is a certificate."""
        visitor, address = super().get_request()
        if self.certificate is None:
            return visitor, address
        context = self.certificate.context()
        return context.wrap_socket(visitor, server_side=True, do_handshake_on_connect=False), address

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A visitor who breaks off, or speaks no TLS, is no news."""


class Page:
    """Serves until closed. Raises OSError where the address cannot be bound or the certificate not be read."""

    def __init__(self, address: str, acknowledge: Acknowledge, certificate: Certificate | None = None) -> None:
        host, _, port = address.rpartition(":")
        self._server = Server((host, int(port)), _handler(acknowledge))
        self._server.certificate = certificate
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    @property
    def port(self) -> int:
        """Where it listens; of use where the plant file says 0."""
        return int(self._server.server_address[1])

    def close(self) -> None:
        """Stops serving."""
        self._server.shutdown()
        self._server.server_close()


def _handler(acknowledge: Acknowledge) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        """One visit."""

        timeout = 20
        server_version = "coldside"
        sys_version = ""

        def do_GET(self) -> None:
            """What the link is about, and a button."""
            token = self._token()
            if token is None:
                return
            try:
                claim = read(token)
            except BadToken as error:
                self._show(HTTPStatus.NOT_FOUND, f"<p>{html.escape(str(error))}.</p>")
                return
            what = html.escape(f"{claim.name} in {claim.chamber}, since {claim.raised:%Y-%m-%d %H:%M} UTC")
            self._show(HTTPStatus.OK, f"<p>{what}</p><form method=post><button>I see to it</button></form>")

        def do_POST(self) -> None:
            """The button."""
            token = self._token()
            if token is None:
                return
            answer = acknowledge(token)
            status = HTTPStatus.OK if answer.accepted else HTTPStatus.CONFLICT
            self._show(status, f"<p>{html.escape(answer.text)}</p>")

        def _token(self) -> str | None:
            if self.path.startswith(PATH) and len(self.path) <= LONGEST_TOKEN:
                return self.path.removeprefix(PATH)
            self._show(HTTPStatus.NOT_FOUND, "<p>Nothing is here.</p>")
            return None

        def _show(self, status: HTTPStatus, body: str) -> None:
            content = FRAME.format(body=body).encode()
            self.send_response(status)
            for name, value in HEADERS.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        def log_message(self, format: str, *args: object) -> None:
            """Paths hold keys, so nothing is logged."""

    return Handler
