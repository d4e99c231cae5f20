"""What people ask of the supervisor: a lock-out, its end, the reset of an interlock that latched."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from schemas.contract import topic_for
from schemas.journal import JournalEntry
from schemas.requests import (
    Accepted,
    ClearLockOut,
    Commission,
    LockOut,
    Refused,
    Reply,
    RequestBase,
    ResetInterlock,
    StopCommissioning,
)
from schemas.topics import TopicKind, topic
from services.runtime.service import Outgoing
from services.supervisor.board import Board, LockedOut
from services.supervisor.commission import Course
from services.supervisor.findings import Commissioned, CourseKept
from services.supervisor.memory import Answered
from services.supervisor.outlets import SOURCE
from services.supervisor.trips import Reset

ANSWERS_KEPT = 300
CUT_SHORT = "The supervisor was started anew, or the chamber's block was changed: nothing was found. Run it again."


class Orders:
    """Answers each request once; the same id again gets the same answer and changes nothing."""

    def __init__(self, site: str, answered: tuple[Answered, ...] = ()) -> None:
        self._site = site
        self._answered = {one.reply.id: one for one in answered}

    def answered(self) -> tuple[Answered, ...]:
        """The answers remembered."""
        return tuple(self._answered.values())

    def take(self, request: RequestBase, boards: Mapping[str, Board], now: datetime) -> list[Outgoing]:
        """Carries a request out, or refuses it, and writes it to the journal."""
        known = self._answered.get(request.id)
        if known is not None:
            return [self._reply(known)]
        reply = _answer(request, boards, now)
        answered = Answered(client=request.client, reply=reply)
        self._remember(answered)
        entry = _journal(request, reply, now)
        return [self._reply(answered), Outgoing(topic_for(self._site, entry, SOURCE), entry)]

    def course_ended(self, board: Board, now: datetime) -> list[Outgoing]:
        """Writes the result of a guided first run to the journal once it is done; ordinary control goes on."""
        course = board.course
        if course is None or not course.done:
            return []
        found = course.result(now, board.knowledge())
        board.course, board.commissioned = None, found
        return [self._entry(board, "chamber-commissioned", CourseKept(who=found.who, began=found.began), found, now)]

    def course_cut_short(self, board: Board, now: datetime) -> list[Outgoing]:
        """Says of a guided first run that it was under way at a restart, and is over."""
        kept, board.cut_short = board.cut_short, None
        return [] if kept is None else [self._entry(board, "commissioning-cut-short", kept, None, now)]

    def _entry(
        self, board: Board, event: str, course: CourseKept, found: Commissioned | None, now: datetime
    ) -> Outgoing:
        entry = JournalEntry(
            at=now,
            source=SOURCE,
            id=f"{SOURCE}-{board.name}-{event}-{int(course.began.timestamp())}",
            event=event,
            who=course.who,
            why=found.text() if found is not None else CUT_SHORT,
            chamber=board.name,
            facts=found.facts() if found is not None else {},
        )
        return Outgoing(topic_for(self._site, entry, SOURCE), entry)

    def _remember(self, answered: Answered) -> None:
        self._answered[answered.reply.id] = answered
        while len(self._answered) > ANSWERS_KEPT:
            del self._answered[next(iter(self._answered))]

    def _reply(self, answered: Answered) -> Outgoing:
        reply = answered.reply
        return Outgoing(topic(self._site, TopicKind.REPLY, answered.client, reply.id), reply)


def _answer(request: RequestBase, boards: Mapping[str, Board], now: datetime) -> Reply:
    name = getattr(request, "chamber", "")
    board, act = boards.get(name), ACTS.get(type(request))
    if act is None:
        return _no(request, now, f"the supervisor cannot do '{getattr(request, 'verb', '?')}'", "")
    if board is None:
        return _no(request, now, f"'{name}' is no chamber here", f"chambers: {', '.join(boards)}")
    return act(request, board, now)


def _lock(request: Any, board: Board, now: datetime) -> Reply:
    if request.until is not None and request.until <= now:
        return _no(request, now, f"the lock-out's end {request.until:%Y-%m-%d %H:%M} UTC is past", "give a later end")
    board.lock = LockedOut(request.who, request.why, now, request.until)
    return _yes(request, now, "Outputs go off. Unplug what you work on: this is no lock on the mains.")


def _unlock(request: Any, board: Board, now: datetime) -> Reply:
    if board.lock is None:
        return _yes(request, now, "It was not locked out.")
    board.lock = None
    return _yes(request, now, "The lock-out is over.")


def _reset(request: Any, board: Board, now: datetime) -> Reply:
    row = board.trips.rows.get(request.interlock)
    if row is None:
        return _no(request, now, f"'{request.interlock}' is no interlock", f"interlocks: {', '.join(board.trips.rows)}")
    if row.reset is not Reset.BY_PERSON:
        return _no(request, now, f"'{row.id}' is reset {row.reset}", "remove its cause")
    if not board.trips.is_tripped(row.id):
        return _yes(request, now, "It had not tripped.")
    board.trips.reset(row.id)
    return _yes(request, now, "Reset; it trips again if its cause is still there.")


def _commission(request: Any, board: Board, now: datetime) -> Reply:
    course = Course(board.name, board.chamber, request.who, now)
    if board.course is not None:
        return _no(request, now, "a guided first run is under way here", "let it end, or stop it")
    if board.lock is not None:
        return _no(request, now, "the chamber is locked out", "clear the lock-out first")
    if not course.sides or board.facts.blind:
        return _no(request, now, "there is no output to move, or no probe that answers", "look at probes and outputs")
    board.course = course
    return _yes(request, now, f"{course.says()} Limits and interlocks stay in force; stop it whenever you like.")


def _stop_commissioning(request: Any, board: Board, now: datetime) -> Reply:
    if board.course is None:
        return _yes(request, now, "No guided first run was under way.")
    board.course.stop()
    return _yes(request, now, "Stopped; ordinary control goes on.")


ACTS: dict[type[RequestBase], Callable[[Any, Board, datetime], Reply]] = {
    LockOut: _lock,
    ClearLockOut: _unlock,
    ResetInterlock: _reset,
    Commission: _commission,
    StopCommissioning: _stop_commissioning,
}
_EVENTS: dict[type[RequestBase], str] = {
    LockOut: "chamber-locked-out",
    ClearLockOut: "lock-out-cleared",
    ResetInterlock: "interlock-reset",
    Commission: "commissioning-began",
    StopCommissioning: "commissioning-stopped",
}


def _yes(request: RequestBase, now: datetime, detail: str) -> Accepted:
    return Accepted(at=now, source=SOURCE, id=request.id, detail=detail)


def _no(request: RequestBase, now: datetime, reason: str, remedy: str) -> Refused:
    return Refused(at=now, source=SOURCE, id=request.id, reason=reason, remedy=remedy)


def _journal(request: RequestBase, reply: Reply, now: datetime) -> JournalEntry:
    refusal = reply.reason if isinstance(reply, Refused) else None
    return JournalEntry(
        at=now,
        source=SOURCE,
        id=f"{SOURCE}-{request.id}",
        event=_EVENTS.get(type(request), "request") if refusal is None else "request-refused",
        who=request.who,
        why=request.why if refusal is None else refusal,
        chamber=getattr(request, "chamber", None),
    )
