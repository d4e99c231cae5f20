"""Where the broker is and how to be let in."""

from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import unquote, urlsplit

_DEFAULT_PORTS = {"mqtt": 1883, "mqtts": 8883}


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """An MQTT 3.1.1 broker; certificate files are PEM, and the system's authorities count when `ca_file` is None."""

    host: str = "127.0.0.1"
    port: int = 1883
    username: str = ""
    password: str = field(default="", repr=False)
    tls: bool = False
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None

    @classmethod
    def from_url(cls, url: str, password: str = "") -> "BrokerAddress":
        """Reads `mqtt://name@host:1883` or `mqtts://...`; a password in it wins over the one given.

        Raises ValueError saying what is wrong, never repeating the password.
        """
        parts = urlsplit(url if "://" in url else f"mqtt://{url}")
        if parts.scheme not in _DEFAULT_PORTS:
            raise ValueError(f"a broker's address begins with mqtt:// or mqtts://, not {parts.scheme}://")
        if not parts.hostname:
            raise ValueError("a broker's address names a host, as in mqtt://127.0.0.1:1883")
        try:
            port = parts.port or _DEFAULT_PORTS[parts.scheme]
        except ValueError:
            raise ValueError("a broker's port is a number from 1 to 65535, as in mqtt://127.0.0.1:1883") from None
        return cls(
            host=parts.hostname,
            port=port,
            username=unquote(parts.username or ""),
            password=unquote(parts.password or "") or password,
            tls=parts.scheme == "mqtts",
        )

    def __str__(self) -> str:
        return f"{'mqtts' if self.tls else 'mqtt'}://{self.host}:{self.port}"
