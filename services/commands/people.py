"""`coldside alarm work`, `test` and `deliveries`: what people do about the messages that reach them."""

from datetime import timedelta
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from schemas.deliveries import Deliveries
from schemas.requests import DeclareTask, EndTask, SendTestMessage
from schemas.topics import TopicKind, every
from services.commands.client import as_rows, this_moment
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
    visiting,
)

FOLDER = Path("state")


def work(
    chamber: Annotated[str, typer.Argument(help="The chamber's name.")],
    lasting: Annotated[str, typer.Option("--for", help="How long, such as '3 h'; '0 s' ends it.")],
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Say that somebody works at a chamber: its door is open on purpose until then."""
    seconds = quantity(lasting, "second")
    with asking(broker, state, site, who, why) as asker:
        if seconds > 0:
            asker.ask(DeclareTask, as_json, chamber=chamber, until=this_moment() + timedelta(seconds=seconds))
        else:
            asker.ask(EndTask, as_json, chamber=chamber)


def send_test(
    person: Annotated[str, typer.Argument(help="Somebody in the plant file's 'people'.")],
    way: Annotated[str, typer.Option("--way", help="One of their ways; without it, all.")] = "",
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    as_json: AS_JSON = False,
) -> None:
    """Send somebody a message that says only that messages arrive."""
    with asking(broker, state, site, who, "a test") as asker:
        asker.ask(SendTestMessage, as_json, person=person, way=way or None)


def deliveries(
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    as_json: AS_JSON = False,
) -> None:
    """Show what became of the messages to people, address by address."""
    with visiting(broker, state) as visit:
        name = visit.site(site)
        found = as_rows(visit.retained([every(name, TopicKind.DELIVERY)]), TopicKind.DELIVERY)
    reports = [one for one in found if isinstance(one, Deliveries)]
    if as_json:
        show_json([one.model_dump(mode="json") for one in reports])
    else:
        out.print(_messages(reports) if reports else "The plant file names nobody who is told.")


def _messages(reports: list[Deliveries]) -> Table:
    table = Table("to", "message", "state", "written", "attempts", "last trouble", box=None, header_style="dim")
    for report in reports:
        to = f"{report.person}.{report.way}"
        if not report.recent:
            table.add_row(to, "none yet", "", "", "", "")
        for one in report.recent:
            table.add_row(to, one.subject, one.state, local(one.written), str(one.attempts), one.error)
    return table
