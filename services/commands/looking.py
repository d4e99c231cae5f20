"""`coldside status`, `check` and `listen`: look, and change nothing."""

from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Group
from rich.live import Live
from rich.padding import Padding
from rich.table import Table

from schemas.alarms import Alarm, AlarmPhase
from schemas.base import Message
from schemas.batches import BatchPhase, BatchState
from schemas.control import ChamberStatus
from schemas.journal import Health, Wellness
from schemas.plant import Plant
from schemas.plant_file import PlantFileError, inspect
from schemas.telemetry import Quality, TemperatureReading
from schemas.topics import TopicKind, every
from services.bridge.listening import suggest
from services.bridge.protection import protections
from services.commands.client import this_moment
from services.commands.common import AS_JSON, BROKER, SITE, STATE, TROUBLE, USAGE, err, fail, out, show_json, visiting

FOLDER = Path("state")
_KINDS = (TopicKind.READING, TopicKind.STATUS, TopicKind.BATCH, TopicKind.ALARM, TopicKind.HEALTH)
_BEER_FIRST = ("beer", "bath", "air")


def status(
    watch: Annotated[bool, typer.Option("--watch", help="Keep looking until interrupted.")] = False,
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    as_json: AS_JSON = False,
) -> None:
    """Show every chamber, what it is doing and why, and how the services are."""
    with visiting(broker, state) as visit:
        name = visit.site(site)
        filters = [every(name, kind) for kind in _KINDS]
        seen = visit.retained(filters)
        if as_json:
            show_json({topic_name: message.model_dump(mode="json") for topic_name, message in sorted(seen.items())})
        elif watch:
            _watch(visit, filters, seen, name)
        else:
            out.print(_picture(seen, name))


def check(
    plant: Annotated[Path, typer.Argument(help="The plant file.")],
    as_json: AS_JSON = False,
) -> None:
    """Validate a plant file, and say for each output what still protects it when something dies."""
    try:
        sound, warnings = inspect(plant)
    except PlantFileError as error:
        if as_json:
            show_json({"valid": False, "problems": [str(one) for one in error.problems]})
            raise typer.Exit(USAGE) from error
        raise fail(str(error), USAGE) from error
    if as_json:
        show_json({"valid": True, "warnings": [str(one) for one in warnings], "protection": _protection_rows(sound)})
        return
    out.print(f"{plant.name}: {len(sound.chambers)} chambers on site '{sound.site.name}', in order.", markup=False)
    for warning in warnings:
        out.print(f"unwise: {warning}", style="yellow", markup=False)
    _show_protection(sound)


def listen(
    broker: BROKER = "",
    state: STATE = FOLDER,
    seconds: Annotated[float, typer.Option("--for", help="How many seconds.", min=0.5, max=3600)] = 15.0,
    topics: Annotated[str, typer.Option("--topics", help="An MQTT topic filter.")] = "#",
) -> None:
    """Watch what devices say on the broker, and print what could be a probe, ready for the plant file."""
    with visiting(broker, state) as visit:
        err.print(f"Listening to '{topics}' for {seconds:g} s ...", style="dim", markup=False)
        heard = visit.raw([topics], seconds)
    found = suggest(heard)
    if not found:
        raise fail("Nothing that could be a probe was heard. Is the device on this broker?", TROUBLE)
    typer.echo(found)


def health(
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    as_json: AS_JSON = False,
) -> None:
    """Exit 0 when every service runs and was heard of lately, 1 otherwise; for scripts and containers."""
    with visiting(broker, state) as visit:
        name = visit.site(site)
        seen = visit.retained([every(name, TopicKind.HEALTH)])
    services = [one for one in seen.values() if isinstance(one, Health)]
    ill = [one for one in services if not _well(one)]
    if as_json:
        show_json({one.service: {"well": _well(one), "state": one.state} for one in services})
    else:
        out.print(_services(seen))
    if ill or not services:
        raise typer.Exit(TROUBLE)


