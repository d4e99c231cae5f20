"""The `coldside` command: the one place, with the rehearsal, that knows all services."""

import importlib.metadata
from typing import Annotated

import typer

from services.calc import app as calc
from services.commands import (
    accounts,
    alarms,
    batches,
    chambers,
    chores,
    commissioning,
    looking,
    people,
    planning,
    ready,
    rehearsing,
    running,
    secure,
)
from services.recorder.app import app as history

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode="rich",
    add_completion=False,
    help="Runs the cold side of a home or club brewery. It is no safety device: every heater needs an independent "
    "thermal cut-out, and the room a CO2 alarm.",
)
app.command("up")(running.up)
app.command("run")(running.run)
app.command("status")(looking.status)
app.command("health")(looking.health)
app.command("check")(looking.check)
app.command("listen")(looking.listen)
app.command("secure")(secure.secure)
app.command("ready")(ready.ready)
app.command("rehearse")(rehearsing.rehearse)
app.command("plan")(planning.plan)
app.command("commission")(commissioning.commission)
app.add_typer(batches.app, name="batch")
app.add_typer(chambers.app, name="chamber")
app.add_typer(chores.app, name="chore")
app.add_typer(alarms.app, name="alarm")
app.add_typer(history, name="history")
app.add_typer(accounts.app, name="accounts")
alarms.app.command("work")(people.work)
alarms.app.command("test")(people.send_test)
alarms.app.command("deliveries")(people.deliveries)
app.add_typer(calc.app, name="calc")


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(importlib.metadata.version("coldside"))
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show and leave.")
    ] = False,
) -> None:
    """Every command says with --help what it does."""


def main() -> None:
    """Entry point."""
    app()


if __name__ == "__main__":
    main()
