"""What people ask of the notifier, carried out once and answered always."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from schemas.base import SITE_WIDE, ServiceName
from schemas.conditions import kind_of
from schemas.plant import Plant
from schemas.requests import (
    Accepted,
    AcknowledgeAlarm,
    DeclareTask,
    EndTask,
    Refused,
    Reply,
    RequestBase,
    SendTestMessage,
)
from services.notifier.desk import Desk
from services.notifier.dispatch import Answer as Shown
from services.notifier.links import BadToken, Claim, verify
from services.notifier.records import AlarmRecord, after, quiet_record
from services.notifier.register import Change, Register
from services.notifier.requests import ALREADY, ASKED_FOR, Answer, Answers, inapplicable, problem_with
from services.notifier.states import AlarmEvent

OWN = ServiceName.NOTIFIER.value
LONGEST_TASK = timedelta(hours=24)
REMEDY = "Look at the list of alarms for where it stands."

Outcome = tuple[Reply, list[Change]]


class Refusal(ValueError):
    """A request that changes nothing; the text says why, `remedy` what would be right."""

    def __init__(self, reason: str, remedy: str = REMEDY) -> None:
        super().__init__(reason)
        self.remedy = remedy


@dataclass(slots=True)
class Tasks:
    """Chambers at which somebody works, and until when."""

    until: dict[str, datetime]

    def over(self, now: datetime) -> list[str]:
        """Forgets those whose time is over, and names them."""
        gone = [chamber for chamber, until in self.until.items() if until <= now]
        for chamber in gone:
            del self.until[chamber]
        return gone


class Orders:
    """Answers of the last few hundred requests are remembered, so that a repeated one gets the same."""

    def __init__(
        self, plant: Plant, register: Register, desk: Desk, answers: Iterable[Answer], tasks: Tasks, key: bytes
    ) -> None:
        self.plant = plant
        self.answers = Answers(answers)
        self.tasks = tasks
        self._register = register
        self._desk = desk
        self._key = key
        self._kinds: dict[type[RequestBase], Callable[[Any, datetime], Outcome]] = {
            DeclareTask: self._declare,
            EndTask: self._end,
            SendTestMessage: self._test,
        }

    def take(self, request: Any, now: datetime) -> tuple[Answer, list[Change]]:
        """Carries a request out, unless that was done before; the answer says what came of it."""
        known = self.answers.get(request.id)
        if known is not None:
            return known, []
        try:
            reply, changes = self._kinds.get(type(request), self._move)(request, now)
        except Refusal as refusal:
            reply = Refused(at=now, source=OWN, id=request.id, reason=str(refusal), remedy=refusal.remedy)
            changes = []
        answer = Answer(client=request.client, reply=reply)
        self.answers.keep(answer)
        return answer, changes

    def follow(self, token: str, now: datetime) -> tuple[Shown, list[Change]]:
        """Somebody followed the link of a message and pressed its button."""
        try:
            claim = self._claim(token, now)
            record = self._record(claim.chamber, claim.name, now)
            changes = self._step(record, AlarmEvent.ACKNOWLEDGE, self._who(claim), "by the link in a message", now)
        except Refusal as refusal:
            return Shown(accepted=False, text=f"{refusal}. {refusal.remedy}"), []
        text = "Acknowledged. Thank you." if changes else "It was acknowledged before."
        return Shown(accepted=True, text=text), changes

    def _move(self, request: Any, now: datetime) -> Outcome:
        event = ASKED_FOR[type(request)]
        record = self._record(request.chamber, request.name, now)
        who = request.who
        if isinstance(request, AcknowledgeAlarm) and request.token:
            claim = self._claim(request.token, now)
            if (claim.chamber, claim.name) != record.key:
                raise Refusal("this link is for another alarm")
            who = self._who(claim)
        problem = problem_with(request, now)
        if problem:
            raise Refusal(problem)
        changes = self._step(record, event, who, request.why, now, until=getattr(request, "until", None))
        if not changes:
            return self._accepted(request, now, detail=f"It is {record.phase} already."), []
        return self._accepted(request, now, facts={"phase": changes[0].record.phase.value}), changes

    def _step(
        self, record: AlarmRecord, event: AlarmEvent, who: str, why: str, now: datetime, until: datetime | None = None
    ) -> list[Change]:
        """The change an event makes; none where it was made before. Raises Refusal where it cannot be made."""
        if record.phase in ALREADY.get(event, ()):
            return []
        moved, phase = after(record, event, self._register.definition(record))
        if phase is None or (event is AlarmEvent.RESET and record.condition_on):
            raise Refusal(inapplicable(record, event))
        change = self._register.move(moved, phase, now, who, why or record.detail, by=who, reason=why, until=until)
        return [change]

    def _claim(self, token: str, now: datetime) -> Claim:
        if not self._key:
            raise Refusal("this site has no links set up")
        try:
            claim = verify(token, self._key, now)
        except BadToken as error:
            raise Refusal(str(error)) from error
        record = self._register.find(claim.chamber, claim.name)
        if record is None or record.raised is None or abs(record.raised - claim.raised) >= timedelta(milliseconds=1):
            raise Refusal("this link is for an earlier occurrence of the alarm")
        return claim

    def _who(self, claim: Claim) -> str:
        person = self.plant.people.get(claim.person)
        return person.title if person is not None and person.title else claim.person

    def _record(self, chamber: str, name: str, now: datetime) -> AlarmRecord:
        """An alarm's record; a quiet one for an alarm that could come. Raises Refusal for what is none."""
        found = self._register.find(chamber, name)
        if found is not None:
            return found
        if kind_of(name) is None or (chamber != SITE_WIDE and chamber not in self.plant.chambers):
            raise Refusal(f"there is no alarm {name!r} in {chamber!r}")
        return quiet_record(chamber, name, now)

    def _declare(self, request: DeclareTask, now: datetime) -> Outcome:
        self._known_chamber(request.chamber)
        if not now < request.until <= now + LONGEST_TASK:
            raise Refusal(f"a task lasts at most {LONGEST_TASK.days * 24} h, and until some time to come", "")
        self.tasks.until[request.chamber] = request.until
        return self._accepted(request, now, detail="The open door will not be told until then."), []

    def _end(self, request: EndTask, now: datetime) -> Outcome:
        self._known_chamber(request.chamber)
        was = self.tasks.until.pop(request.chamber, None)
        return self._accepted(request, now, detail="" if was else "No task was declared there."), []

    def _known_chamber(self, chamber: str) -> None:
        if chamber not in self.plant.chambers:
            known = ", ".join(self.plant.chambers)
            raise Refusal(f"there is no chamber {chamber!r}", f"Chambers here: {known}.")

    def _test(self, request: SendTestMessage, now: datetime) -> Outcome:
        person = self.plant.people.get(request.person)
        if person is None or (request.way is not None and request.way not in person.ways):
            known = ", ".join(f"{name} ({', '.join(one.ways)})" for name, one in self.plant.people.items())
            asked = request.person if request.way is None else f"{request.person}.{request.way}"
            raise Refusal(f"the plant file names nobody {asked!r}", f"People there: {known or 'nobody'}.")
        ways = [request.way] if request.way is not None else list(person.ways)
        self._desk.test([f"{request.person}.{way}" for way in ways], request.who, request.id, now)
        detail = f"On its way by {', '.join(ways)}; 'coldside alarm deliveries' shows what becomes of it."
        return self._accepted(request, now, detail=detail), []

    def _accepted(self, request: RequestBase, now: datetime, **said: Any) -> Accepted:
        return Accepted(at=now, source=OWN, id=request.id, **said)
