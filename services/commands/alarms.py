"""`coldside alarm ...`: see alarms, acknowledge, shelve."""

from datetime import timedelta
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from schemas.alarms import Alarm, AlarmPhase
from schemas.quantities import QuantityError, magnitude
from schemas.requests import AcknowledgeAlarm, RequestBase, ShelveAlarm, UnshelveAlarm
from schemas.topics import TopicKind, every
from services.commands.client import as_rows, this_moment
from services.commands.common import (
    AS_JSON,
    BROKER,
    SITE,
    STATE,
    USAGE,
    WHO,
    WHY,
    asking,
    fail,
    local,
    out,
    show_json,
    visiting,
)

app = typer.Typer(no_args_is_help=True, help="See alarms, acknowledge them, shelve them for a while.")

CHAMBER = Annotated[str, typer.Argument(help="The chamber's name, or 'site'.")]
NAME = Annotated[str, typer.Argument(help="The alarm's name, such as door-open.")]
FOLDER = Path("state")


@app.command("list")
def list_(
    everything: Annotated[bool, typer.Option("--all", help="Also those that are back to normal.")] = False,
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    as_json: AS_JSON = False,
) -> None:
    """Show the alarms that stand."""
    with visiting(broker, state) as visit:
        name = visit.site(site)
        found = as_rows(visit.retained([every(name, TopicKind.ALARM)]), TopicKind.ALARM)
    alarms = [one for one in found if isinstance(one, Alarm) and (everything or one.phase is not AlarmPhase.NORMAL)]
    if as_json:
        show_json([one.model_dump(mode="json") for one in alarms])
    else:
        out.print(_table(alarms) if alarms else "No alarm stands.")


@app.command()
def shelve(
    chamber: CHAMBER,
    name: NAME,
    lasting: Annotated[str, typer.Option("--for", help="How long, such as '2 h'.")],
    why: Annotated[str, typer.Option("--why", help="Kept in the journal.")],
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    as_json: AS_JSON = False,
) -> None:
    """Silence an alarm for a while, for a reason."""
    try:
        until = this_moment() + timedelta(seconds=magnitude(lasting, "second"))
    except QuantityError as error:
        raise fail(str(error), USAGE) from error
    with asking(broker, state, site, who, why) as asker:
        asker.ask(ShelveAlarm, as_json, chamber=chamber, name=name, until=until)


def _add_verb(command: str, kind: type[RequestBase], says: str) -> None:
    @app.command(command, help=says)
    def act(
        chamber: CHAMBER,
        name: NAME,
        broker: BROKER = "",
        state: STATE = FOLDER,
        site: SITE = "",
        who: WHO = "",
        why: WHY = "",
        as_json: AS_JSON = False,
    ) -> None:
        with asking(broker, state, site, who, why) as asker:
            asker.ask(kind, as_json, chamber=chamber, name=name)


_add_verb("acknowledge", AcknowledgeAlarm, "Say that you have seen it and see to it.")
_add_verb("unshelve", UnshelveAlarm, "Bring a shelved alarm back at once.")


def _table(alarms: list[Alarm]) -> Table:
    table = Table("where", "alarm", "priority", "state", "since", "what to do", box=None, header_style="dim")
    for one in alarms:
        table.add_row(one.chamber, one.name, one.priority, one.phase, local(one.since), one.response)
    return table
