"""A site of these tests' own: the demonstration plant, with somebody who is told of alarms by a webhook."""

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import count
from pathlib import Path
from random import Random
from typing import Any, TypeVar

from schemas.alarms import Alarm
from schemas.base import Message
from schemas.batches import BatchPhase, BatchState
from schemas.requests import Accepted, RequestBase, StartBatch, StopBatch
from schemas.telemetry import ReadingBase
from schemas.topics import TopicKind, every
from services.commands.client import Unreachable, Visit, new_request_id, this_moment, where
from services.commands.running import barn_file
from services.notifier.links import Claim, sign
from services.notifier.shell import KEY_FILE, link_key
from services.scheduler.profile_file import loads
from tests.console.site import Site, open_site
from tests.waiting import wait_until

TOLD = """
people:
  ann: {{title: Ann, ways: {{hook: {{webhook: "http://127.0.0.1:{port}/told"}}}}}}
notifier:
  routes: [{{to: [ann.hook]}}]
  link: {{base: "http://console.invalid"}}
  flood_at: 100
  alarms: {{hand-needed: {{priority: high}}}}
"""
"""A step that asks for a hand raises an alarm at once; a high one is told at once."""


T = TypeVar("T")
TRIES = 10
FOLLOWED = (TopicKind.BATCH, TopicKind.ALARM, TopicKind.READING)
ACTIVE = (BatchPhase.RUNNING, BatchPhase.HELD, BatchPhase.IDLE)


@dataclass(frozen=True, slots=True)
class Garage:
    """The site, its plant file, the messages that were sent to Ann, and what the services said last, by topic."""

    site: Site
    plant: Path
    messages: list[dict[str, Any]] = field(default_factory=list)
    said: dict[str, Message] = field(default_factory=dict)
    numbers: Iterator[int] = field(default_factory=lambda: count(1))

    def begin(self, batch: str, chamber: str, *steps: str) -> None:
        """Starts a batch with steps in YAML's flow style, whatever was in the chamber before."""
        self.empty(chamber)
        profile = loads("\n".join(["profile: trial", "steps:", *(f"  - {{{step}}}" for step in steps)]))
        self.ask(StartBatch, batch=batch, chamber=chamber, profile=profile, title=f"Beer {batch}")
        wait_until(
            lambda: any(one.batch == batch and one.phase == "running" for one in self.batches()), f"{batch} runs"
        )

    def empty(self, chamber: str) -> None:
        """Stops whatever is under way in a chamber."""
        for one in self._active_in(chamber):
            self.ask(StopBatch, batch=one.batch)
        wait_until(lambda: not self._active_in(chamber), f"{chamber} is empty")

    def ask(self, kind: type[RequestBase], **fields: Any) -> None:
        """A request that is expected to be accepted, by somebody who is not at the console."""
        with _visit(self.site.state) as visit:
            said = {"who": "Bea", **fields}
            request = kind(at=this_moment(), source="cli", id=new_request_id(Random()), client=visit.name, **said)
            answer = _patiently(lambda: visit.ask("barn", request))
        assert isinstance(answer, Accepted), answer

    def batches(self) -> list[BatchState]:
        """All, as the scheduler tells of them."""
        return [one for one in list(self.said.values()) if isinstance(one, BatchState)]

    def batch(self, name: str) -> BatchState:
        """One of them."""
        wait_until(lambda: any(one.batch == name for one in self.batches()), f"batch {name} is told of")
        return next(one for one in self.batches() if one.batch == name)

    def alarm(self, chamber: str, name: str = "hand-needed") -> Alarm | None:
        """As the notifier tells of it; None while nothing is known of it."""
        alarms = (one for one in list(self.said.values()) if isinstance(one, Alarm))
        return next((one for one in alarms if (one.chamber, one.name) == (chamber, name)), None)

    def reading(self, chamber: str, probe: str) -> float | None:
        """What a probe reads now; None while nothing is known of it."""
        readings = (one for one in list(self.said.values()) if isinstance(one, ReadingBase))
        return next((one.value for one in readings if (one.chamber, one.probe) == (chamber, probe)), None)

    def _active_in(self, chamber: str) -> list[BatchState]:
        return [one for one in self.batches() if one.chamber == chamber and one.phase in ACTIVE]

    def stands(self, chamber: str, phase: str) -> bool:
        """Whether a chamber's alarm is in that state."""
        alarm = self.alarm(chamber)
        return alarm is not None and alarm.phase == phase

    def raise_alarm(self, chamber: str) -> None:
        """A batch whose first step asks for a hand: an alarm that waits for a person."""
        batch = f"hand-{next(self.numbers)}"
        self.begin(batch, chamber, "name: rest, hold: 12 degC, for: 9 d, instruction: Add the hops.")

        def waits() -> bool:
            alarm = self.alarm(chamber)
            return alarm is not None and alarm.phase == "unacknowledged" and f"Beer {batch}:" in alarm.detail

        wait_until(waits, f"the alarm in {chamber} waits")

    def link(self, chamber: str) -> str:
        """The path of a link as a message about this chamber's alarm carries it."""
        alarm = self.alarm(chamber)
        assert alarm is not None
        expires = this_moment() + timedelta(hours=1)
        claim = Claim(chamber=chamber, name=alarm.name, raised=alarm.at, person="ann", expires=expires)
        return f"/acknowledge/{sign(claim, link_key(self.site.state / KEY_FILE))}"

    def told_link(self, chamber: str) -> str:
        """The path of the link in a message that Ann got."""
        wait_until(lambda: bool(self._links(chamber)), f"Ann is told of {chamber}")
        return self._links(chamber)[-1].partition("console.invalid")[2]

    def _links(self, chamber: str) -> list[str]:
        told = [one for one in self.messages if one["alarms"] and one["alarms"][0]["chamber"] == chamber]
        return [str(one["acknowledge"]) for one in told if one["acknowledge"]]


@contextmanager
def open_garage(folder: Path) -> Iterator[Garage]:
    """The site, its console and the webhook, until the block ends."""
    messages: list[dict[str, Any]] = []
    with _webhook(messages) as port:
        plant = folder / "barn.yaml"
        plant.write_text(barn_file().read_text(encoding="utf-8") + TOLD.format(port=port), encoding="utf-8")
        with open_site(folder, "--plant", str(plant)) as site:
            garage = Garage(site, plant, messages)
            with _listening(garage):
                yield garage


def _patiently(ask: Callable[[], T]) -> T:
    """The same again, while a busy machine has not come to it."""
    for _ in range(TRIES):
        with suppress(Unreachable):
            return ask()
    return ask()


def _visit(state: Path) -> Visit:
    return _patiently(lambda: Visit(where("", state)))


class _Enough(Exception):
    """Nobody wants to hear more."""


@contextmanager
def _listening(garage: Garage) -> Iterator[None]:
    """Keeps what the services say, on a thread of its own."""
    enough = threading.Event()

    def keep(name: str, message: Message) -> None:
        if enough.is_set():
            raise _Enough
        garage.said[name] = message

    def listen() -> None:
        with suppress(_Enough), _visit(garage.site.state) as visit:
            visit.follow([every("barn", kind) for kind in FOLLOWED], keep)

    thread = threading.Thread(target=listen, daemon=True)
    thread.start()
    try:
        yield
    finally:
        enough.set()
        thread.join(60)  # readings come every few seconds


@contextmanager
def _webhook(messages: list[dict[str, Any]]) -> Iterator[int]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            messages.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(204)
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            """Nothing: tests read what was sent."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield server.server_port
    finally:
        server.shutdown()
        server.server_close()
