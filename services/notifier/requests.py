"""What people ask of the notifier, and what was answered."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from schemas.alarms import AlarmPhase as Phase
from schemas.base import Message, Model
from schemas.requests import (
    Accepted,
    AcknowledgeAlarm,
    Refused,
    ResetAlarm,
    ReturnAlarmToService,
    ShelveAlarm,
    TakeAlarmOutOfService,
    UnshelveAlarm,
)
from services.notifier.records import AlarmRecord
from services.notifier.states import AlarmEvent

ANSWERS_KEPT = 300
LONGEST_SHELF = timedelta(days=7)

ASKED_FOR: dict[type[Message], AlarmEvent] = {
    AcknowledgeAlarm: AlarmEvent.ACKNOWLEDGE,
    ShelveAlarm: AlarmEvent.SHELVE,
    UnshelveAlarm: AlarmEvent.UNSHELVE,
    ResetAlarm: AlarmEvent.RESET,
    TakeAlarmOutOfService: AlarmEvent.OUT_OF_SERVICE,
    ReturnAlarmToService: AlarmEvent.RETURN_TO_SERVICE,
}
ALREADY: dict[AlarmEvent, tuple[Phase, ...]] = {
    AlarmEvent.ACKNOWLEDGE: (Phase.ACKNOWLEDGED, Phase.LATCHED_ACKNOWLEDGED),
    AlarmEvent.SHELVE: (Phase.SHELVED,),
    AlarmEvent.OUT_OF_SERVICE: (Phase.OUT_OF_SERVICE,),
}
"""Phases in which a request has nothing left to do."""


class Answer(Model):
    """What was answered to a request, so that a repeated one gets the same."""

    client: str
    reply: Accepted | Refused


class Answers:
    """The last few hundred answers, oldest first."""

    def __init__(self, kept: Iterable[Answer] = ()) -> None:
        self._by_id = {answer.reply.id: answer for answer in kept}

    @property
    def kept(self) -> tuple[Answer, ...]:
        """All of them, for the snapshot."""
        return tuple(self._by_id.values())

    def get(self, request_id: str) -> Answer | None:
        """What was answered to a request, or None when it is new, or too old to be remembered."""
        return self._by_id.get(request_id)

    def keep(self, answer: Answer) -> None:
        """Remembers one, and forgets the oldest beyond the limit."""
        self._by_id[answer.reply.id] = answer
        if len(self._by_id) > ANSWERS_KEPT:
            del self._by_id[next(iter(self._by_id))]


def problem_with(request: Any, now: datetime) -> str:
    """What is wrong with a request in itself; empty when nothing is."""
    if isinstance(request, ShelveAlarm):
        if not now < request.until <= now + LONGEST_SHELF:
            return f"an alarm is shelved for at most {LONGEST_SHELF.days} days, and until some time to come"
        if not request.why.strip():
            return "shelving an alarm needs a reason"
    return ""


def inapplicable(record: AlarmRecord, event: AlarmEvent) -> str:
    """Why an event changes nothing for an alarm as it stands."""
    holds = " and its condition still holds" if record.condition_on else ""
    asked = event.value.replace("_", " ")
    return f"{record.name!r} in {record.chamber!r} is {record.phase}{holds}; {asked} does not apply"
