"""`coldside accounts`: who may use the console. Passwords come from a prompt or standard input, never from the line."""

import getpass
import sys
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Annotated, TypeVar

import typer
from rich.table import Table

from services.commands.client import this_moment
from services.commands.common import AS_JSON, STATE, USAGE, fail, local, out, quantity, show_json
from services.console import tokens
from services.console.accounts import Account, AccountRefused, Accounts, Role

FOLDER = Path("state")
T = TypeVar("T")
NAME = Annotated[str, typer.Argument(help="Lower-case letters, digits and inner hyphens.")]

app = typer.Typer(
    help="Who may use the console. Nobody has an account until you add one; then everybody has to sign in.",
    no_args_is_help=True,
    add_completion=False,
)
token = typer.Typer(help="Tokens for programs, with the rights of their account.", no_args_is_help=True)
app.add_typer(token, name="token")


@app.command("add")
def add(
    name: NAME,
    role: Annotated[Role, typer.Option("--role", help="viewer looks, operator also acts.")] = Role.VIEWER,
    state: STATE = FOLDER,
) -> None:
    """Add an account; its password is asked for, or read from standard input."""
    _refusing(lambda: Accounts(state).add(name, role, _password(), this_moment()))
    out.print(f"{name} is a{'n' if role is Role.OPERATOR else ''} {role}.")


@app.command("list")
def show(state: STATE = FOLDER, as_json: AS_JSON = False) -> None:
    """Show all accounts and their tokens, without secrets."""
    accounts = _refusing(lambda: Accounts(state).book.accounts)
    if as_json:
        show_json([_plain(one) for one in accounts])
    elif not accounts:
        out.print("Nobody has an account: the console serves this machine only, and whoever sits at it may act.")
    else:
        out.print(_table(accounts))


@app.command("remove")
def remove(name: NAME, state: STATE = FOLDER) -> None:
    """Take an account away, with its sessions and tokens."""
    _refusing(lambda: Accounts(state).remove(name))
    out.print(f"{name} is gone.")


@app.command("password")
def password(name: NAME, state: STATE = FOLDER) -> None:
    """Set another password; whoever is signed in with the old one has to sign in again."""
    _refusing(lambda: Accounts(state).set_password(name, _password(), this_moment()))
    out.print(f"{name} has a new password.")


@token.command("add")
def add_token(
    name: NAME,
    label: Annotated[str, typer.Option("--label", help="What it is for.")],
    lasting: Annotated[str, typer.Option("--for", help="How long it is good, such as '90 d'; always else.")] = "",
    state: STATE = FOLDER,
) -> None:
    """Make a token and show it, this one time."""
    now = this_moment()
    expires = now + timedelta(seconds=quantity(lasting, "second")) if lasting else None
    shown = _refusing(lambda: tokens.make(Accounts(state), name, label, now, expires))
    out.print(shown.secret, soft_wrap=True, markup=False)


@token.command("remove")
def remove_token(
    name: NAME, id_: Annotated[str, typer.Argument(metavar="ID", help="As `list` shows it.")], state: STATE = FOLDER
) -> None:
    """Take a token back: it opens nothing any more."""
    _refusing(lambda: tokens.take_back(Accounts(state), name, id_))
    out.print(f"Token {id_} is gone.")


def _refusing(act: Callable[[], T]) -> T:
    try:
        return act()
    except AccountRefused as error:
        raise fail(str(error), USAGE) from error


def _password() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass("Password: ")
    if getpass.getpass("Once more: ") != first:
        raise AccountRefused("the two were not the same")
    return first


def _plain(account: Account) -> dict[str, object]:
    kept = [one.model_dump(mode="json", exclude={"digest"}) for one in account.tokens]
    return {"name": account.name, "role": account.role.value, "tokens": kept}


def _table(accounts: tuple[Account, ...]) -> Table:
    table = Table("account", "role", "token", "for", "good until", box=None, header_style="dim")
    for account in accounts:
        table.add_row(account.name, account.role, "", "", "")
        for one in account.tokens:
            table.add_row("", "", one.id, one.label, local(one.expires) if one.expires else "taken back")
    return table
