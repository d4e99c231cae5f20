"""The console's side of the bus: a host on a thread of its own, and what the event loop sees of it."""

import asyncio
import logging
import threading
from collections import deque
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from random import SystemRandom
from typing import Protocol

from schemas.base import ServiceName
from schemas.journal import Health, Wellness
from schemas.plant import Plant
from schemas.requests import Accepted, Refused, RequestBase
from services.console.core import ASKED, Console, Told
from services.console.live import Change, Live
from services.runtime.address import BrokerAddress
from services.runtime.bus import BrokerLink
from services.runtime.clock import Clock
from services.runtime.health import HealthBook, last_will
from services.runtime.host import Host, Options
from services.runtime.plant_watch import PlantWatch
from services.runtime.service import Incoming, Outgoing
from services.runtime.state import Saved, StateFile

_LOG = logging.getLogger("coldside")
ANSWER_WITHIN_S = 10.0
AGAIN_AFTER_S = 1.0
TURN_S = 0.05
"""The longest that a request waits in this process before it leaves."""


@dataclass(frozen=True, slots=True)
class NoAnswer:
    """Nobody answered; `reason` says in words who was asked or what is away. Whether it was done is not known."""

    reason: str


Answer = Accepted | Refused | NoAnswer
Listener = Callable[[Change], None]


class Bus(Protocol):
    """What pages and the REST interface see of the bus."""

    @property
    def connected(self) -> bool:
        """Whether the broker is there now."""
        ...

    @property
    def since(self) -> datetime | None:
        """When the broker was lost, or this began without one; None while it is there."""
        ...

    async def ask(self, request: RequestBase, wait_s: float = ANSWER_WITHIN_S) -> Answer:
        """Sends a request and waits for its answer."""
        ...

    def on_change(self, callback: Listener) -> Callable[[], None]:
        """Calls back on the event loop after every change of `Live`, plant and link; returns what ends that."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What the link stands on."""

    broker: BrokerAddress
    plant_path: Path
    state_folder: Path
    version: str
    clock: Clock
    missed: bool = True
    """Whether people are told when it dies; one that comes with its visitor is missed by nobody in between."""


class BrokerBus:
    """The real one. `start` on the event loop that will be told of changes; `stop` when it ends."""

    def __init__(self, live: Live, ground: Ground) -> None:
        self.since: datetime | None = ground.clock.now()
        self.live = live
        self._ground = ground
        self._connected = False
        self._told: deque[Told | bool] = deque()
        self._asked: deque[RequestBase] = deque()
        self._waiting: dict[str, asyncio.Future[Answer]] = {}
        self._listeners: list[Listener] = []
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="bus", daemon=True)

    @property
    def connected(self) -> bool:
        """Whether the broker is there now."""
        return self._connected

    def start(self) -> None:
        """From here on the loop that runs now is told."""
        self._loop = asyncio.get_running_loop()
        self._thread.start()

    async def stop(self) -> None:
        """Says goodbye to the broker."""
        self._stop.set()
        await asyncio.to_thread(self._thread.join)

    async def ask(self, request: RequestBase, wait_s: float = ANSWER_WITHIN_S) -> Answer:
        """Sends a request and waits for its answer; asking again with the same id joins the one under way."""
        if not self._connected:
            return NoAnswer("The broker is away, so nothing can be asked now; what you see is the last that was heard.")
        future = self._waiting.get(request.id)
        if future is None:
            future = self._waiting[request.id] = asyncio.get_running_loop().create_future()
            self._asked.append(request)
        try:
            return await asyncio.wait_for(asyncio.shield(future), wait_s)
        except TimeoutError:
            return NoAnswer(f"The {request.service} has not answered within {wait_s:g} s; look at its health.")
        finally:
            self._waiting.pop(request.id, None)

    def on_change(self, callback: Listener) -> Callable[[], None]:
        """Calls back on the event loop; what a callback raises is logged and disturbs nobody else."""
        self._listeners.append(callback)

        def remove() -> None:
            with suppress(ValueError):
                self._listeners.remove(callback)

        return remove

    def _run(self) -> None:
        """Until told to stop; a life that ends in an unforeseen way is logged, and another begun."""
        while not self._stop.is_set():
            try:
                self._live_on()
            except Exception:
                _LOG.exception("the link failed", extra={"service": "console"})
                self._tell(False)
                self._stop.wait(AGAIN_AFTER_S)

    def _live_on(self) -> None:
        host, link = self._host()
        host.begin()
        was_connected = False
        while not self._stop.is_set():
            host.turn(TURN_S)
            if link.connected != was_connected:
                was_connected = link.connected
                self._tell(was_connected)
        host.end()

    def _host(self) -> tuple[Host, BrokerLink]:
        ground, plant = self._ground, self.live.plant
        link = BrokerLink(
            ground.broker,
            f"coldside-{plant.site.name}-{ServiceName.CONSOLE}",
            SystemRandom(),
            will=lambda: _will(plant.site.name, ground),
        )
        book = HealthBook(ServiceName.CONSOLE, plant.site.name, ground.version, ground.clock.now())
        file = StateFile(ground.state_folder / f"{ServiceName.CONSOLE}.json", Saved)
        options = Options(poll=self._poll, watch=PlantWatch(ground.plant_path))
        return Host(Console(plant, self._tell), link, ground.clock, book, file, options), link

    def _poll(self, now: datetime) -> Iterable[Incoming]:
        while self._asked:
            yield Incoming(ASKED, self._asked.popleft())

    def _tell(self, told: Told | bool) -> None:
        """On the bus's thread: one call of the loop for all that has gathered."""
        self._told.append(told)
        if len(self._told) == 1 and self._loop is not None:
            with suppress(RuntimeError):  # the loop is closed: nobody is left to be told
                self._loop.call_soon_threadsafe(self._take_all)

    def _take_all(self) -> None:
        while self._told:
            try:
                change = self._take(self._told[0])
            except Exception:
                change = None
                _LOG.exception("what was heard could not be taken in", extra={"service": "console"})
            self._told.popleft()
            if change is not None:
                self._announce(change)

    def _take(self, told: Told | bool) -> Change | None:
        if isinstance(told, bool):
            return self._turn_link(told)
        if isinstance(told, Plant):
            return self.live.follow(told)
        if isinstance(told, str):
            return self.live.refuse_plant(told)
        if isinstance(told, Accepted | Refused):
            future = self._waiting.pop(told.id, None)
            if future is not None and not future.done():
                future.set_result(told)
            return None
        return self.live.take(told, self._ground.clock.now())

    def _turn_link(self, connected: bool) -> Change:
        self._connected = connected
        self.since = None if connected else self._ground.clock.now()
        return Change("link")

    def _announce(self, change: Change) -> None:
        for listener in list(self._listeners):
            try:
                listener(change)
            except Exception:
                _LOG.exception("a listener failed", extra={"service": "console", "facts": {"change": change}})


def _will(site: str, ground: Ground) -> Outgoing:
    will = last_will(ServiceName.CONSOLE, site, ground.clock.now())
    if ground.missed or not isinstance(will.body, Health):
        return will
    return Outgoing(will.topic, will.body.model_copy(update={"state": Wellness.STOPPING}), retain=True)
