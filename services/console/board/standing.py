"""How the machinery behind the pages stands, in words: broker, services, store, plant file."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from schemas.alarms import Alarm, AlarmPhase, Condition, Priority
from schemas.conditions import ConditionKind, kind_of
from schemas.journal import Health, Wellness
from services.console.live import Live

SILENT_AFTER_S = 45.0
LOUD = (
    AlarmPhase.UNACKNOWLEDGED,
    AlarmPhase.ACKNOWLEDGED,
    AlarmPhase.LATCHED_UNACKNOWLEDGED,
    AlarmPhase.LATCHED_ACKNOWLEDGED,
    AlarmPhase.RETURNED_UNACKNOWLEDGED,
)
WAITING = (AlarmPhase.UNACKNOWLEDGED, AlarmPhase.LATCHED_UNACKNOWLEDGED, AlarmPhase.RETURNED_UNACKNOWLEDGED)
_PRIORITIES = tuple(Priority)


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing that is not as it should be; `grave` when figures or control suffer from it now."""

    text: str
    grave: bool


def remarks(live: Live, link_lost: datetime | None, now: datetime) -> list[Remark]:
    """What is wrong behind the pages, gravest first. `link_lost` is since when there is no broker."""
    found = [*_of_link(live, link_lost), *_of_services(live, link_lost, now), *_of_store(live), *_of_plant(live)]
    return sorted(found, key=lambda one: not one.grave)


def standing_alarms(live: Live, chamber: str | None = None) -> list[Alarm]:
    """Alarms that are not normal, shelved or suppressed; most urgent first, then oldest."""
    found = [one for one in live.alarms.values() if one.phase in LOUD and chamber in (None, one.chamber)]
    return sorted(found, key=lambda one: (_PRIORITIES.index(one.priority), one.since))


def waiting_words(live: Live) -> str:
    """How many alarms wait for a person; empty for none."""
    count = sum(one.phase in WAITING for one in live.alarms.values())
    if not count:
        return ""
    return "1 alarm waits for you" if count == 1 else f"{count} alarms wait for you"


def clock_words(at: datetime, zone: ZoneInfo, *, seconds: bool = False) -> str:
    """The time of day on the site's clocks."""
    return at.astimezone(zone).strftime("%H:%M:%S" if seconds else "%H:%M")


def _of_link(live: Live, link_lost: datetime | None) -> Iterator[Remark]:
    if link_lost is not None:
        since = clock_words(link_lost, live.plant.zone)
        yield Remark(
            f"The broker is gone since {since}: figures stay as they were then, and nothing can be asked.", True
        )


def _of_services(live: Live, link_lost: datetime | None, now: datetime) -> Iterator[Remark]:
    if link_lost is not None:
        return
    for name, health in sorted(live.healths.items()):
        if health.state is not Wellness.RUNNING:
            yield Remark(f"The {name} is {_ended(health)} since {clock_words(health.at, live.plant.zone)}.", True)
        elif (now - health.at).total_seconds() > SILENT_AFTER_S:
            yield Remark(f"The {name} is silent since {clock_words(health.at, live.plant.zone)}.", True)


def _ended(health: Health) -> str:
    return "gone" if health.state is Wellness.LOST else "stopping"


def _of_store(live: Live) -> Iterator[Remark]:
    for one in live.conditions.values():
        if one.active and _is_about_store(one):
            yield Remark(f"History: {one.detail}", False)


def _is_about_store(condition: Condition) -> bool:
    return kind_of(condition.name) in (ConditionKind.STORE_BEHIND, ConditionKind.DISK_FULL)


def _of_plant(live: Live) -> Iterator[Remark]:
    if live.plant_trouble:
        yield Remark(f"The changed plant file is refused, the earlier one goes on: {live.plant_trouble}", False)
