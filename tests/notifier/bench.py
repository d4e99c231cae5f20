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
from services.notifier.dispatch import DISPATCH, RESULT, Dispatch, Result
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


def site_with(people: dict[str, Any], notifier: dict[str, Any], **chambers: Any) -> Plant:
    """A plant with people; `chambers` are changes to `left` and `right`. Written as a person writes the file."""
    probe = {"beer": {"measures": "temperature", "from": {"simulated": True}}}
    blocks = {name: {"kind": "fridge", "probes": probe} | chambers.get(name, {}) for name in ("left", "right")}
    return Plant.model_validate({"site": {"name": SITE}, "chambers": blocks, "people": people, "notifier": notifier})


class Bench:
    def __init__(self, described: Plant | None = None, **parts: Any) -> None:
        self.parts = parts
        self.plant = described or plant()
        self.notifier = Notifier(self.plant, **parts)
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
        self.notifier = Notifier(self.plant, state, **self.parts)
        self.said += self.notifier.start(self.now)
        return self

    @property
    def sent(self) -> list[Dispatch]:
        """Every attempt at a message."""
        raw = [one.body for one in self.said if one.topic.startswith(DISPATCH) and isinstance(one.body, bytes)]
        return [Dispatch.model_validate_json(body) for body in raw]

    def settle(self, dispatch: Dispatch, error: str = "") -> "Bench":
        """The courier comes back."""
        result = Result(error=error).model_dump_json().encode()
        self.said += self.notifier.receive(Incoming(f"{RESULT}{dispatch.id}", result), self.now)
        return self

    def deliver(self, minutes: float, step: float = 1.0) -> "Bench":
        """Lets time pass while couriers deliver everything at once."""
        for _ in range(round(minutes / step)):
            self.after(step)
            self.settle_all()
        return self

    def settle_all(self) -> "Bench":
        settled = getattr(self, "_settled", 0)
        while settled < len(self.sent):
            self.settle(self.sent[settled])
            settled += 1
        self._settled = settled
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
