"""What a message says, in one phone screen: where, what, since when, what to do."""

from collections.abc import Sequence
from datetime import datetime

from schemas.alarms import Alarm, Nuisance, Priority
from schemas.alarms import AlarmPhase as Phase
from schemas.base import SITE_WIDE, Model, Text
from schemas.conditions import kind_of
from schemas.plant import Plant
from services.notifier.catalogue import Definition, span

LONGEST_DETAIL = 160
LINES_AT_MOST = 60
RANKS = list(Priority)

STANDS: dict[Phase, str] = {
    Phase.NORMAL: "It is over.",
    Phase.ACKNOWLEDGED: "Acknowledged by {by}.",
    Phase.RETURNED_UNACKNOWLEDGED: "It has gone by itself since.",
    Phase.LATCHED_UNACKNOWLEDGED: "The cause has gone; it stays until somebody has looked.",
    Phase.LATCHED_ACKNOWLEDGED: "Acknowledged by {by}.",
    Phase.SHELVED: "Shelved by {by}.",
    Phase.SUPPRESSED: "It is explained by another alarm.",
    Phase.OUT_OF_SERVICE: "Taken out of service by {by}.",
}


class Told(Model):
    """One alarm in a message: as it stands, what is known of its kind, and how late this telling is."""

    alarm: Alarm
    definition: Definition
    late_s: float = 0.0


class Written(Model):
    """A message's words."""

    subject: Text
    text: str


def message(told: Sequence[Told], plant: Plant, now: datetime, link: str = "") -> Written:
    """One alarm in full, or several in a line each, most urgent first."""
    if len(told) == 1:
        return _single(told[0], plant, now, link)
    return _several(sorted(told, key=lambda one: RANKS.index(one.alarm.priority)), plant, link)


def test_message(plant: Plant, member: str, who: str, now: datetime) -> Written:
    """A message that says only that messages arrive."""
    text = f"{who} asked whether alarms of '{plant.site.name}' reach {member}. They do.\nNothing is wrong."
    return Written(subject=f"[test] {plant.site.name}: a test message", text=f"{text}\nSent {clock(now, plant, now)}.")


def headline(alarm: Alarm, definition: Definition, plant: Plant) -> str:
    """`Ale fridge: beer too warm`; names what it concerns where the kind alone does not."""
    return named(alarm.chamber, alarm.name, definition, plant)


def named(chamber: str, name: str, definition: Definition, plant: Plant) -> str:
    """The same for an alarm of which only chamber and name are at hand."""
    subject = name.removeprefix(kind_of(name) or name).strip("-")
    title = definition.title + (f" ({subject})" if subject else "")
    return f"{place(chamber, plant)}: {title[:1].lower()}{title[1:]}"


def place(chamber: str, plant: Plant) -> str:
    """What people call a chamber; the site's name for what concerns the whole of it."""
    if chamber == SITE_WIDE:
        return plant.site.name
    found = plant.chambers.get(chamber)
    return found.title if found is not None and found.title else chamber


def clock(moment: datetime, plant: Plant, now: datetime) -> str:
    """`14:05` today, `Tue 24 Nov 14:05` otherwise, on the site's clocks."""
    local = moment.astimezone(plant.zone)
    same_day = local.date() == now.astimezone(plant.zone).date()
    return f"{local:%H:%M}" if same_day else f"{local:%a %d %b %H:%M}"


def _single(one: Told, plant: Plant, now: datetime, link: str) -> Written:
    alarm, definition = one.alarm, one.definition
    lines = [
        f"Where: {place(alarm.chamber, plant)}, {plant.site.name}",
        f"What: {_short(alarm.detail)}",
        f"Since: {clock(alarm.since, plant, now)}",
        f"Do: {definition.response}",
        f"Else: {definition.consequence} Respond within {span(definition.respond_within_s)}.",
        *_remarks(one),
        *([f"Acknowledge: {link}"] if link else []),
    ]
    title = headline(alarm, definition, plant)
    return Written(subject=f"[{alarm.priority}] {title}", text="\n".join(lines))


def _remarks(one: Told) -> list[str]:
    alarm = one.alarm
    said = [STANDS[alarm.phase].format(by=alarm.by or "somebody")] if alarm.phase in STANDS else []
    if one.late_s and alarm.phase not in STANDS:
        said.append(f"Nobody has acknowledged it for {span(one.late_s)}.")
    if Nuisance.STALE in alarm.nuisance:
        said.append("It has stood for over a day: see to it, or shelve it with a reason.")
    if Nuisance.CHATTERING in alarm.nuisance:
        said.append("It comes and goes; the next hour's returns are not told one by one.")
    return said


def _several(told: Sequence[Told], plant: Plant, link: str) -> Written:
    first = told[0]
    shown = told[:LINES_AT_MOST]
    lines = [f"- {one.alarm.priority}: {headline(one.alarm, one.definition, plant)}" for one in shown]
    more = len(told) - len(shown)
    head = headline(first.alarm, first.definition, plant)
    text = [
        f"{len(told)} alarms at {plant.site.name}. First: {first.definition.response}",
        *([f"Acknowledge the first: {link}"] if link else []),
        *lines,
        *([f"and {more} more"] if more else []),
    ]
    return Written(subject=f"[{first.alarm.priority}] {len(told)} alarms, first: {head}", text="\n".join(text))


def _short(detail: str) -> str:
    return detail if len(detail) <= LONGEST_DETAIL else f"{detail[: LONGEST_DETAIL - 3]}..."
