"""What is now: everything live, as the services say it."""

from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field

from schemas.alarms import Alarm, Condition
from schemas.base import Name
from schemas.batches import BatchState
from schemas.control import ChamberStatus, Command, Setpoint
from schemas.deliveries import Deliveries
from schemas.journal import Health, JournalEntry
from schemas.telemetry import Reading, Report
from services.console.api.trouble import told
from services.console.live import JOURNAL_KEPT
from services.console.redacted import redacted
from services.console.sources import Unknown

if TYPE_CHECKING:
    from services.console.app import Desk


class SiteNow(BaseModel):
    """The site, and how what is shown of it came here."""

    site: str
    timezone: str
    chambers: list[str]
    broker_connected: bool
    broker_lost: datetime | None = Field(description="Since when the broker is away; null while it is there.")
    heard: datetime | None = Field(description="When anything was heard last.")
    plant_trouble: str = Field(description="Why the plant file as it is now is not followed; empty when it is.")
    version: str


class ChamberNow(BaseModel):
    """One chamber: the newest of everything."""

    chamber: str
    kind: str
    title: str
    readings: list[Reading]
    reports: list[Report]
    commands: list[Command]
    setpoint: Setpoint | None
    status: ChamberStatus | None
    batches: list[BatchState]
    alarms: list[Alarm]


def looking(desk: "Desk") -> APIRouter:
    """Reads that need nothing but the bus's mirror; on the event loop, where alone it may be touched."""
    router = APIRouter(tags=["now"], responses=told())
    live = desk.live

    @router.get("/site")
    async def site() -> SiteNow:
        """The site and its links."""
        return SiteNow(
            site=live.plant.site.name,
            timezone=live.plant.site.timezone,
            chambers=list(live.plant.chambers),
            broker_connected=desk.bus.connected,
            broker_lost=desk.bus.since,
            heard=live.taken_at,
            plant_trouble=live.plant_trouble,
            version=desk.settings.version,
        )

    @router.get("/chambers")
    async def chambers() -> list[ChamberNow]:
        """Every chamber of the plant file."""
        return [_chamber(desk, name) for name in live.plant.chambers]

    @router.get("/chambers/{chamber}", responses=told(404))
    async def chamber(chamber: str) -> ChamberNow:
        """One of them."""
        if chamber not in live.plant.chambers:
            raise Unknown(f"there is no chamber {chamber!r}; there are: {', '.join(live.plant.chambers)}")
        return _chamber(desk, chamber)

    @router.get("/plant")
    async def plant() -> dict[str, Any]:
        """The plant file as it is followed, with defaults, and without anybody's address."""
        return redacted(live.plant)

    _lists(router, desk)
    return router


def _lists(router: APIRouter, desk: "Desk") -> None:
    live = desk.live
    shelves: dict[str, tuple[Any, str]] = {
        "readings": (list[Reading], "The newest reading of every probe."),
        "reports": (list[Report], "What every output really does."),
        "commands": (list[Command], "What every output was asked last."),
        "setpoints": (list[Setpoint], "What is asked of every chamber, now and ahead."),
        "statuses": (list[ChamberStatus], "What every chamber is doing, and why."),
        "conditions": (list[Condition], "What services see; those that are no longer true, too."),
        "alarms": (list[Alarm], "Every alarm that has been raised, in whichever state."),
        "healths": (list[Health], "How every service is."),
        "deliveries": (list[Deliveries], "What became of the messages to people."),
    }
    for shelf, (model, says) in shelves.items():
        router.get(f"/{shelf}", response_model=model, description=says, name=shelf)(_lister(desk, shelf))

    @router.get("/batches")
    async def batches() -> list[BatchState]:
        """Every batch that the scheduler tells of; `/history/batches` has those of before."""
        return list(live.batches.values())

    @router.get("/batches/{batch}", responses=told(404))
    async def batch(batch: str) -> BatchState:
        """One of them."""
        if batch not in live.batches:
            raise Unknown(f"there is no batch {batch!r}; there are: {', '.join(live.batches) or 'none'}")
        return live.batches[batch]

    @router.get("/journal")
    async def journal(
        most: Annotated[int, Query(ge=1, le=JOURNAL_KEPT)] = 100, chamber: Name | None = None
    ) -> list[JournalEntry]:
        """What was decided since this console was started, newest first; `/history/annotations` has all."""
        entries = [one for one in reversed(live.journal) if chamber in (None, one.chamber)]
        return entries[:most]


def _lister(desk: "Desk", shelf: str) -> Any:
    async def listed() -> list[Any]:
        kept: dict[Any, Any] = getattr(desk.live, shelf)
        return [kept[key] for key in sorted(kept)]

    return listed


def _chamber(desk: "Desk", name: str) -> ChamberNow:
    live = desk.live
    chamber = live.plant.chambers[name]
    return ChamberNow(
        chamber=name,
        kind=chamber.kind,
        title=chamber.title,
        readings=[one for (where, _), one in live.readings.items() if where == name],
        reports=[one for (where, _), one in live.reports.items() if where == name],
        commands=[one for (where, _), one in live.commands.items() if where == name],
        setpoint=live.setpoints.get(name),
        status=live.statuses.get(name),
        batches=[one for one in live.batches.values() if one.chamber == name],
        alarms=[one for (where, _), one in live.alarms.items() if where == name],
    )
