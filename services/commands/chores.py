"""`coldside chore ...`: what has to be done again and again, and the hours in which nobody is told of it."""

import json
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from schemas.requests import ClearChore, DoChore, SetChore, SetQuietHours, TellChores
from services.commands.common import (
    AS_JSON,
    BROKER,
    SITE,
    STATE,
    WHO,
    WHY,
    asking,
    local,
    out,
    quantity,
    show_json,
)

app = typer.Typer(no_args_is_help=True, help="Chores: what has to be done again and again, and quiet hours.")

CHORE = Annotated[str, typer.Argument(help="The chore's name, such as line-cleaning.")]
FOLDER = Path("state")


@app.command("list")
def list_(
    broker: BROKER = "", state: STATE = FOLDER, site: SITE = "", who: WHO = "", why: WHY = "", as_json: AS_JSON = False
) -> None:
    """Show all chores, when each is due, and the quiet hours."""
    with asking(broker, state, site, who, why) as asker:
        facts = asker.facts(TellChores)
    chores, quiet = json.loads(str(facts["chores"])), str(facts["quiet"])
    if as_json:
        show_json({"chores": chores, "quiet": quiet or None})
        return
    out.print(_table(chores) if chores else f"No chore is set; these are known by name: {facts['known']}.")
    out.print(f"Quiet hours: {quiet or 'none'}.")


@app.command()
def done(
    chore: CHORE,
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Say that a chore has been done."""
    with asking(broker, state, site, who, why) as asker:
        asker.ask(DoChore, as_json, chore=chore)


@app.command("set")
def set_(
    chore: CHORE,
    title: Annotated[str, typer.Option("--title", help="What people call it.")] = "",
    when: Annotated[str, typer.Option("--when", help="Such as 'Sat 10:00', on the site's clocks.")] = "",
    every: Annotated[str, typer.Option("--every", help="Such as '14 d'; without it, each such time.")] = "",
    instruction: Annotated[str, typer.Option("--instruction", help="What is to be done.")] = "",
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Set a chore; for one that is known by name, its name is enough."""
    every_s = quantity(every, "second") if every else None
    fields = {"chore": chore, "title": title, "when": when or None, "every_s": every_s, "instruction": instruction}
    with asking(broker, state, site, who, why) as asker:
        asker.ask(SetChore, as_json, **fields)


@app.command()
def clear(
    chore: CHORE,
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Forget a chore: it is to be done no more."""
    with asking(broker, state, site, who, why) as asker:
        asker.ask(ClearChore, as_json, chore=chore)


@app.command()
def quiet(
    span: Annotated[str, typer.Argument(help="Such as 22:30-07:00, on the site's clocks, or none.")],
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Set the hours in which nobody is told of a chore; one that comes due in them is told when they end."""
    with asking(broker, state, site, who, why) as asker:
        asker.ask(SetQuietHours, as_json, span=None if span == "none" else span)


def _table(chores: list[dict[str, Any]]) -> Table:
    table = Table("chore", "what", "due", "comes", "done last", box=None, header_style="dim")
    for one in chores:
        due = "now" if one["open_since"] else local(datetime.fromisoformat(one["due"]))
        done_last = f"{local(datetime.fromisoformat(one['done']))} by {one['done_by']}" if one["done"] else ""
        table.add_row(one["chore"], one["title"], due, one["when"], done_last)
    return table
