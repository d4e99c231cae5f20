"""`coldside ready`: whether a deployment may start at all. Nothing that could heat starts before this has said yes."""

import os
import sqlite3
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from schemas.plant import Plant
from schemas.plant_file import PlantFileError, load
from services.commands.common import TROUBLE, USAGE, fail, out
from services.console.accounts import AccountRefused, Accounts
from services.recorder.__main__ import HISTORY
from services.recorder.elsewhere import server
from services.recorder.sqlite_schema import MIGRATIONS, stored_version
from services.recorder.store import NewerStore, StoreDamaged, StoreError
from services.runtime.address import BrokerAddress
from services.runtime.clock import SystemClock
from services.runtime.credentials import FOLDER as CREDENTIALS
from services.runtime.credentials import SecretUnusable, admitted

FOLDER = Path("state")
BROKER = BrokerAddress("broker", 8884, tls=True)
MARK = ".coldside"
"""Left in a volume to show that it could be written to."""


def ready(
    plant: Annotated[Path, typer.Option("--plant", envvar="COLDSIDE_PLANT", help="The plant file.")],
    secure: Annotated[
        Path, typer.Option("--secure", envvar="COLDSIDE_SECURE", help="What `coldside secure` made.")
    ] = Path("secure"),
    state: Annotated[Path, typer.Option("--state", envvar="COLDSIDE_STATE", readable=False)] = FOLDER,
    volume: Annotated[
        list[Path] | None, typer.Option("--volume", readable=False, help="A folder others write to.")
    ] = None,
) -> None:
    """Check the plant file, secrets, state and volumes before anything starts; exit 0 when all are in order."""
    try:
        described = load(plant)
    except PlantFileError as error:
        raise fail(str(error), USAGE) from error
    wrong = [*_volumes([state, *(volume or ())]), *_secrets(described, secure), *_state(described, state)]
    if wrong:
        raise fail("Nothing was started:\n" + "\n".join(f"- {one}" for one in wrong), TROUBLE)
    out.print(f"{plant}: site '{described.site.name}' may start", markup=False)


def _volumes(folders: list[Path]) -> Iterator[str]:
    for folder in folders:
        try:
            (folder / MARK).write_text("")
        except OSError as error:
            yield (
                f"{folder} cannot be written by user {os.geteuid()} ({error.strerror}); it was made for another user: "
                "start as that one (COLDSIDE_UID), or give the volume to this one"
            )


def _secrets(plant: Plant, secure: Path) -> Iterator[str]:
    from services.secure.authority import Authority, NoAuthority, Pair  # heavy, and only needed here
    from services.secure.rights import Holder, NotSeparable, accounts
    from services.secure.vault import Vault

    vault = Vault(secure)
    try:
        if not vault.read("ca.pem"):
            yield f"{secure} holds no secrets yet; `coldside secure` makes them"
            return
        admitted_now = vault.read("broker/access").decode()
        revoked = vault.read("revoked.json").decode()
        wanted = [one for one in accounts(plant) if f'"{one.name}"' not in revoked]
        authority = Authority(Pair(vault.read("ca.pem"), vault.read("authority/key.pem")))
        if not authority.vouches_for(vault.read("broker/certificate.pem"), SystemClock().now()):
            yield f"{secure}/broker/certificate.pem ends soon or is of another authority; run `coldside secure` again"
    except (OSError, NoAuthority, NotSeparable) as error:
        yield f"{secure}: {error}"
        return
    unknown = [one.name for one in wanted if f"user {one.name}\n" not in admitted_now]
    if unknown:
        yield f"{secure} has no account for {', '.join(unknown)}; run `coldside secure` again"
    environment = {CREDENTIALS: str(secure / "accounts")}
    for one in wanted:
        if one.holder is Holder.SERVICE and one.name not in unknown:
            yield from _trouble_of(partial(admitted, BROKER, one.name, environment))


def _state(plant: Plant, state: Path) -> Iterator[str]:
    if os.access(state, os.X_OK) and (state / HISTORY).exists():
        yield from _trouble_of(partial(_look_at_layout, state / HISTORY))
    if plant.history.influx is not None:
        yield from _trouble_of(partial(server, plant.history.influx))
    if not _has_operator(state):
        yield (
            "nobody may use the console yet, and it does not open to a network without an account; add one with\n"
            "  docker-compose run --rm ready accounts add NAME --role operator"
        )


def _look_at_layout(path: Path) -> None:
    """An older one is brought up to date by the recorder; a later one, after going back a version, is not touched."""
    connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    try:
        if stored_version(connection) > len(MIGRATIONS):
            raise NewerStore(
                f"{path} was written by a later version of coldside; start that one, or move the file away"
            )
    except sqlite3.Error as error:
        raise StoreDamaged(f"{path} is no store: {error}; move it away, or bring a backup back") from error
    finally:
        connection.close()


def _has_operator(state: Path) -> bool:
    try:
        return Accounts(state).book.has_operator
    except (AccountRefused, OSError):
        return False


def _trouble_of(attempt: Callable[[], object]) -> Iterator[str]:
    try:
        attempt()
    except (SecretUnusable, StoreError, OSError) as error:
        yield str(error)
