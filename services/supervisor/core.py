"""The supervisor's core: readings, setpoints and reports in; commands, statuses and conditions out."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

from schemas.alarms import Condition
from schemas.base import ServiceName
from schemas.contract import topic_for
from schemas.control import Setpoint
from schemas.plant import Plant
from schemas.telemetry import READING_MODELS, Report
from schemas.topics import TopicKind, every
from services.runtime.service import Durability, Incoming, Outgoing
from services.supervisor import words
from services.supervisor.board import Board
from services.supervisor.circuits import SharedCircuit, circuits_of
from services.supervisor.conditions import Conditions
from services.supervisor.control import Controller, Rules
from services.supervisor.controllers import controller_for
from services.supervisor.crew import built, carried_over, kept, recalled
from services.supervisor.interlocks import INTERLOCKS, Row, guards_say, in_force
from services.supervisor.memory import SupervisorState
from services.supervisor.orders import ACTS, Orders
from services.supervisor.outlets import SOURCE, Lease
from services.supervisor.restraint import restrain, wish
from services.supervisor.steady import Steady

PERIOD_S = 10.0
"""How often each chamber is looked at; what cannot wait is acted on when its reading comes."""
SETTLE_S = 3.0
"""After a start, before the first look: time for what the broker keeps to arrive."""
STATUS_EVERY_S = 60.0


class Supervisor:
    """Controls every chamber of a plant. `table` and `controllers` are handed in by tests and rehearsals."""

    name = ServiceName.SUPERVISOR
    durability = Durability.LAZILY
    State = SupervisorState

    def __init__(
        self,
        plant: Plant,
        restored: SupervisorState | None = None,
        *,
        lease_s: float = 60.0,
        period_s: float = PERIOD_S,
        table: Sequence[Row] = INTERLOCKS,
        controllers: Callable[[Rules], Controller] = controller_for,
    ) -> None:
        self._restored = restored or SupervisorState()
        self._table = tuple(table)
        self._in_force = in_force(self._table)
        self._guards_say = guards_say(self._table)
        self._controllers = controllers
        self._lease = Lease(lease_s, period_s)
        self._period_s = period_s
        self._steady: Steady | None = None
        self._due_s = self._settled_s = SETTLE_S
        self._said: dict[str, tuple[words.Key, float]] = {}
        self.conditions = Conditions(plant.site.name, self._restored.conditions)
        self._orders = Orders(plant.site.name, self._restored.answered)
        self._handlers: dict[type[Any], Callable[[Any, Incoming, datetime], Iterable[Outgoing]]] = {
            **dict.fromkeys(READING_MODELS.values(), self._take_reading),
            Report: self._take_report,
            Setpoint: self._take_setpoint,
            Condition: self._take_condition,
            **dict.fromkeys(ACTS, self._take_request),
        }
        self.plant = plant
        self.boards: dict[str, Board] = {}
        self._circuits: tuple[SharedCircuit, ...] = ()
        self._adopt(plant, built(plant, self._controllers, self._table, self._lease))

    def _adopt(self, plant: Plant, boards: dict[str, Board]) -> None:
        self.plant = plant
        self.boards = boards
        self._circuits = circuits_of(plant, boards)
        self._in_order = sorted(boards.values(), key=lambda board: bool(board.drawing))

    @property
    def listens(self) -> tuple[str, ...]:
        """MQTT topic filters."""
        site = self.plant.site.name
        kinds = (TopicKind.READING, TopicKind.REPORT, TopicKind.SETPOINT, TopicKind.CONDITION)
        return (*(every(site, kind) for kind in kinds), every(site, TopicKind.REQUEST, SOURCE))

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """Takes up what was known before; says nothing before the first readings had time to arrive."""
        self._steady = Steady(now)
        for name, board in self.boards.items():
            recalled(board, self._restored.chambers.get(name), 0.0)
        return self._cut_short(now)

    def _cut_short(self, now: datetime) -> list[Outgoing]:
        return [one for board in self.boards.values() for one in self._orders.course_cut_short(board, now)]

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """Conditions that stand and every status; what the bridge did meanwhile is heard before the next look."""
        now_s = self._reach(now)
        self._due_s = self._settled_s = now_s + SETTLE_S
        looked = [board for board in self.boards.values() if board.decision is not None]
        return [*self.conditions.again(), *(self._status(board, now_s, now) for board in looked)]

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """Takes one message in; what is not for the supervisor changes nothing."""
        handler = self._handlers.get(type(incoming.body))
        return handler(incoming.body, incoming, now) if handler is not None else ()

    def _take_reading(self, reading: Any, _: Incoming, now: datetime) -> Iterable[Outgoing]:
        board = self.boards.get(reading.chamber)
        if (
            board is not None
            and board.take(reading, now)
            and board.decision is not None
            and self._reach(now) >= self._settled_s
        ):
            return self._look_at((board,), self._reach(now), now, anew=False)
        return ()

    def _take_report(self, report: Report, _: Incoming, now: datetime) -> Iterable[Outgoing]:
        board = self.boards.get(report.chamber)
        if board is not None:
            board.hear(report, self._reach(now), now)
        return ()

    def _take_setpoint(self, setpoint: Setpoint, _: Incoming, now: datetime) -> Iterable[Outgoing]:
        board = self.boards.get(setpoint.chamber)
        if board is not None and board.asked.take(setpoint, now) and board.decision is not None:
            self._due_s = min(self._due_s, self._reach(now))
        return ()

    def _take_condition(self, condition: Condition, incoming: Incoming, _: datetime) -> Iterable[Outgoing]:
        if incoming.retained and condition.active and condition.source == SOURCE:
            self.conditions.adopt(condition)
        return ()

    def _take_request(self, request: Any, _: Incoming, now: datetime) -> Iterable[Outgoing]:
        answers = self._orders.take(request, self.boards, now)
        board = self.boards.get(request.chamber)
        if board is None or board.decision is None:
            return answers
        return [*answers, *self._look_at((board,), self._reach(now), now)]

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """Looks at every chamber when it is time."""
        now_s = self._reach(now)
        if now_s < self._due_s and (now_s < self._settled_s or not self._jumped):
            return ()
        self._due_s = now_s + 0.95 * self._period_s
        return self._look_at(self._in_order, now_s, now)

    def clock_stepped(self, by: timedelta, now: datetime) -> Iterable[Outgoing]:
        """The wall clock was set: timers of machines do not notice."""
        if self._steady is not None:
            self._steady.stepped(by)
        return ()

    def plant_changed(self, plant: Plant, now: datetime) -> Iterable[Outgoing]:
        """Follows a new plant file; chambers whose block is the same are not disturbed."""
        now_s = self._reach(now)
        fresh = built(plant, self._controllers, self._table, self._lease)
        gone = [board for name, board in self.boards.items() if name not in fresh]
        parting = [message for board in self.boards.values() for message in board.part_from(fresh, now_s, now)]
        self._adopt(plant, carried_over(self.boards, fresh, now_s))
        ended = [one for board in gone for one in self.conditions.end_all(board.name, now)]
        self._due_s = now_s
        return [*parting, *ended, *self._cut_short(now)]

    def plant_refused(self, text: str, now: datetime) -> Iterable[Outgoing]:
        """The old plant goes on; the host tells people."""
        return ()

    def stop(self, now: datetime) -> Iterable[Outgoing]:
        """A clean shutdown releases every output."""
        now_s = self._reach(now)
        return [message for board in self.boards.values() for message in board.release(now_s, now)]

    def snapshot(self) -> SupervisorState:
        """What must survive."""
        now_s = self._steady.elapsed_s if self._steady is not None else 0.0
        return SupervisorState(
            chambers={name: kept(board, now_s) for name, board in self.boards.items()},
            conditions=self.conditions.standing(),
            answered=self._orders.answered(),
        )

    @property
    def _jumped(self) -> bool:
        return self._steady is not None and self._steady.jumped

    def _reach(self, now: datetime) -> float:
        if self._steady is None:
            self._steady = Steady(now)
        return self._steady.reach(now)

    def _look_at(
        self, boards: Sequence[Board], now_s: float, now: datetime, *, anew: bool = True
    ) -> Iterator[Outgoing]:
        """Interlocks always; control decides `anew` only where there is time for it, and stands by its wish else."""
        changed = []
        for board in boards:
            facts, decision = board.look(now_s, now), board.decision
            first = decision is None
            if decision is None or anew:
                wished = wish(board, board.sight(facts, now_s, now))
                board.decision = decision = board.guided(wished, now_s, now)
                board.want = decision.want
            if board.trips.judge(facts, now_s, now) or first:
                changed.append(board)
            restrain(board, decision, now_s, self._in_force)
        for circuit in self._circuits:
            circuit.apply(now_s, self._in_force)
        return self._tell(boards, changed, now_s, now)

    def _tell(
        self, boards: Sequence[Board], changed: Sequence[Board], now_s: float, now: datetime
    ) -> Iterator[Outgoing]:
        """Commands first: they leave while the words about them are still being found."""
        off: list[Outgoing] = []
        on: list[Outgoing] = []
        for board in boards:
            due = [outlet for outlet in board.outlets.values() if outlet.is_due(now_s)]
            why = words.why(board, now_s, self._guards_say) if due else ""
            for outlet in due:
                (on if outlet.wanted > 0.0 else off).append(outlet.command(now_s, now, why))
            for outlet in board.outlets.values():
                outlet.note_hold(now)
        yield from (*off, *on)
        for board in changed:
            yield from self.conditions.update(board, now)
        for board in boards:
            if board.course is not None:
                yield from self._orders.course_ended(board, now)
        yield from self._statuses(boards, now_s, now)

    def _statuses(self, boards: Sequence[Board], now_s: float, now: datetime) -> list[Outgoing]:
        due = []
        for board in boards:
            key, before = words.substance(board, now_s), self._said.get(board.name)
            if before is None or before[0] != key or now_s - before[1] >= STATUS_EVERY_S - 1.0:
                self._said[board.name] = (key, now_s)
                due.append(self._status(board, now_s, now))
        return due

    def _status(self, board: Board, now_s: float, now: datetime) -> Outgoing:
        body = words.status(board, now_s, now, self._guards_say)
        return Outgoing(topic_for(self.plant.site.name, body), body, retain=True)


def build(plant: Plant, restored: SupervisorState | None = None, **handed_in: Any) -> Supervisor:
    """The composition root: the control, guards and interlocks that ship."""
    return Supervisor(plant, restored, **handed_in)
