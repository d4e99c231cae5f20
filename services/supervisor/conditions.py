"""Conditions that the supervisor keeps: published when they become true and when they stop being true."""

from collections.abc import Iterable
from datetime import datetime

from schemas.alarms import Condition
from schemas.conditions import condition_name
from schemas.contract import topic_for
from services.runtime.service import Outgoing
from services.supervisor.board import Board
from services.supervisor.outlets import SOURCE
from services.supervisor.trips import Interlock, Trip


class Conditions:
    """Those of all chambers, by chamber and name; what a chamber no longer raises is told as ended."""

    def __init__(self, site: str, restored: Iterable[Condition] = ()) -> None:
        self._site = site
        self._standing = {(one.chamber, one.name): one for one in restored}

    def adopt(self, condition: Condition) -> None:
        """One of ours that the broker still keeps from before; the next look at its chamber ends or keeps it."""
        self._standing.setdefault((condition.chamber, condition.name), condition)

    def standing(self) -> tuple[Condition, ...]:
        """All that are true now."""
        return tuple(self._standing.values())

    def update(self, board: Board, now: datetime) -> list[Outgoing]:
        """What to publish after a chamber's interlocks changed."""
        raised: dict[str, Condition] = {}
        for row, trip in board.trips.told():
            condition = _condition(board, row, trip, now)
            raised.setdefault(condition.name, condition)
        standing = self._standing
        ended = [one for key, one in standing.items() if key[0] == board.name and key[1] not in raised]
        begun = [one for one in raised.values() if (board.name, one.name) not in standing]
        return [self._end(one, now) for one in ended] + [self._begin(one) for one in begun]

    def end_all(self, chamber: str, now: datetime) -> list[Outgoing]:
        """A chamber is gone."""
        return [self._end(one, now) for key, one in tuple(self._standing.items()) if key[0] == chamber]

    def again(self) -> list[Outgoing]:
        """All that stand, for a broker that may have forgotten."""
        return [self._out(one) for one in self._standing.values()]

    def _begin(self, condition: Condition) -> Outgoing:
        self._standing[condition.chamber, condition.name] = condition
        return self._out(condition)

    def _end(self, condition: Condition, now: datetime) -> Outgoing:
        self._standing.pop((condition.chamber, condition.name))
        return self._out(condition.model_copy(update={"active": False, "at": now, "since": now}))

    def _out(self, condition: Condition) -> Outgoing:
        return Outgoing(topic_for(self._site, condition), condition, retain=True)


def _condition(board: Board, row: Interlock, trip: Trip, now: datetime) -> Condition:
    assert row.tells is not None
    figures = {name: getattr(board.facts, field) for name, field in row.figures}
    unit = row.unit if figures.get("value") is not None else ""
    return Condition(
        at=now,
        source=SOURCE,
        chamber=board.name,
        name=condition_name(row.tells),
        active=True,
        since=trip.since or now,
        detail=board.lock.words() if board.lock is not None and row.id == "locked-out" else row.reason,
        unit=unit,
        **figures,
    )
