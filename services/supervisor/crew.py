"""The boards of a plant: built from the file, carried over to a new file, kept in and recalled from a snapshot."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial

from schemas.plant import Chamber, Plant
from services.supervisor.asked import Asked, coolant_freezes_at, source_of
from services.supervisor.board import Board, LockedOut, rules_of
from services.supervisor.control import Controller, Rules
from services.supervisor.findings import CourseKept
from services.supervisor.interlocks import Row
from services.supervisor.memory import ChamberKept, LockOutKept
from services.supervisor.outlets import Lease
from services.supervisor.trips import Reset


def built(
    plant: Plant, controllers: Callable[[Rules], Controller], table: Sequence[Row], lease: Lease
) -> dict[str, Board]:
    """A board for each chamber, joined to its reservoir."""
    boards = {
        name: Board(plant.site.name, name, chamber, partial(controllers, _rules(plant, chamber)), table, lease)
        for name, chamber in plant.chambers.items()
    }
    _join(plant, boards)
    return boards


def carried_over(before: Mapping[str, Board], fresh: dict[str, Board], now_s: float) -> dict[str, Board]:
    """The boards of a new plant file: the old ones where the block is the same, else new ones that remember."""
    boards = {name: _heir(before.get(name), board, now_s) for name, board in fresh.items()}
    for name, board in boards.items():
        source = fresh[name].source
        board.source = boards[source.name] if source is not None else None
        board.drawing = tuple(boards[one.name] for one in fresh[name].drawing)
    return boards


def kept(board: Board, now_s: float) -> ChamberKept:
    """What must survive of one chamber."""
    lock = board.lock
    return ChamberKept(
        setpoint=board.asked.setpoint,
        programmed=board.asked.programmed,
        lock=LockOutKept(who=lock.who, why=lock.why, since=lock.since, until=lock.until) if lock is not None else None,
        latched={row.id: trip.since for row, trip in board.trips.active if row.reset is Reset.BY_PERSON and trip.since},
        starts={
            name: tuple(now_s - start for start in outlet.relay.starts)
            for name, outlet in board.outlets.items()
            if outlet.compressor
        },
        course=_course(board),
        commissioned=board.commissioned,
        learnt=dict(board.controller.snapshot()),
    )


def recalled(board: Board, memory: ChamberKept | None, now_s: float) -> None:
    """Gives a board what was kept of it; of its outputs nothing is known."""
    memory = memory or ChamberKept()
    board.asked = Asked(memory.setpoint, memory.programmed)
    lock = memory.lock
    board.lock = LockedOut(lock.who, lock.why, lock.since, lock.until) if lock is not None else None
    board.cut_short, board.commissioned = memory.course, memory.commissioned
    for row_id, since in memory.latched.items():
        board.trips.latch(row_id, since)
    for name, outlet in board.outlets.items():
        outlet.forget(now_s, tuple(now_s - age for age in memory.starts.get(name, ())))
    if memory.learnt:
        board.recall(memory.learnt)


def _course(board: Board) -> CourseKept | None:
    course = board.course
    return board.cut_short if course is None else CourseKept(who=course.who, began=course.began)


def _rules(plant: Plant, chamber: Chamber) -> Rules:
    source = source_of(plant, chamber)
    bath = plant.chambers[source] if source is not None else chamber
    return rules_of(chamber, coolant_freezes_at(bath) if bath.kind == "reservoir" else None)


def _join(plant: Plant, boards: Mapping[str, Board]) -> None:
    for name, board in boards.items():
        source = source_of(plant, plant.chambers[name])
        board.source = boards[source] if source is not None else None
    for board in boards.values():
        board.drawing = tuple(one for one in boards.values() if one.source is board)


def _heir(old: Board | None, new: Board, now_s: float) -> Board:
    if old is None:
        recalled(new, None, now_s)
        return new
    if old.chamber == new.chamber:
        return old
    recalled(new, kept(old, now_s), now_s)
    for name, outlet in new.outlets.items():
        if name in old.outlets and old.outlets[name].output == outlet.output:
            outlet.inherit(old.outlets[name])
    return new
