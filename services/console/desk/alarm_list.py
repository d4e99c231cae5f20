"""Alarms as people go through them: what needs a person first, what may be done about each, and how many a day."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from schemas.alarms import Alarm, AlarmPhase, Priority
from schemas.base import SITE_WIDE
from services.console.sources import Annotation

PRIORITIES = tuple(Priority)
WAITING = (AlarmPhase.UNACKNOWLEDGED, AlarmPhase.LATCHED_UNACKNOWLEDGED, AlarmPhase.RETURNED_UNACKNOWLEDGED)
SEEN = (AlarmPhase.ACKNOWLEDGED, AlarmPhase.LATCHED_ACKNOWLEDGED)
SILENT = (AlarmPhase.SHELVED, AlarmPhase.OUT_OF_SERVICE, AlarmPhase.SUPPRESSED)
PHASES: dict[AlarmPhase, str] = {
    AlarmPhase.NORMAL: "back to normal",
    AlarmPhase.UNACKNOWLEDGED: "waits for you",
    AlarmPhase.ACKNOWLEDGED: "somebody sees to it",
    AlarmPhase.RETURNED_UNACKNOWLEDGED: "over, and nobody has seen it",
    AlarmPhase.LATCHED_UNACKNOWLEDGED: "over, stays until seen and reset",
    AlarmPhase.LATCHED_ACKNOWLEDGED: "seen, stays until reset",
    AlarmPhase.SHELVED: "shelved",
    AlarmPhase.SUPPRESSED: "silent by design: something else explains it",
    AlarmPhase.OUT_OF_SERVICE: "out of service",
}
MAY: dict[AlarmPhase, tuple[str, ...]] = {
    AlarmPhase.UNACKNOWLEDGED: ("acknowledge", "shelve", "take out"),
    AlarmPhase.ACKNOWLEDGED: ("shelve", "take out"),
    AlarmPhase.RETURNED_UNACKNOWLEDGED: ("acknowledge", "shelve", "take out"),
    AlarmPhase.LATCHED_UNACKNOWLEDGED: ("acknowledge", "shelve", "take out"),
    AlarmPhase.LATCHED_ACKNOWLEDGED: ("reset", "shelve", "take out"),
    AlarmPhase.SHELVED: ("bring back",),
    AlarmPhase.SUPPRESSED: ("take out",),
    AlarmPhase.OUT_OF_SERVICE: ("put back",),
}
"""What a person can ask for in each state (the transitions of IEC 62682 / ISA-18.2 that are a person's)."""
RAISED = frozenset({AlarmPhase.UNACKNOWLEDGED.value})


def waiting(alarms: Iterable[Alarm]) -> list[Alarm]:
    """Those that nobody has seen, then those that somebody sees to; in each the most urgent first, then the oldest."""
    found = [one for one in alarms if one.phase in (*WAITING, *SEEN)]
    return sorted(found, key=lambda one: (one.phase in SEEN, PRIORITIES.index(one.priority), one.since))


def silent(alarms: Iterable[Alarm]) -> list[Alarm]:
    """Those that are kept silent, by chamber and name."""
    return sorted((one for one in alarms if one.phase in SILENT), key=lambda one: (one.chamber, one.name))


def title(alarm: "Alarm | Raised") -> str:
    """`Door open`."""
    return alarm.name.replace("-", " ").capitalize()


def place(chamber: str) -> str:
    """The chamber, or in words the whole site."""
    return "the whole site" if chamber == SITE_WIDE else chamber


@dataclass(frozen=True, slots=True)
class Raised:
    """One occurrence of the past."""

    at: datetime
    chamber: str
    name: str
    priority: str
    text: str


def raised(said: Iterable[Annotation], zone: ZoneInfo) -> list[Raised]:
    """Each time that an alarm began to wait for a person, newest first."""
    found = [
        Raised(_local(one, zone), one.chamber, one.name, str(one.facts.get("priority", "")), one.text)
        for one in said
        if one.facts.get("phase") in RAISED
    ]
    return sorted(found, key=lambda one: one.at, reverse=True)


def per_day(found: Sequence[Raised], today: date, days: int) -> list[tuple[str, tuple[tuple[str, int], ...]]]:
    """For each of the last days, oldest first, its name and how many alarms of each priority began on it."""
    counted = Counter((one.at.date(), one.priority) for one in found)
    dates = [today - timedelta(days=back) for back in reversed(range(days))]
    return [(f"{day:%a} {day.day}", tuple((level, counted[day, level]) for level in PRIORITIES)) for day in dates]


def rate_words(found: Sequence[Raised], days: int) -> str:
    """How many a day, and which came most often."""
    if not found:
        return f"No alarm in {days} days."
    said = f"{len(found)} in {days} days, {len(found) / days:.1f} a day"
    often, count = Counter((one.chamber, one.name) for one in found).most_common(1)[0]
    if count == 1:
        return f"{said}."
    return f"{said}; most often {often[1].replace('-', ' ')} in {place(often[0])}, {count} times."


def _local(one: Annotation, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(one.at_ms / 1000, zone)
