"""A console before real cores in virtual time: what it asks, they answer; nothing is served on a port."""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
from argon2 import PasswordHasher

from schemas.contract import topic_for
from schemas.plant_file import load
from schemas.requests import Accepted, Refused, RequestBase
from services.commands.bundles import FilesToTake
from services.commands.children import Children, Library, RehearsalsByChild, ReportsByChild
from services.commands.console import MessageLinks
from services.commands.recorded import Recorded
from services.commands.running import barn_file
from services.console.accounts import Account, Accounts, Role
from services.console.app import Console, Desk, build
from services.console.link import Answer, NoAnswer
from services.console.live import Change, Live
from services.console.settings import Settings
from services.rehearsal.ensemble import on_stage
from services.rehearsal.stage import Stage
from services.runtime.clock import VirtualClock
from services.runtime.service import Outgoing

START = datetime(2026, 3, 2, 12, tzinfo=UTC)
PASSWORD = "a long enough password"
HOST = "127.0.0.1:8765"
CHEAP = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)


@dataclass
class StageBus:
    """The bus of a stage: what is said there is taken into `live` at once; answers come before `ask` returns."""

    stage: Stage
    live: Live
    connected: bool = True
    since: datetime | None = None
    asked: list[RequestBase] = field(default_factory=list)
    _answers: dict[str, Answer] = field(default_factory=dict)
    _listeners: list[Callable[[Change], None]] = field(default_factory=list)

    def __post_init__(self) -> None:
        for kept in self.stage.bus.retained.values():
            self.hear(Outgoing(kept.topic, kept.body), self.stage.now)
        self.stage.witnesses.append(self.hear)

    async def ask(self, request: RequestBase, wait_s: float = 10.0) -> Answer:
        """Through the cores."""
        if not self.connected:
            return NoAnswer("The broker is away.")
        self.asked.append(request)
        self.stage.ask(Outgoing(topic_for(self.live.plant.site.name, request), request))
        return self._answers.pop(request.id, NoAnswer(f"The {request.service} has not answered."))

    def on_change(self, callback: Callable[[Change], None]) -> Callable[[], None]:
        """Calls back after every change."""
        self._listeners.append(callback)
        return lambda: self._listeners.remove(callback)

    def hear(self, outgoing: Outgoing, now: datetime) -> None:
        """Whatever anybody says."""
        body = outgoing.body
        if isinstance(body, Accepted | Refused):
            self._answers[body.id] = body
        elif not isinstance(body, bytes) and (change := self.live.take(body, now)):
            for listener in self._listeners:
                listener(change)


@dataclass
class Bench:
    """One console; `call` asks it as a browser or a program would."""

    desk: Desk
    bus: StageBus
    clock: VirtualClock
    console: Console

    def call(
        self, method: str, path: str, *, place: str = "127.0.0.1", host: str = HOST, **more: Any
    ) -> httpx.Response:
        """One request from an address, to a host name."""

        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(self.console.app, client=(place, 40_000))
            async with httpx.AsyncClient(transport=transport, base_url=f"http://{host}") as client:
                return await client.request(method, path, **more)

        return asyncio.run(ask())

    def account(self, name: str = "ann", role: Role = Role.OPERATOR) -> Account:
        """An account with the password of these tests."""
        return self.desk.accounts.add(name, role, PASSWORD, self.clock.now())

    def signed_in(self, name: str = "ann") -> dict[str, str]:
        """The headers of somebody who has just signed in."""
        answer = self.call("POST", "/api/v1/session", json={"name": name, "password": PASSWORD})
        assert answer.status_code == 200, answer.text
        return {"Cookie": answer.headers["set-cookie"].partition(";")[0]}

    def live_on(self, lasting: timedelta) -> None:
        """Lets time pass for everybody."""
        self.bus.stage.run_until(self.bus.stage.now + lasting)
        self.clock.advance_to(self.bus.stage.now)


def bench_on(folder: Path) -> Bench:
    """The barn, a minute after noon, with a console whose state is in a folder."""
    plant = load(barn_file())
    stage, _ = on_stage(plant, START, seed=3)
    clock = VirtualClock(START)
    live = Live(plant)
    bus = StageBus(stage, live)
    desk = desk_for(live, bus, folder, clock)
    bench = Bench(desk, bus, clock, build(desk, with_pages=False))
    bench.live_on(timedelta(minutes=1))
    return bench


def desk_for(live: Live, bus: StageBus, folder: Path, clock: VirtualClock) -> Desk:
    """With everything that the console lends from other services as it ships."""
    recorded = Recorded(lambda: live.plant, folder, clock)
    children = Children()
    return Desk(
        live=live,
        bus=bus,
        history=recorded,
        reports=ReportsByChild(children, recorded, barn_file()),
        rehearsals=RehearsalsByChild(children, live, barn_file()),
        profiles=Library(),
        bundles=FilesToTake(live, folder, clock),
        links=MessageLinks(),
        accounts=Accounts(folder, CHEAP),
        settings=Settings(state_folder=folder, plant_path=barn_file()),
        clock=clock,
    )
