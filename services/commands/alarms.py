"""`coldside alarm ...`: see alarms, acknowledge, shelve."""

from datetime import timedelta
from pathlib import Path
from typing import Annotated

import typer

from schemas.alarms import Alarm, AlarmPhase
from schemas.requests import (
    AcknowledgeAlarm,
    RequestBase,
    ResetAlarm,
    ReturnAlarmToService,
    ShelveAlarm,
    TakeAlarmOutOfService,
    UnshelveAlarm,
)
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
        out.print("\n".join(_told(one) for one in alarms) or "No alarm stands.")


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
    until = this_moment() + timedelta(seconds=quantity(lasting, "second"))
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
_add_verb("reset", ResetAlarm, "Close a latched alarm, once you have looked at what it was about.")
_add_verb("out-of-service", TakeAlarmOutOfService, "Keep an alarm silent, as while a device is being replaced.")
_add_verb("in-service", ReturnAlarmToService, "End that.")


def _told(one: Alarm) -> str:
    """Where, what, since when, what to do: one block a person can read on a narrow screen."""
    first = f"[bold]{one.priority}[/bold]  {one.chamber}/{one.name}  {one.phase} since {local(one.since)}"
    return f"{first}\n  {one.detail} {one.response}"
