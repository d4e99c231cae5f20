"""Figures for Prometheus, in its text format, on loopback only and only when asked for."""

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from services.runtime.health import HealthBook


def as_text(books: Sequence[HealthBook]) -> str:
    """One gauge of uptime and one counter a counted name, labelled with the service."""
    lines = ["# TYPE coldside_counted_total counter"]
    for book in books:
        for name, count in sorted(dict(book.counts).items()):
            lines.append(f'coldside_counted_total{{service="{book.service}",name="{name}"}} {count}')
    lines.append("# TYPE coldside_queue_depth gauge")
    lines += [f'coldside_queue_depth{{service="{book.service}"}} {book.queue_depth}' for book in books]
    return "\n".join(lines) + "\n"


@contextmanager
def serve_metrics(books: Sequence[HealthBook], port: int) -> Iterator[None]:
    """Answers GET /metrics on 127.0.0.1 while inside; port 0 opens nothing. Raises OSError when it is taken."""
    if port == 0:
        yield
        return
    server = ThreadingHTTPServer(("127.0.0.1", port), _handler(books))
    thread = threading.Thread(target=server.serve_forever, name="metrics", daemon=True)
    thread.start()
    try:
        yield
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def _handler(books: Sequence[HealthBook]) -> type[BaseHTTPRequestHandler]:
    class Metrics(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            found = self.path == "/metrics"
            body = as_text(books).encode() if found else b"only /metrics is here\n"
            self.send_response(200 if found else 404)
            self.send_header("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *args: object) -> None:
            """Requests are not worth a line."""

    return Metrics
