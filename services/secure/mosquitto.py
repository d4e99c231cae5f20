"""What mosquitto reads: its password file, access list and configuration. Lines follow mosquitto.conf(5), version 2."""

import base64
import hashlib
import hmac
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from services.secure.rights import CHECK, Account

ROUNDS = 101
"""As mosquitto_passwd does it; the passwords are random and long, so a slower hash would protect nothing more."""
SALT_BYTES = 12
MOST_QUEUED = 100_000
"""For a client that is away or slow: more than all that is retained. Without a limit, 2.0.11 ends every connection on
which something is refused."""
DEVICE_PORT = 8883
SERVICE_PORT = 8884


@dataclass(frozen=True, slots=True)
class Places:
    """Where the broker finds its files and listens; `bind` is the address of both listeners, empty for all."""

    secrets: str = "/run/coldside"
    data: str = "/broker"
    bind: str = ""
    device_port: int = DEVICE_PORT
    service_port: int = SERVICE_PORT


def access_list(accounts: Iterable[Account]) -> str:
    """What is not named here is refused."""
    lines = ["# Written by `coldside secure`; what is not named is refused."]
    for account in accounts:
        lines += ["", f"user {account.name}"]
        lines += [f"topic write {one}" for one in account.writes]
        lines += [f"topic read {one}" for one in account.reads]
    return "\n".join(lines) + "\n"


def password_file(passwords: Mapping[str, str], before: str, salt: bytes) -> str:
    """One line an account; a line of `before` that still fits is kept, so that nothing changes without need."""
    old = dict(line.split(":", 1) for line in before.splitlines() if ":" in line)
    lines = []
    for place, (name, password) in enumerate(passwords.items()):
        kept = old.get(name, "")
        fresh = hashlib.sha256(salt + place.to_bytes(4, "big")).digest()[:SALT_BYTES]
        lines.append(f"{name}:{kept if fits(password, kept) else hashed(password, fresh)}")
    return "\n".join(lines) + "\n"


def hashed(password: str, salt: bytes, rounds: int = ROUNDS) -> str:
    """PBKDF2 with SHA-512 (RFC 8018), in the form of mosquitto's type 7."""
    key = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, rounds)
    return f"$7${rounds}${base64.b64encode(salt).decode()}${base64.b64encode(key).decode()}"


def fits(password: str, kept: str) -> bool:
    """Whether a line's hash is of this password."""
    parts = kept.split("$")
    if len(parts) != 5 or parts[1] != "7" or not parts[2].isdigit():
        return False
    return hmac.compare_digest(hashed(password, base64.b64decode(parts[3]), int(parts[2])), kept)


def configuration(places: Places) -> str:
    """Two doors, both with TLS and passwords: one for devices and people, one for services, who show a certificate.

    At the first a client's id is its account's name, so that nobody can take another's session. Everything is on disk
    within a second.
    """
    host = f" {places.bind}" if places.bind else ""
    tls = "\n".join(
        f"{option} {places.secrets}/{name}"
        for option, name in (("cafile", "ca.pem"), ("certfile", "certificate.pem"), ("keyfile", "key.pem"))
    )
    return f"""# Written by `coldside secure`.
per_listener_settings false
allow_anonymous false
password_file {places.secrets}/passwords
acl_file {places.secrets}/access
persistence true
persistence_location {places.data}/
autosave_on_changes true
autosave_interval 1
max_queued_messages {MOST_QUEUED}
max_packet_size 65536
log_dest stderr
log_type error
log_type warning
log_type notice
connection_messages false

listener {places.device_port}{host}
{tls}
tls_version tlsv1.2
use_username_as_clientid true

listener {places.service_port}{host}
{tls}
tls_version tlsv1.2
require_certificate true
"""


def check_options(password: str, port: int = DEVICE_PORT, ca_file: str = "/run/coldside/ca.pem") -> str:
    """Options for mosquitto_sub, in a file so that no password stands on a command line."""
    return f"-h localhost\n-p {port}\n--cafile {ca_file}\n-u {CHECK}\n-P {password}\n"
