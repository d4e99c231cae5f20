"""How `coldside up` opens the console: where it listens, and when its process runs."""

import sys
from dataclasses import dataclass, field
from enum import StrEnum
from importlib.util import find_spec
from pathlib import Path
from socket import socket

from schemas.base import ServiceName
from services.commands.common import USAGE, fail
from services.console.settings import DEFAULT_PORT, LOOPBACK, is_loopback
from services.runtime.doorway import SOCKET_PLACE, listen, note_address, url_of

IDLE_S = 900
"""A console that nobody has looked at for so long gives its memory back until somebody comes."""
CONSOLE = ServiceName.CONSOLE.value


class Opening(StrEnum):
    """When the console's process runs."""

    ON_VISIT = "on-visit"
    ALWAYS = "always"
    OFF = "off"


@dataclass(frozen=True, slots=True)
class Doorstep:
    """What a plan of the keeper needs for the console; nothing at all where there is none."""

    members: dict[str, list[str]] = field(default_factory=dict)
    visited: dict[str, list[str]] = field(default_factory=dict)
    listening: socket | None = None
    words: str = "  console: off"

    @property
    def socket_fd(self) -> int | None:
        """The number that stays the same when this process becomes the keeper."""
        return None if self.listening is None else self.listening.fileno()


def doorstep(opening: Opening, host: str, port: int | None, plant: Path, state: Path, broker: str) -> Doorstep:
    """Binds the console's address. Ends the command with what to do where it cannot be had, or must not.

    Without a `port`, it is 8765, or any free one where something else has that.
    """
    if opening is Opening.OFF:
        return Doorstep()
    if find_spec("nicegui") is None:
        return Doorstep(words="  console: not installed; it comes with the extra 'console'")
    _check_reach(host, state)
    try:
        listening = listen(host, DEFAULT_PORT if port is None else port, or_any=port is None)
        note_address(state, listening)
    except OSError as error:
        raise fail(f"{error}; name another with --console-port, or go without by --console off", USAGE) from error
    command = _command(plant, state, broker)
    words = f"  console: {url_of(listening)}"
    if opening is Opening.ALWAYS:
        return Doorstep(members={CONSOLE: command}, listening=listening, words=words)
    return Doorstep(visited={CONSOLE: [*command, "--idle", str(IDLE_S)]}, listening=listening, words=words)


def _command(plant: Path, state: Path, broker: str) -> list[str]:
    base = [sys.executable, "-m", "services.commands.console", "--fd", SOCKET_PLACE]
    log = state / "log" / f"{CONSOLE}.jsonl"
    return [*base, "--plant", str(plant), "--state", str(state), "--broker", broker, "--log", str(log)]


def _check_reach(host: str, state: Path) -> None:
    if is_loopback(host):
        return
    from services.console.accounts import AccountRefused, Accounts  # whoever stays on loopback needs none

    try:
        safe = Accounts(state).book.has_operator
    except AccountRefused as error:
        raise fail(str(error), USAGE) from error
    if not safe:
        remedy = f"`coldside accounts add NAME --role operator --state {state}` sets one; until then use {LOOPBACK}"
        raise fail(f"the console is not served on {host} before an operator has a password: {remedy}", USAGE)
