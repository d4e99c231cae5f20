"""Circuits that outputs share: the last word before a command goes out."""

from collections.abc import Iterable, Mapping

from schemas.plant import Circuit, Plant
from services.supervisor import guards
from services.supervisor.board import Board
from services.supervisor.guards import Load
from services.supervisor.outlets import Outlet

RUNNING_BONUS = 0.3
"""How much more it must hurt another chamber to wait before a running machine gives way to it."""


class SharedCircuit:
    """One circuit and the outputs on it."""

    def __init__(self, circuit: Circuit, members: Iterable[tuple[Board, Outlet]]) -> None:
        self.limit_w = circuit.voltage_v * circuit.limit_a
        self._members = tuple(members)
        self._started_s = -guards.STAGGER_S
        self._checked = False

    def apply(self, now_s: float, in_force: frozenset[str]) -> None:
        """Forbids what there is no room for. With no start wanted there is nothing to decide."""
        if self._checked and not any(out.wanted > 0.0 and out.relay.level <= 0.0 for _, out in self._members):
            return
        self._checked = True
        loads = [_load(board, outlet, now_s) for board, outlet in self._members]
        may_stagger = now_s - self._started_s >= guards.STAGGER_S
        barred = guards.share(loads, self.limit_w, may_stagger, in_force)
        for board, outlet in self._members:
            if outlet.key in barred:
                outlet.forbid(barred[outlet.key])
                board.facts.guarded = outlet.held_by
        if any(load.staggered and load.wanted and not load.on and load.key not in barred for load in loads):
            self._started_s = now_s


def circuits_of(plant: Plant, boards: Mapping[str, Board]) -> tuple[SharedCircuit, ...]:
    """Every circuit that has outputs on it."""
    return tuple(
        SharedCircuit(circuit, members)
        for name, circuit in plant.circuits.items()
        if (members := [(board, out) for board in boards.values() for out in board.outlets.values() if out.on(name)])
    )


def _load(board: Board, outlet: Outlet, now_s: float) -> Load:
    relay, output, on = outlet.relay, outlet.output, outlet.relay.level > 0.0
    demand = board.decision.demand if board.decision is not None else 0.0
    level = max(outlet.wanted, relay.level) or 1.0
    return Load(
        key=outlet.key,
        watts=output.power_w * level,
        start_watts=output.power_w * output.inrush * level,
        rank=(board.chamber.priority, -demand - (RUNNING_BONUS if on else 0.0)),
        wanted=outlet.wanted > 0.0,
        on=on,
        flows=relay.may_be_on(now_s),
        stays=outlet.held_by == guards.RUN or (outlet.compressor and relay.on_for(now_s) < outlet.times.run_s and on),
        staggered=outlet.compressor,
    )
