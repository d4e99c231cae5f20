"""A scheduler on a bench: virtual time, requests by keyword, and a restart wherever a test wants one."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import count
from typing import Any

from schemas.alarms import Condition
from schemas.base import Message
from schemas.batches import BatchState
from schemas.contract import topic_for
from schemas.control import ChamberStatus, Estimate, Setpoint
from schemas.journal import JournalEntry
from schemas.plant_file import loads as plant_from
from schemas.profiles import Profile
from schemas.requests import Accepted, Refused, RequestBase, StartBatch
from services.runtime.service import Incoming, Outgoing
from services.scheduler.__main__ import build
from services.scheduler.core import Scheduler, SchedulerState
from services.scheduler.profile_file import loads

MONDAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
_CHAMBER = """
  {name}:
    kind: fridge
    limits: {{lowest: 0 degC, highest: 30 degC}}
    probes:
      beer: {{measures: temperature, from: {{simulated: true}}}}
      float: {{measures: gravity, from: {{simulated: true}}}}
    outputs: {{cool: {{drives: compressor, to: {{simulated: true}}}}}}
"""
PLANT = plant_from(
    "site: {name: barn, timezone: Europe/Dublin}\nchambers:\n"
    + "".join(_CHAMBER.format(name=name) for name in ("ale-fridge", "lager-fridge", "third", "fourth"))
    + """
  keg-fridge:
    kind: kegerator
    hold: 4 degC
    probes: {beer: {measures: temperature, from: {simulated: true}}}
    outputs: {cool: {drives: compressor, to: {simulated: true}}}
"""
)


def profile(*steps: str, **head: str) -> Profile:
    """A profile of steps written in YAML's flow style."""
    lines = [f"{key}: {value}" for key, value in {"profile": "trial", **head}.items()]
    return loads("\n".join([*lines, "steps:", *(f"  - {{{step}}}" for step in steps)]))


class Bench:
    """The scheduler, everything it said, and the time."""

    def __init__(self, now: datetime = MONDAY, *, period: timedelta = timedelta(seconds=10)) -> None:
        self.now = now
        self.period = period
        self.said: list[Message] = []
        self._ids = count(1)
        self.scheduler = build(PLANT)
        self.hear(self.scheduler.start(now))

    def hear(self, outputs: Any) -> list[Message]:
        """Notes what was said."""
        messages = [one.body for one in outputs]
        self.said += messages
        return messages

    def give(self, message: Message) -> list[Message]:
        """Hands a message over at once."""
        return self.hear(self.scheduler.receive(Incoming(topic_for("barn", message), message), self.now))

    def ask(self, kind: type[RequestBase], **fields: Any) -> Accepted | Refused:
        """Makes a request and returns its answer."""
        base = {"at": self.now, "source": "cli", "id": f"r{next(self._ids)}", "client": "cli", "who": "Ada"}
        request = kind(**{**base, **fields})
        outputs = self.hear(self.scheduler.receive(Incoming("coldside/barn/request/scheduler/x", request), self.now))
        return next(one for one in outputs if isinstance(one, Accepted | Refused))

    def start(self, programme: Profile, batch: str = "41-pale", chamber: str = "ale-fridge", **more: Any) -> Any:
        """Starts a batch."""
        return self.ask(StartBatch, batch=batch, chamber=chamber, profile=programme, **more)

    def run(self, span: timedelta, *, hook: Callable[[], None] | None = None) -> None:
        """Lets time pass, tick by tick."""
        end = self.now + span
        while self.now < end:
            self.now = min(end, self.now + self.period)
            self.hear(self.scheduler.tick(self.now))
            if hook is not None:
                hook()

    def sleep(self, span: timedelta) -> None:
        """Power off for a while, then a restart from the state on disk."""
        kept = self.scheduler.snapshot().model_dump_json()
        self.now += span
        self.restart(kept)

    def restart(self, kept: str | None = None) -> None:
        """A new process from the state on disk."""
        kept = self.scheduler.snapshot().model_dump_json() if kept is None else kept
        self.scheduler = Scheduler(PLANT, SchedulerState.model_validate_json(kept))
        self.hear(self.scheduler.start(self.now))
        self.hear(self.scheduler.rejoin(self.now))

    def see_beer(self, celsius: float, chamber: str = "ale-fridge") -> None:
        """The supervisor tells how warm a beer is."""
        estimate = Estimate(beer_c=celsius, beer_sd_k=0.05)
        status = ChamberStatus(
            at=self.now, source="supervisor", chamber=chamber, doing="resting", why="", setpoint_c=None,
            estimate=estimate,
        )  # fmt: skip
        self.give(status)

    @property
    def journal(self) -> list[JournalEntry]:
        """Every line written so far."""
        return [one for one in self.said if isinstance(one, JournalEntry)]

    @property
    def events(self) -> list[str]:
        """What happened, in order."""
        return [one.event for one in self.journal]

    def steps_begun(self, batch: str = "41-pale") -> list[tuple[str, datetime]]:
        """Each step that began, and from when it counts."""
        return [
            (str(one.facts["step"]), datetime.fromisoformat(str(one.facts["effective"])))
            for one in self.journal
            if one.event == "step-begun" and one.batch == batch
        ]

    def batch(self, name: str = "41-pale") -> BatchState:
        """The batch as last told."""
        return next(one for one in reversed(self.said) if isinstance(one, BatchState) and one.batch == name)

    def setpoint(self, chamber: str = "ale-fridge") -> Setpoint:
        """The setpoint as last told."""
        return next(one for one in reversed(self.said) if isinstance(one, Setpoint) and one.chamber == chamber)

    def condition(self, name: str, chamber: str = "ale-fridge") -> Condition | None:
        """A condition as last told."""
        told = [one for one in self.said if isinstance(one, Condition) and (one.chamber, one.name) == (chamber, name)]
        return told[-1] if told else None


def hours(count: float) -> timedelta:
    """So many hours."""
    return timedelta(hours=count)


def days(count: float) -> timedelta:
    """So many days."""
    return timedelta(days=count)


def sent(outputs: Any) -> list[Outgoing]:
    """As a list."""
    return list(outputs)
