"""What a person has to do after secrets were made: in words, naming files and never what is in them."""

from collections.abc import Iterator
from pathlib import Path

from services.secure.making import HOSTS, Outcome
from services.secure.mosquitto import DEVICE_PORT
from services.secure.rights import Account, Holder


def notes(outcome: Outcome, folder: Path) -> Iterator[str]:
    """What happened, then a block for each device, then how brokers and services take it up."""
    yield _summary(outcome, folder)
    yield from (_device(account, outcome, folder) for account in outcome.accounts if account.holder is Holder.DEVICE)
    if outcome.changed:
        yield (
            "A running broker takes this up with `docker-compose kill -s HUP broker`, the embedded one with a new\n"
            f"start of `coldside up --secure {folder}`; a service whose account was made now is to be started again."
        )
    yield f"{folder} opens every door: keep it out of version control and chats, and a copy of it off this machine."


def _summary(outcome: Outcome, folder: Path) -> str:
    parts = [f"{folder}: {len(outcome.accounts)} accounts"]
    parts.append(f"made now: {', '.join(outcome.made)}" if outcome.made else "none made now")
    if outcome.revoked:
        parts.append(f"let in no more: {', '.join(outcome.revoked)}")
    if outcome.gone:
        parts.append(f"deleted: {', '.join(outcome.gone)}")
    return "; ".join(parts)


def _device(account: Account, outcome: Outcome, folder: Path) -> str:
    place = folder / "accounts" / account.name
    hosts = [host for host in outcome.hosts if host not in HOSTS]
    host = " or ".join(hosts) or "HOST, once `coldside secure --host NAME` has put its name in the certificate"
    return "\n".join(
        (
            f"On {account.name}:",
            f"  broker     port {DEVICE_PORT}, TLS, at {host}",
            f"  user       {account.name}, which is its client id too",
            f"  password   in {place / 'password'}; `coldside secure --show {account.name}` prints it",
            f"  authority  {place / 'ca.pem'}",
            f"  may say    {', '.join(account.writes) or 'nothing'}",
            f"  may hear   {', '.join(account.reads) or 'nothing'}",
        )
    )
