"""What is told of a week of alarms: how many, which most, which are a nuisance themselves (IEC 62682 / ISA-18.2)."""

from collections.abc import Iterator, Mapping
from datetime import datetime

from schemas.alarms import AlarmPhase as Phase
from schemas.plant import Plant
from services.notifier.ledger import Key, Tally
from services.notifier.messages import Written, clock, named
from services.notifier.records import AlarmRecord
from services.notifier.register import Register

MOST, LINES_AT_MOST = 5, 15
STEADY = "Mend what makes it come and go, or give it a longer delay."
SET_ASIDE = {
    Phase.SHELVED: "Shelved",
    Phase.OUT_OF_SERVICE: "Out of service",
}


def week_in_words(week: Mapping[Key, Tally], register: Register, plant: Plant, now: datetime) -> Written | None:
    """One phone screen, or None when there was no alarm and none is a nuisance."""
    total = sum(one.raised for one in week.values())
    troubles = [*_chattered(week, register, plant), *nuisances(register, plant, now)]
    if not total and not troubles:
        return None
    often = sorted(week.items(), key=lambda entry: (-entry[1].raised, entry[0]))
    most = [f"- {one.raised}: {_name(key, register, plant)}" for key, one in often[:MOST] if one.raised]
    lines = [
        f"{total} alarms in seven days, {total / 7:.1f} a day.",
        *(["Most often:", *most] if most else []),
        *troubles[:LINES_AT_MOST],
        *([f"and {len(troubles) - LINES_AT_MOST} more"] if len(troubles) > LINES_AT_MOST else []),
    ]
    subject = f"[week] {plant.site.name}: {total} alarms, {len(troubles)} to look into"
    return Written(subject=subject, text="\n".join(lines))


def nuisances(register: Register, plant: Plant, now: datetime) -> Iterator[str]:
    """A sentence for each alarm that is stale, chatters or is set aside at this moment, with what to do about it."""
    for record in register.records.values():
        what = named(record.chamber, record.name, register.definition(record), plant)
        if record.stale:
            yield f"Stale: {what}, since {clock(record.since, plant, now)}. See to it, or shelve it with a reason."
        if record.chattering:
            yield f"Chattering now: {what}. {STEADY}"
        if record.phase in SET_ASIDE:
            yield f"{SET_ASIDE[record.phase]}: {what}{_until(record, plant, now)}. Is that still right?"


def _chattered(week: Mapping[Key, Tally], register: Register, plant: Plant) -> Iterator[str]:
    for key, one in week.items():
        record = register.find(*key)
        if one.chattering and not (record is not None and record.chattering):
            yield f"Chattered: {_name(key, register, plant)}. {STEADY}"


def _name(key: Key, register: Register, plant: Plant) -> str:
    return named(*key, register.rules(*key), plant)


def _until(record: AlarmRecord, plant: Plant, now: datetime) -> str:
    until = "" if record.until is None else f" until {clock(record.until, plant, now)}"
    return f"{until}, by {record.by}" if record.by else until
