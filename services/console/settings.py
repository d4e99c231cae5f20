"""What a console is told when it is started."""

from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path

DEFAULT_PORT = 8765
LOOPBACK = "127.0.0.1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Where it serves and what it may use.

    With `idle_s`, it ends by itself after so long without any visitor: whoever started it starts it again for the next.
    """

    state_folder: Path
    plant_path: Path
    version: str = ""
    host: str = LOOPBACK
    idle_s: float | None = None

    @property
    def on_loopback(self) -> bool:
        """Whether only this machine can reach it."""
        return is_loopback(self.host)


def is_loopback(host: str) -> bool:
    """Whether a host, as an address or as the name `localhost`, is this machine alone."""
    try:
        return ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"
