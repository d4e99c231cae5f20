"""A mirror of what the bus says: the newest message of each kind and key, and the last of the journal."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

from schemas.alarms import Alarm, Condition
from schemas.base import SITE_WIDE, Message
from schemas.batches import BatchState
from schemas.control import ChamberStatus, Command, Setpoint
from schemas.deliveries import Deliveries
from schemas.journal import Health, JournalEntry
from schemas.plant import Plant
from schemas.telemetry import READING_MODELS, Reading, Report

JOURNAL_KEPT = 1000


class Change(NamedTuple):
    """What has changed: `kind` is a shelf of `Live` ("readings", "alarms", ...), "journal", "plant" or "link".

    `key` is as on that shelf: ("ale-fridge", "beer"), ("ale-fridge",), ("stout-12",), ("bridge",); empty for the plant
    and the link.
    """

    kind: str
    key: tuple[str, ...] = ()


Pair = tuple[str, str]


@dataclass(slots=True)
class Live:
    """Touched by the event loop's thread alone. `plant` is the plant file's last valid content."""

    plant: Plant
    readings: dict[Pair, Reading] = field(default_factory=dict)
    reports: dict[Pair, Report] = field(default_factory=dict)
    commands: dict[Pair, Command] = field(default_factory=dict)
    setpoints: dict[str, Setpoint] = field(default_factory=dict)
    statuses: dict[str, ChamberStatus] = field(default_factory=dict)
    batches: dict[str, BatchState] = field(default_factory=dict)
    conditions: dict[Pair, Condition] = field(default_factory=dict)
    alarms: dict[Pair, Alarm] = field(default_factory=dict)
    healths: dict[str, Health] = field(default_factory=dict)
    deliveries: dict[Pair, Deliveries] = field(default_factory=dict)
    journal: deque[JournalEntry] = field(default_factory=lambda: deque(maxlen=JOURNAL_KEPT))
    plant_trouble: str = ""
    """Why the plant file as it stands now is not followed; empty when it is."""
    revision: int = 0
    """Grows with each change."""
    taken_at: datetime | None = None
    """When something was heard last."""

    def take(self, message: Message, now: datetime) -> Change | None:
        """Takes a message in; None when it says nothing new."""
        shelf = SHELVES.get(type(message))
        if isinstance(message, JournalEntry):
            change = self._write(message)
        elif shelf is not None:
            change = self._put(shelf, message, now)
        else:
            return None
        self.taken_at = now
        if change is not None:
            self.revision += 1
        return change

    def follow(self, plant: Plant) -> Change:
        """A changed plant file: what is said of chambers that are gone is forgotten."""
        self.plant, self.plant_trouble = plant, ""
        known = {*plant.chambers, SITE_WIDE}
        for shelf in BY_CHAMBER:
            kept: dict[Any, Any] = getattr(self, shelf)
            for key in [key for key in kept if _chamber(key) not in known]:
                del kept[key]
        self.revision += 1
        return Change("plant")

    def refuse_plant(self, why: str) -> Change:
        """The plant file was changed and is not valid; the earlier one goes on."""
        self.plant_trouble = why
        self.revision += 1
        return Change("plant")

    def _write(self, entry: JournalEntry) -> Change | None:
        if any(known.id == entry.id for known in self.journal):
            return None
        self.journal.append(entry)
        return Change("journal", (entry.id,))

    def _put(self, shelf: "Shelf", message: Message, now: datetime) -> Change | None:
        """What comes late changes nothing, unless the clock was set back and what is known is from the future."""
        kept: dict[Any, Message] = getattr(self, shelf.name)
        key = shelf.key(message)
        known = kept.get(key)
        if known is not None and (known == message or message.at < known.at <= now):
            return None
        kept[key] = message
        return Change(shelf.name, key if isinstance(key, tuple) else (key,))


class Shelf(NamedTuple):
    """Where in `Live` a kind of message is kept, and under which key."""

    name: str
    key: Callable[[Any], Any]


def _chamber(key: str | Pair) -> str:
    return key if isinstance(key, str) else key[0]


SHELVES: dict[type[Message], Shelf] = {
    **dict.fromkeys(READING_MODELS.values(), Shelf("readings", lambda one: (one.chamber, one.probe))),
    Report: Shelf("reports", lambda one: (one.chamber, one.output)),
    Command: Shelf("commands", lambda one: (one.chamber, one.output)),
    Setpoint: Shelf("setpoints", lambda one: one.chamber),
    ChamberStatus: Shelf("statuses", lambda one: one.chamber),
    BatchState: Shelf("batches", lambda one: one.batch),
    Condition: Shelf("conditions", lambda one: (one.chamber, one.name)),
    Alarm: Shelf("alarms", lambda one: (one.chamber, one.name)),
    Health: Shelf("healths", lambda one: one.service.value),
    Deliveries: Shelf("deliveries", lambda one: (one.person, one.way)),
}
BY_CHAMBER = ("readings", "reports", "commands", "setpoints", "statuses", "conditions", "alarms")
