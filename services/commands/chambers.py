"""Commands for one chamber: a person's own setpoint, a lock-out, an interlock's reset."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Annotated

import typer

from schemas.requests import ClearLockOut, ClearTemperature, LockOut, RequestBase, ResetInterlock, SetTemperature
from services.commands.client import this_moment
from services.commands.common import AS_JSON, BROKER, SITE, STATE, WHO, WHY, asking, quantity

app = typer.Typer(no_args_is_help=True, help="A chamber's own setpoint, lock-out and interlocks.")

CHAMBER = Annotated[str, typer.Argument(help="The chamber's name in the plant file.")]
FOR = Annotated[str, typer.Option("--for", help="How long, such as '8 h'; without it, until taken back.")]
FOLDER = Path("state")


@app.command("set")
def set_(
    chamber: CHAMBER,
    temperature: Annotated[str, typer.Argument(help="Such as '18 degC' or '64 degF'.")],
    lasting: FOR = "",
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Hold a temperature of your own, over whatever is programmed."""
    celsius, until = quantity(temperature, "degC"), _until(lasting)
    with asking(broker, state, site, who, why) as asker:
        asker.ask(SetTemperature, as_json, chamber=chamber, temperature_c=celsius, until=until)


@app.command()
def lock(
    chamber: CHAMBER,
    lasting: FOR = "",
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Keep every output of a chamber off while you work on it. Unplug it all the same."""
    until = _until(lasting)
    with asking(broker, state, site, who, why) as asker:
        asker.ask(LockOut, as_json, chamber=chamber, until=until)


@app.command()
def reset(
    chamber: CHAMBER,
    interlock: Annotated[str, typer.Argument(help="The interlock's id, as `coldside status` shows it.")],
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Reset an interlock that tripped and latched, after looking at the cause."""
    with asking(broker, state, site, who, why) as asker:
        asker.ask(ResetInterlock, as_json, chamber=chamber, interlock=interlock)


def _add_verb(command: str, kind: type[RequestBase], says: str) -> None:
    @app.command(command, help=says)
    def act(
        chamber: CHAMBER,
        broker: BROKER = "",
        state: STATE = FOLDER,
        site: SITE = "",
        who: WHO = "",
        why: WHY = "",
        as_json: AS_JSON = False,
    ) -> None:
        with asking(broker, state, site, who, why) as asker:
            asker.ask(kind, as_json, chamber=chamber)


_add_verb("unset", ClearTemperature, "Take your own temperature back.")
_add_verb("unlock", ClearLockOut, "End a lock-out.")


def _until(lasting: str) -> datetime | None:
    return this_moment() + timedelta(seconds=quantity(lasting, "second")) if lasting else None
