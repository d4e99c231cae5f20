"""The account with which a process enters the broker: a folder that `coldside secure` made, or the environment."""

import os
import socket
import ssl
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from services.runtime.address import BrokerAddress

FOLDER = "COLDSIDE_CREDENTIALS"
"""Names a folder with one for each account: `password`, `ca.pem`, and for services `certificate.pem` and `key.pem`."""
USER = "COLDSIDE_BROKER_USER"
PASSWORD = "COLDSIDE_BROKER_PASSWORD"
CA_FILE = "COLDSIDE_BROKER_CA_FILE"


class SecretUnusable(ValueError):
    """A secret is missing, unreadable or none; the text names the file and the remedy, never the secret."""


def admitted(address: BrokerAddress, account: str, environment: Mapping[str, str] = os.environ) -> BrokerAddress:
    """The same broker, entered by an account; unchanged when neither folder nor environment says anything.

    What the address itself brings along wins over the environment. Raises SecretUnusable.
    """
    if address.password:
        return address
    if environment.get(FOLDER):
        return _from_folder(address, Path(environment[FOLDER]) / account)
    if environment.get(PASSWORD):
        ca_file = Path(environment[CA_FILE]) if environment.get(CA_FILE) else address.ca_file
        user = environment.get(USER) or address.username or account
        return _sound(replace(address, username=user, password=environment[PASSWORD], ca_file=ca_file))
    return _sound(address)


def secret_in(path: Path) -> str:
    """The text of a secret's file without the space around it. Raises SecretUnusable."""
    try:
        found = path.read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        raise SecretUnusable(f"{path} is missing; `coldside secure` makes it") from None
    except (OSError, UnicodeDecodeError) as error:
        raise SecretUnusable(f"{path} cannot be read: {_why(path, error)}") from error
    if not found:
        raise SecretUnusable(f"{path} is empty; delete it, and `coldside secure` makes it anew")
    return found


def knock(address: BrokerAddress, patience_s: float = 3.0) -> None:
    """Looks at the certificate that a broker shows, if it is there. Raises SecretUnusable: waiting would not help."""
    if not address.tls:
        return
    context = ssl.create_default_context(cafile=None if address.ca_file is None else str(address.ca_file))
    if address.certificate_file and address.key_file:
        context.load_cert_chain(address.certificate_file, address.key_file)
    try:
        with socket.create_connection((address.host, address.port), patience_s) as plain:
            context.wrap_socket(plain, server_hostname=address.host).close()
    except ssl.SSLCertVerificationError as error:
        raise SecretUnusable(
            f"the broker at {address} is vouched for by another authority than {address.ca_file}, or under another "
            f"name, or not at this time ({error.verify_message}); `coldside secure` makes what both need"
        ) from error
    except OSError:
        return


def _from_folder(address: BrokerAddress, folder: Path) -> BrokerAddress:
    password = secret_in(folder / "password")
    entered = replace(address, username=folder.name, password=password)
    if not address.tls:
        return entered
    secret_in(folder / "ca.pem")
    entered = replace(entered, ca_file=folder / "ca.pem")
    if (folder / "certificate.pem").exists():
        secret_in(folder / "key.pem")
        entered = replace(entered, certificate_file=folder / "certificate.pem", key_file=folder / "key.pem")
    return _sound(entered)


def _sound(address: BrokerAddress) -> BrokerAddress:
    """Whether the files are certificates and belong together is seen here, not at the hundredth attempt to connect."""
    if not address.tls or address.ca_file is None:
        return address
    secret_in(address.ca_file)
    try:
        context = ssl.create_default_context(cafile=str(address.ca_file))
        if address.certificate_file and address.key_file:
            context.load_cert_chain(address.certificate_file, address.key_file)
    except (ssl.SSLError, OSError) as error:
        raise SecretUnusable(
            f"the certificates in {address.ca_file.parent} cannot be used: {error}; `coldside secure` makes them anew"
        ) from error
    return address


def _why(path: Path, error: Exception) -> str:
    if not isinstance(error, PermissionError):
        return str(error)
    return f"this runs as user {os.geteuid()}, and that user may not; give {path} to it, or run as who made it"
