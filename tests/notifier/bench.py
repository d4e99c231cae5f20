"""A notifier on the bench: hears what it is told, at the minute it is told, and shows what it says."""

from datetime import UTC, datetime, timedelta
from typing import Any

from schemas.alarms import Alarm, AlarmPhase, Condition
from schemas.base import Message, ServiceName
from schemas.contract import decode, encode, topic_for
from schemas.journal import Health, JournalEntry, Wellness
from schemas.plant import Plant
from schemas.requests import Accepted, Refused, RequestBase
from services.notifier.core import Notifier
from services.runtime.service import Incoming, Outgoing

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
SITE = "shed"


def plant(*chambers: str) -> Plant:
    block = {
        "kind": "fridge",
        "probes": {"beer": {"measures": "temperature", "from": {"simulated": True}}},
    }
    return Plant.model_validate(
        {"site": {"name": SITE}, "chambers": dict.fromkeys(chambers or ("left", "right"), block)}
    )


class Bench:
    def __init__(self, **parts: Any) -> None:
        self.parts = parts
        self.notifier = Notifier(plant(), **parts)
        self.now = NOON
        self.said: list[Outgoing] = []

    def hear(self, message: Message, *names: str) -> "Bench":
        topic = topic_for(SITE, message, *names)
        self.said += self.notifier.receive(Incoming(topic, decode(topic, encode(message))), self.now)
        return self

    def after(self, minutes: float) -> "Bench":
        self.now += timedelta(minutes=minutes)
        self.said += self.notifier.tick(self.now)
        return self

    def condition(self, name: str, active: bool = True, chamber: str = "left", **said: Any) -> "Bench":
        said = {"at": self.now, "since": self.now, "detail": f"{name} in words"} | said
        return self.hear(Condition(source="supervisor", chamber=chamber, name=name, active=active, **said))

    def health(self, *services: ServiceName, state: Wellness = Wellness.RUNNING) -> "Bench":
        for service in services:
            self.hear(Health(at=self.now, source=service.value, service=service, state=state))
        return self

    def ask(self, request: type[RequestBase], name: str, chamber: str = "left", **fields: Any) -> Accepted | Refused:
        fields = {"id": f"r{len(self.said)}", "why": "a reason"} | fields
        asked = request(at=self.now, source="console", client="phone", who="Ann", chamber=chamber, name=name, **fields)
        self.hear(asked, "notifier", asked.verb)
        return self.replies[-1]

    def restart(self) -> "Bench":
        state = type(self.notifier.snapshot()).model_validate_json(self.notifier.snapshot().model_dump_json())
        self.notifier = Notifier(plant(), state, **self.parts)
        self.said += self.notifier.start(self.now)
        return self

    def phase(self, name: str, chamber: str = "left") -> AlarmPhase | None:
        found = [alarm.phase for alarm in self.of(Alarm) if (alarm.chamber, alarm.name) == (chamber, name)]
        return found[-1] if found else None

    def raised(self, name: str, chamber: str = "left") -> int:
        told = [alarm for alarm in self.of(Alarm) if (alarm.chamber, alarm.name) == (chamber, name)]
        return sum(alarm.phase is AlarmPhase.UNACKNOWLEDGED for alarm in told)

    def of(self, kind: type[Any]) -> list[Any]:
        return [outgoing.body for outgoing in self.said if isinstance(outgoing.body, kind)]

    @property
    def replies(self) -> list[Any]:
        return [*self.of((Accepted, Refused))]  # type: ignore[arg-type]

    @property
    def journal(self) -> list[JournalEntry]:
        return self.of(JournalEntry)
