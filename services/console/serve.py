"""Serves the console on a socket that was bound before, until a signal, or until nobody has come for a while."""

import asyncio
import logging
import os
import signal
import socket
from pathlib import Path

import uvicorn

from services.console.app import Console, Desk, build
from services.console.link import BrokerBus
from services.console.settings import is_loopback

LOOK_EVERY_S = 5.0
PARTING_S = 3
PAGES = "pages"
"""The folder, in the state folder, in which pages keep what they must remember of a browser."""
_LOG = logging.getLogger("coldside")


class NotSafe(OSError):
    """It will not serve there as things are; the text says what to do."""


def prepare(state_folder: Path) -> None:
    """To be called before anything of the pages is imported: they read where to keep things once, on import."""
    os.environ["NICEGUI_STORAGE_PATH"] = str((state_folder / PAGES).resolve())


def check_reach(desk: Desk, host: str) -> None:
    """Beyond this machine only operators with a password are served. Raises NotSafe."""
    if is_loopback(host) or desk.accounts.book.has_operator:
        return
    raise NotSafe(
        f"the console is not served on {host} before an operator has a password: "
        "`coldside accounts add NAME --role operator` sets one; until then it stays on 127.0.0.1"
    )


def serve(desk: Desk, bus: BrokerBus, listening: socket.socket) -> None:
    """Returns after SIGTERM, SIGINT, or the idle time of the settings. Raises NotSafe."""
    check_reach(desk, listening.getsockname()[0])
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: None)  # the server takes them, and hands them back at the end
    asyncio.run(_serve(build(desk), desk, bus, listening))


async def _serve(console: Console, desk: Desk, bus: BrokerBus, listening: socket.socket) -> None:
    config = uvicorn.Config(
        console.app,
        log_config=None,
        log_level="warning",
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_graceful_shutdown=PARTING_S,
    )
    server = uvicorn.Server(config)
    bus.start()
    _watch(console, desk, server)
    try:
        await server.serve(sockets=[listening])
    finally:
        await bus.stop()


def _watch(console: Console, desk: Desk, server: uvicorn.Server) -> None:
    """Ends the server when nobody has been there for the idle time."""
    idle_s = desk.settings.idle_s
    if idle_s is None:
        return
    loop = asyncio.get_running_loop()

    def look() -> None:
        visits = console.visits
        if not server.started:
            visits.last_s = desk.clock.elapsed()  # whoever it was started for has not been answered yet
        if not visits.open_sockets and desk.clock.elapsed() - visits.last_s >= idle_s:
            _LOG.info("nobody is here", extra={"service": "console", "facts": {"idle_s": idle_s}})
            server.should_exit = True
        else:
            loop.call_later(min(LOOK_EVERY_S, idle_s), look)

    look()
