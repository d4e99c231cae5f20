"""A small page by which an alarm is acknowledged from a message's link, for sites without a console. Off by default.

GET shows what the link is about and a button; only the button's POST acknowledges. A robot that previews links sends no
POST. The page serves one thing, binds where the plant file says, and asks for no password: the link is the key.
"""

import html
import threading
from collections.abc import Callable
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

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


class Page:
    """Serves until closed. Raises OSError where the address cannot be bound."""

    def __init__(self, address: str, acknowledge: Acknowledge) -> None:
        host, _, port = address.rpartition(":")
        self._server = ThreadingHTTPServer((host, int(port)), _handler(acknowledge))
        self._server.daemon_threads = True
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