def _well(one: Health) -> bool:
    return one.state is Wellness.RUNNING and (this_moment() - one.at).total_seconds() < 45


def _watch(visit: Any, filters: list[str], seen: dict[str, Message], site: str) -> None:
    with Live(_picture(seen, site), console=out, auto_refresh=False) as live:

        def tell(name: str, message: Message) -> None:
            seen[name] = message
            live.update(_picture(seen, site), refresh=True)

        visit.follow(filters, tell)


def _picture(seen: dict[str, Message], site: str) -> Group:
    return Group(
        f"[bold]{site}[/bold]", "", _chambers(seen), "", Padding(_standing(seen), (0, 0, 1, 0)), _services(seen)
    )


def _chambers(seen: dict[str, Message]) -> Table:
    table = Table("chamber", "now", "wanted", "doing", "beer", "why", box=None, header_style="dim", pad_edge=False)
    for one in _of(seen, ChamberStatus):
        wanted = f"{one.setpoint_c:.1f}" if one.setpoint_c is not None else "-"
        table.add_row(one.chamber, _now(seen, one.chamber), wanted, one.doing, _beers(seen, one.chamber), one.why)
    return table


def _beers(seen: dict[str, Message], chamber: str) -> str:
    under_way = (BatchPhase.RUNNING, BatchPhase.HELD)
    return ", ".join(one.title for one in _of(seen, BatchState) if one.chamber == chamber and one.phase in under_way)


def _now(seen: dict[str, Message], chamber: str) -> str:
    readings = {one.probe: one for one in _of(seen, TemperatureReading) if one.chamber == chamber}
    shown = next((readings[probe] for probe in _BEER_FIRST if probe in readings), None)
    if shown is None or shown.temperature_c is None:
        return "no reading"
    if (this_moment() - shown.at).total_seconds() > 30:
        return f"[dim]{shown.temperature_c:.1f} °C (old)[/dim]"
    if shown.quality is not Quality.GOOD:
        return f"[dim]{shown.temperature_c:.1f} °C ({shown.quality})[/dim]"
    return f"{shown.temperature_c:.1f} °C"


def _standing(seen: dict[str, Message]) -> str:
    alarms = [one for one in _of(seen, Alarm) if one.phase is not AlarmPhase.NORMAL]
    if not alarms:
        return "No alarm stands."
    return "\n".join(
        f"[bold red]{one.priority}[/bold red] {one.chamber}: {one.detail} {one.response}" for one in alarms
    )


def _services(seen: dict[str, Message]) -> str:
    return "  ".join(_service(one) for one in _of(seen, Health))


def _service(one: Health) -> str:
    if _well(one):
        return f"{one.service} well"
    return f"{one.service} [bold red]{'silent' if one.state is Wellness.RUNNING else one.state}[/bold red]"


def _of(seen: dict[str, Message], kind: type[Any]) -> list[Any]:
    return [message for _, message in sorted(seen.items()) if isinstance(message, kind)]


def _show_protection(plant: Plant) -> None:
    table = Table("output", "service dies", "broker dies", "computer dies", box=None, header_style="dim")
    for row in protections(plant):
        table.add_row(f"{row.chamber}.{row.output}", row.service_dies, row.broker_dies, row.computer_dies)
    out.print(table)
    for row in protections(plant):
        if row.warning:
            out.print(row.warning, style="yellow", markup=False)
    out.print(
        "Whatever this says: an independent thermal cut-out on every heater and a CO2 alarm in the room are needed.",
        style="dim",
    )


def _protection_rows(plant: Plant) -> list[dict[str, str]]:
    return [
        {
            "output": f"{row.chamber}.{row.output}",
            "service_dies": row.service_dies,
            "broker_dies": row.broker_dies,
            "computer_dies": row.computer_dies,
            "warning": row.warning,
        }
        for row in protections(plant)
    ]
