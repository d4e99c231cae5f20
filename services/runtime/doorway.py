"""A process that is started when somebody comes: its socket listens before there is anybody behind it.

Imports nothing beyond the standard library and neighbours of that kind: the process that keeps it stays small.
"""

import json
import select
import socket
from pathlib import Path

from services.runtime.durable import READABLE, write_durably

SOCKET_PLACE = "{socket}"
"""Stands in a command for the number of the listening socket, which the process inherits."""
BACKLOG = 128
FILE = "console-address.json"


class PortTaken(OSError):
    """Something else listens there; the text names it."""


def listen(host: str, port: int, or_any: bool = False) -> socket.socket:
    """A listening socket that children may inherit; with `or_any` on any free port where that one is taken.

    Raises PortTaken, and OSError for a host that is none of this machine's.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        _bind(listening, host, port, or_any)
    except OSError:
        listening.close()
        raise
    listening.listen(BACKLOG)
    listening.set_inheritable(True)
    return listening


def url_of(listening: socket.socket) -> str:
    """The address for a browser."""
    host, port = listening.getsockname()[:2]
    return f"http://{f'[{host}]' if ':' in host else host}:{port}/"


def note_address(folder: Path, listening: socket.socket) -> None:
    """Writes down for others where it is. Raises OSError."""
    write_durably(folder / FILE, f"{json.dumps({'url': url_of(listening)})}\n".encode(), READABLE)


def somebody_waits(listening: socket.socket) -> bool:
    """Whether a connection has been made that nobody has taken yet."""
    ready, _, _ = select.select([listening], [], [], 0)
    return bool(ready)


def _bind(listening: socket.socket, host: str, port: int, or_any: bool) -> None:
    try:
        listening.bind((host, port))
    except PermissionError:
        raise
    except OSError as error:
        if not or_any:
            raise PortTaken(f"something else listens on {host}:{port} already ({error.strerror})") from error
        listening.bind((host, 0))
