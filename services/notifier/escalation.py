"""Which steps of which routes are due for an alarm: the first at once, later ones until somebody acknowledges."""

from collections.abc import Collection, Iterator
from datetime import datetime, timedelta

from schemas.alarms import AlarmPhase as Phase
from schemas.alarms import Priority
from schemas.base import Instant, Model, Name, Text
from schemas.people import Route
from schemas.plant import Plant
from services.notifier.routes import concerns, digest_after, is_open, is_quiet

CALLING = frozenset({Phase.UNACKNOWLEDGED, Phase.LATCHED_UNACKNOWLEDGED})
"""Phases in which an alarm is told to one after the other until somebody acknowledges."""
SPEAKING = CALLING | {Phase.RETURNED_UNACKNOWLEDGED}
"""Phases in which those who are to be told at once are still told; one that has gone by itself wakes nobody else."""


class Occurrence(Model):
    """One occurrence of an alarm, as far as telling people goes."""

    chamber: Name
    name: Name
    priority: Priority
    raised: Instant
    phase: Phase


class Step(Model):
    """One telling: which route, to whom, and the how-manieth repetition."""

    route: int
    member: Text
    number: int
    late_s: float = 0.0

    @property
    def key(self) -> str:
        """What makes it one and the same."""
        return f"{self.route}/{self.member}/{self.number}"


def due_steps(plant: Plant, occurrence: Occurrence, told: Collection[str], now: datetime) -> Iterator[Step]:
    """Steps whose time has come and that are not among those `told`. Of missed repetitions only the last is due."""
    if occurrence.phase not in SPEAKING:
        return
    local = now.astimezone(plant.zone)
    for index, route in enumerate(plant.notifier.routes):
        number = _number(plant, route, occurrence, now)
        if number is None or not is_open(route, local):
            continue
        for member in route.to:
            step = Step(route=index, member=member, number=number, late_s=route.after_s)
            if step.key not in told and not _must_wait(plant, member, occurrence.priority, local):
                yield step


def _number(plant: Plant, route: Route, occurrence: Occurrence, now: datetime) -> int | None:
    """The repetition that a route has come to; None when it is not its turn."""
    if not concerns(route, occurrence.chamber, occurrence.name, occurrence.priority):
        return None
    if occurrence.priority is Priority.LOW:
        return 0 if now >= digest_after(occurrence.raised, plant.notifier, plant) else None
    past_s = (now - occurrence.raised).total_seconds() - route.after_s
    if occurrence.phase not in CALLING:
        return 0 if route.after_s == 0 else None
    if past_s < 0 and now - occurrence.raised > -timedelta(minutes=2):
        return None
    return int(max(0.0, past_s) // route.again_s) if route.again_s else 0


def _must_wait(plant: Plant, member: str, priority: Priority, local: datetime) -> bool:
    person = plant.people.get(member.partition(".")[0])
    return person is None or (priority is not Priority.CRITICAL and is_quiet(person, local))
