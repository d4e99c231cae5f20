"""The engine under the interlock table: when a rule trips, how long it stays, what it bars."""

from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import NamedTuple

from schemas.conditions import ConditionKind
from schemas.plant import Chamber
from services.supervisor.facts import Facts
from services.supervisor.roles import Bars, all_of


class Reset(StrEnum):
    """What ends a trip."""

    BY_ITSELF = "by itself"
    AT_TIME = "by itself, when its time is over"
    BY_PERSON = "by a person"


@dataclass(frozen=True, slots=True, kw_only=True)
class Interlock:
    """One row of the table.

    `trips(facts, tripped)` says whether the cause holds, with whatever hysteresis it wants; None where a guard or the
    bridge judges. The cause must hold for `after_s`; a trip lasts `lasts_s` at least. `outranks_run`: it stops a
    compressor within its minimum run. `tells` is the condition it raises, which stays until `proven` where that is
    given. `applies` says in which chambers it can trip at all.
    """

    id: str
    reason: str
    cause: str
    effect: str
    bars: Bars = Bars.NOTHING
    reset: Reset = Reset.BY_ITSELF
    trips: Callable[[Facts, bool], bool] | None = None
    judge: str = "the table"
    proven: Callable[[Facts], bool] | None = None
    after_s: float = 0.0
    lasts_s: float = 0.0
    outranks_run: bool = False
    tells: ConditionKind | None = None
    applies: Callable[[Chamber], bool] = lambda chamber: True
    figures: tuple[tuple[str, str], ...] = ()
    unit: str = ""


class Trip(NamedTuple):
    """Where one interlock of one chamber stands; times are steady seconds, `since` is the wall's."""

    pending_s: float | None = None
    tripped_s: float | None = None
    since: datetime | None = None
    told: bool = False

    @property
    def tripped(self) -> bool:
        """Whether it bars."""
        return self.tripped_s is not None


QUIET = Trip()


def next_trip(row: Interlock, trip: Trip, holds: bool, now_s: float, now: datetime) -> Trip:
    """Where an interlock goes from `trip` when its cause holds or not. Only a person ends a latched one."""
    if trip.tripped_s is not None:
        if holds or row.reset is Reset.BY_PERSON or now_s < trip.tripped_s + row.lasts_s:
            return trip
        return Trip(None, None, trip.since, True) if row.proven and trip.told else QUIET
    if not holds:
        return trip if trip.pending_s is None else trip._replace(pending_s=None)
    pending_s = now_s if trip.pending_s is None else trip.pending_s
    if now_s < pending_s + row.after_s:
        return trip if trip.pending_s is not None else trip._replace(pending_s=pending_s)
    return Trip(pending_s, now_s, trip.since or now, row.tells is not None)


class Trips:
    """All interlocks of one chamber. `active` are those that are tripped, in the table's order."""

    def __init__(self, table: Sequence[Interlock], chamber: Chamber) -> None:
        self.rows = {row.id: row for row in table}
        self.states: dict[str, Trip] = {}
        self.bars = 0
        self.version = 0
        self.active: list[tuple[Interlock, Trip]] = []
        self.stops = 0
        self._judged = tuple((row, row.trips) for row in table if row.trips is not None and row.applies(chamber))

    def judge(self, facts: Facts, now_s: float, now: datetime) -> bool:
        """Takes the facts in; returns whether any interlock changed."""
        states, changed = self.states, False
        for row, trips in self._judged:
            before = states.get(row.id) if states else None
            if before is None:
                if not trips(facts, False):
                    continue
                after, before = self._next(row, QUIET, True, facts, now_s, now), QUIET
            else:
                after = self._next(row, before, trips(facts, before.tripped_s is not None), facts, now_s, now)
            if after is not before:
                changed |= after.tripped_s != before.tripped_s or after.told is not before.told
                self._put(row.id, after)
        if changed:
            self._sum_up()
        return changed

    def _next(self, row: Interlock, trip: Trip, holds: bool, facts: Facts, now_s: float, now: datetime) -> Trip:
        after = next_trip(row, trip, holds, now_s, now)
        if after.told and after.tripped_s is None and row.proven is not None and row.proven(facts):
            return after._replace(told=False, since=None)
        return after

    def _put(self, row_id: str, trip: Trip) -> None:
        if trip == QUIET:
            self.states.pop(row_id, None)
        else:
            self.states[row_id] = trip

    def _sum_up(self) -> None:
        self.version += 1
        self.active = [(row, trip) for row in self.rows.values() if (trip := self.states.get(row.id, QUIET)).tripped]
        self.bars = int(all_of(row.bars for row, _ in self.active))
        self.stops = int(all_of(row.bars for row, _ in self.active if row.outranks_run))

    def told(self) -> list[tuple[Interlock, Trip]]:
        """Those whose condition stands, in the table's order."""
        return [(row, trip) for row in self.rows.values() if (trip := self.states.get(row.id, QUIET)).told]

    def tells_any(self, kinds: Container[ConditionKind]) -> bool:
        """Whether a condition of these kinds stands."""
        return bool(self.states) and any(row.tells in kinds for row, _ in self.told())

    def is_tripped(self, row_id: str) -> bool:
        """Whether this one bars."""
        return self.states.get(row_id, QUIET).tripped_s is not None

    def reset(self, row_id: str) -> None:
        """A person has looked. It trips again at once if its cause still holds."""
        self.states.pop(row_id, None)
        self._sum_up()

    def latch(self, row_id: str, since: datetime) -> None:
        """A trip that was latched before a restart."""
        row = self.rows.get(row_id)
        if row is not None and row.reset is Reset.BY_PERSON:
            self.states[row_id] = Trip(0.0, 0.0, since, row.tells is not None)
            self._sum_up()
