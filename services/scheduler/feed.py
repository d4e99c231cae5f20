"""The calendar as an iCalendar feed (RFC 5545): steps that have been and are expected, and chores to do."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from schemas.batches import BatchState, PlannedStep
from services.scheduler.chores import Chore

if TYPE_CHECKING:
    from icalendar import Event, Todo

PRODUCT = "-//coldside//calendar//EN"
AT_LEAST = timedelta(minutes=15)
"""How long a step is drawn whose end cannot be said."""


def feed(site: str, states: Iterable[BatchState], chores: Iterable[Chore], now: datetime) -> bytes:
    """The whole calendar; what cannot be said yet is not in it."""
    from icalendar import Calendar  # loaded by whoever writes a feed, and by nobody else

    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    for state in states:
        for index, step in enumerate(state.steps):
            if step.begins is not None:
                calendar.add_component(_event(site, state, index, step, now))
    for chore in chores:
        calendar.add_component(_to_do(site, chore, now))
    return bytes(calendar.to_ical())


def _event(site: str, state: BatchState, index: int, step: PlannedStep, now: datetime) -> "Event":
    from icalendar import Event

    begins = step.begins or now
    event = Event()
    event.add("uid", f"{state.batch}-{index}@{site}.coldside")
    event.add("dtstamp", now)
    event.add("dtstart", begins)
    event.add("dtend", max(step.ends or begins, begins + AT_LEAST))
    event.add("summary", f"{state.title}: {step.name}")
    event.add("description", "\n".join(part for part in (step.instruction, f"Until {step.ends_when}.") if part))
    event.add("location", state.chamber)
    event.add("status", "CONFIRMED" if begins <= now else "TENTATIVE")
    event.add("transp", "TRANSPARENT")
    return event


def _to_do(site: str, chore: Chore, now: datetime) -> "Todo":
    from icalendar import Todo

    to_do = Todo()
    to_do.add("uid", f"{chore.chore}@{site}.coldside")
    to_do.add("dtstamp", now)
    to_do.add("due", chore.open_since or chore.due)
    to_do.add("summary", chore.title)
    to_do.add("description", chore.instruction)
    to_do.add("status", "NEEDS-ACTION")
    return to_do
