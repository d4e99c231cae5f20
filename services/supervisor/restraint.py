"""From a wish to what outputs may do: interlocks first, then what machines demand of them."""

from collections.abc import Iterable, Sequence
from math import isfinite

from services.supervisor import guards
from services.supervisor.board import Board
from services.supervisor.control import Decision, Estimate, Sight
from services.supervisor.guards import Relay, Verdict
from services.supervisor.outlets import Outlet
from services.supervisor.roles import Bars

COOL, HEAT, MOVE, GAS = int(Bars.COOL), int(Bars.HEAT), int(Bars.MOVE), int(Bars.GAS)
UNASKED = Decision(0.0, 0.0, 0.0, 0.0, "Nobody has asked for a temperature.", Estimate(None, 99.0, None, 0.0, 0.0))
OFF = Verdict(0.0)


def wish(board: Board, sight: Sight | None) -> Decision:
    """What control wants: its own controller's wish, or the plain band's where that has none that makes sense."""
    if sight is None:
        return UNASKED
    if sight.beer_c is not None:
        decision = _attempt(board, sight)
        if decision is not None:
            return decision
    return board.fallback.decide(sight)


def _attempt(board: Board, sight: Sight) -> Decision | None:
    try:
        decision = board.controller.decide(sight)
        sound = 0.0 <= decision.cool <= 1.0 and 0.0 <= decision.heat <= 1.0 and 0.0 <= decision.fan <= 1.0
        return decision if sound and isfinite(decision.demand) else None
    except (ArithmeticError, ValueError, LookupError, TypeError, AttributeError):
        return None


def restrain(board: Board, decision: Decision, now_s: float, in_force: frozenset[str]) -> None:
    """Leaves of a wish what interlocks and guards allow, and tells each outlet which guard held it back."""
    facts, bars, stops = board.facts, board.trips.bars, board.trips.stops
    cool = 0.0 if bars & COOL else decision.cool
    heat = 0.0 if bars & HEAT else decision.heat
    facts.wished = (COOL if decision.cool else 0) | (HEAT if decision.heat else 0) | (MOVE if decision.fan else 0)
    wait_s, cooling, heating = guards.CHANGE_OVER_S, board.cooling, board.heating
    hot = _in_the_way(heating, board, "heating-welded") if cool else ()
    for outlet in cooling:
        against = () if outlet.relay.level > 0.0 else hot
        allowed = guards.exclusion(against, outlet.in_steps(cool), now_s, wait_s, in_force)
        outlet.want(_of_machine(outlet, allowed, now_s, bool(stops & COOL), in_force))
    cold = _in_the_way(cooling, board, "cooling-welded") if heat else ()
    taken = heat > 0.0 and guards.EXCLUSION in in_force and any(outlet.wanted > 0.0 for outlet in cooling)
    for outlet in heating:
        fair = Verdict(0.0, guards.EXCLUSION) if taken else None
        against = () if outlet.relay.level > 0.0 else cold
        outlet.want(fair or guards.exclusion(against, outlet.in_steps(heat), now_s, wait_s, in_force))
    facts.guarded = next((outlet.held_by for outlet in (*cooling, *heating) if outlet.held_by), "")
    if len(cooling) + len(heating) < len(board.outlets):
        _others(board, 0.0 if bars & MOVE else decision.fan, 0.0 if bars & GAS else 1.0)


def _of_machine(outlet: Outlet, allowed: Verdict, now_s: float, must_stop: bool, in_force: frozenset[str]) -> Verdict:
    if not outlet.compressor:
        return allowed
    verdict = guards.compressor(outlet.relay, allowed.level, now_s, outlet.times, must_stop, in_force)
    return allowed if allowed.held_by and verdict.level <= 0.0 else verdict


def _in_the_way(outlets: Sequence[Outlet], board: Board, welded: str) -> Iterable[Relay]:
    """Relays of the other side, for a start; what runs already was not excluded when it began.

    One that is told off and stuck on does not keep this side from protecting the beer.
    """
    stuck = board.trips.is_tripped(welded)
    return [outlet.relay for outlet in outlets if not stuck or outlet.relay.level > 0.0]


def _others(board: Board, move: float, gas: float) -> None:
    for outlet in board.outlets.values():
        if outlet.role == MOVE:
            outlet.want(Verdict(outlet.in_steps(move)))
        elif outlet.role == GAS:
            outlet.want(Verdict(gas))
