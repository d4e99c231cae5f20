"""Hears what the services say in a rehearsal, and keeps what an answer needs."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from schemas.alarms import Alarm, AlarmPhase
from schemas.base import Message
from schemas.batches import BatchState
from schemas.control import ChamberStatus
from schemas.requests import Refused
from schemas.telemetry import Report
from services.rehearsal.answer import Fired
from services.runtime.service import Outgoing
from services.supervisor import guards

EVERYDAY = frozenset({*guards.ALL, "door-pause"})
"""Interlocks of ordinary days: rests, staggered starts, an opened door."""


@dataclass(frozen=True, slots=True)
class Wait:
    """A chamber had to wait for its circuit."""

    chamber: str
    begins: datetime
    ends: datetime

    @property
    def length(self) -> timedelta:
        """How long."""
        return self.ends - self.begins


@dataclass(slots=True)
class Listener:
    """`waits` are for current; a refusal of a request is kept in `refused`."""

    states: dict[str, BatchState] = field(default_factory=dict)
    wanted_c: dict[str, float | None] = field(default_factory=dict)
    fired: dict[tuple[str, str], Fired] = field(default_factory=dict)
    alarms: dict[str, str] = field(default_factory=dict)
    waits: list[Wait] = field(default_factory=list)
    refused: str = ""
    _waiting: dict[str, datetime] = field(default_factory=dict)

    def catch_up(self, messages: Iterable[object]) -> None:
        """What was said while the stage was set."""
        for body in messages:
            if isinstance(body, Message):
                self._take(body, body.at)

    def close(self, now: datetime) -> None:
        """The rehearsal is over: who still waits has waited until now."""
        self.waits += [Wait(chamber, begins, now) for chamber, begins in self._waiting.items()]
        self._waiting.clear()

    def hear(self, outgoing: Outgoing, now: datetime) -> None:
        """See `stage.Witness`."""
        body = outgoing.body
        if not isinstance(body, Report | bytes):
            self._take(body, now)

    def _take(self, body: Message, now: datetime) -> None:
        if isinstance(body, ChamberStatus):
            self._see(body, now)
        elif isinstance(body, BatchState):
            self.states[body.batch] = body
        elif isinstance(body, Alarm) and body.phase is AlarmPhase.UNACKNOWLEDGED:
            self.alarms[f"{body.chamber}/{body.name}"] = f"{body.chamber}: {body.detail}"
        elif isinstance(body, Refused):
            self.refused = f"{body.reason}; {body.remedy}" if body.remedy else body.reason

    def _see(self, status: ChamberStatus, now: datetime) -> None:
        chamber = status.chamber
        self.wanted_c[chamber] = status.setpoint_c
        for one in status.interlocks:
            if one.id not in EVERYDAY and (chamber, one.id) not in self.fired:
                self.fired[chamber, one.id] = Fired(chamber, one.id, one.reason, now)
        waits = any(one.id == guards.CIRCUIT for one in status.interlocks)
        if waits:
            self._waiting.setdefault(chamber, now)
        elif chamber in self._waiting:
            self.waits.append(Wait(chamber, self._waiting.pop(chamber), now))
