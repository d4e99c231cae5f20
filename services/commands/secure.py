"""`coldside secure`: accounts, certificates and access lists for a site, made from its plant file."""

import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from schemas.plant import Plant
from schemas.plant_file import PlantFileError, load
from services.commands.common import TROUBLE, USAGE, fail
from services.runtime.clock import SystemClock

if TYPE_CHECKING:
    from services.secure.vault import Vault

FOLDER = Path("secure")
NAMES = Annotated[list[str] | None, typer.Option(help="An account by name; may be given several times.")]


def secure(
    plant: Annotated[Path, typer.Option("--plant", envvar="COLDSIDE_PLANT", help="The plant file.")],
    folder: Annotated[
        Path, typer.Option("--folder", envvar="COLDSIDE_SECURE", help="Where the secrets are kept.")
    ] = FOLDER,
    host: Annotated[list[str] | None, typer.Option("--host", help="A name or address devices use.")] = None,
    rotate: NAMES = None,
    revoke: NAMES = None,
    readmit: NAMES = None,
    show: Annotated[str, typer.Option("--show", help="Print one account's password, and nothing else.")] = "",
) -> None:
    """Make a CA, certificates, an account for each service and device, and who may say and hear what.

    Run it again after a change of the plant file and every two months: what fits is kept.
    """
    from services.secure.authority import NoAuthority  # heavy, and only needed here
    from services.secure.making import NoSuchAccount, Smith, Wishes
    from services.secure.notes import notes
    from services.secure.rights import NotSeparable
    from services.secure.vault import Vault

    described = _load(plant)
    vault = Vault(folder)
    if show:
        _show(vault, show)
        return
    wishes = Wishes(
        hosts=tuple(host or ()),
        rotate=frozenset(rotate or ()),
        revoke=frozenset(revoke or ()),
        readmit=frozenset(readmit or ()),
    )
    try:
        outcome = Smith(vault, SystemClock().now(), secrets.token_bytes).make(described, wishes)
    except (NoSuchAccount, NotSeparable) as error:
        raise fail(str(error), USAGE) from error
    except (NoAuthority, ValueError, OSError) as error:
        raise fail(f"{folder}: {error}", TROUBLE) from error
    for note in notes(outcome, folder):
        typer.echo(f"{note}\n")


def _load(path: Path) -> Plant:
    try:
        return load(path)
    except PlantFileError as error:
        raise fail(str(error), USAGE) from error


def _show(vault: "Vault", name: str) -> None:
    password = vault.read(f"accounts/{name}/password") if "/" not in name else b""
    if not password:
        known = ", ".join(vault.folders("accounts")) or "none yet"
        raise fail(f"no account is called '{name}'; there are {known}", USAGE)
    typer.echo(password.decode())
