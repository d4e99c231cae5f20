"""Every behaviour of the guards and of an interlock, searched exhaustively up to a horizon.

The model moves in steps of a minute with a rest of five, a run of three and a lease of one; at each step anything may
happen that control, the bridge, a restart or a protection can do. Properties are checked on what the relay really does.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import product

from services.supervisor import guards
from services.supervisor.guards import Relay, Times
from services.supervisor.interlocks import INTERLOCKS
from services.supervisor.trips import QUIET, Reset, Trip, next_trip

MINUTE = 60.0
TIMES = Times(rest_s=5 * MINUTE, run_s=3 * MINUTE, starts_per_hour=3)
NOW = datetime(2026, 3, 1, tzinfo=UTC)
HORIZON = 16


@dataclass(frozen=True, slots=True)
class World:
    """What the supervisor believes, and what really is: the machine's level and minutes since it last changed.

    `dropped`: the bridge switched it off at its lease's end, and lets a compressor rest then.
    """

    relay: Relay
    really_on: bool
    lease_left: int
    minutes: int
    dropped: bool = False

    def at(self, now_s: float) -> "World":
        """The same with times told from now, so that equal situations are equal."""
        relay = self.relay
        shifted = replace(
            relay,
            began_s=max(relay.began_s - now_s, -4 * MINUTE) if relay.level else 0.0,
            ends_s=max(relay.ends_s - now_s, -6 * MINUTE),
            starts=tuple(start - now_s for start in relay.starts),
        )
        return replace(self, relay=shifted, minutes=min(self.minutes, 6))


def _successors(world: World) -> Iterator[tuple[World, bool]]:
    """All that may happen within a minute; with it, whether a protection forced the machine off."""
    for wanted, must_stop, delivered, heard, killed in product(
        (0.0, 1.0), (False, True), (False, True), (False, True), (False, True)
    ):
        yield _next(world, wanted, must_stop, delivered, heard, killed), must_stop


def _next(world: World, wanted: float, must_stop: bool, delivered: bool, heard: bool, killed: bool) -> World:
    relay, really_on, lease = world.relay, world.really_on, world.lease_left
    if killed:
        relay = guards.unknown(0.0, MINUTE, relay.starts)
    verdict = guards.compressor(relay, 0.0 if must_stop else wanted, 0.0, TIMES, must_stop)
    relay = guards.told(relay, verdict.level, 0.0, MINUTE)
    dropped = world.dropped
    if delivered and not (verdict.level and not really_on and dropped and world.minutes < 5):
        really_on, lease, dropped = verdict.level > 0.0, 1 if verdict.level > 0.0 else 0, False
    elif really_on and lease == 0:
        really_on, dropped = False, True
    if heard and not really_on:
        relay = guards.heard_off(relay, 0.0)
    minutes = 0 if really_on is not world.really_on else world.minutes
    moved = World(relay, really_on, max(0, lease - 1), minutes + 1, dropped)
    return moved.at(MINUTE)


def _reachable(start: World) -> Iterator[tuple[World, World, bool]]:
    """Every step from a state that can be reached within the horizon."""
    seen, edge = {start}, deque([(start, 0)])
    while edge:
        world, depth = edge.popleft()
        for after, forced in _successors(world):
            yield world, after, forced
            if after not in seen and depth < HORIZON:
                seen.add(after)
                edge.append((after, depth + 1))


def _short_rests(start: World) -> int:
    return sum(
        not before.really_on and after.really_on and before.minutes < 5 for before, after, _ in _reachable(start)
    )


RUN_BEFORE = World(guards.unknown(0.0, MINUTE), True, 1, 6)


def test_no_interleaving_starts_a_compressor_within_its_rest() -> None:
    assert _short_rests(RUN_BEFORE) == 0


def test_the_search_finds_the_short_rest_of_a_guard_that_trusts_its_own_command() -> None:
    trusting = replace(guards.unknown(0.0, MINUTE), ends_s=-6 * MINUTE)
    assert _short_rests(replace(RUN_BEFORE, relay=trusting)) > 0


def test_only_a_protection_a_restart_or_a_lost_message_ends_a_run_early() -> None:
    relay = guards.told(Relay(ends_s=-6 * MINUTE, told=True, fresh=False), 1.0, 0.0, MINUTE)
    for minute in range(3):
        verdict = guards.compressor(relay, 0.0, minute * MINUTE, TIMES, False)
        assert verdict.level == 1.0
    assert guards.compressor(relay, 0.0, 3 * MINUTE, TIMES, False).level == 0.0


Pair = tuple[Relay, Relay, int, int]


def test_heat_and_cool_never_really_run_together_in_any_interleaving() -> None:
    """Two outputs of one chamber; both wanted at once, commands lost, leases ending by themselves."""
    assert not any(cold and hot for _, _, cold, hot in _pairs_within(8, guards.ALL))


def test_the_search_finds_both_sides_on_when_they_do_not_exclude_each_other() -> None:
    assert any(cold and hot for _, _, cold, hot in _pairs_within(8, guards.ALL - {guards.EXCLUSION}))


def _pairs_within(horizon: int, in_force: frozenset[str]) -> set[Pair]:
    start = (Relay(), Relay(), 0, 0)
    seen, edge = {start}, deque([(start, 0)])
    while edge:
        state, depth = edge.popleft()
        for after in _pairs(state, in_force):
            if after not in seen and depth < horizon:
                seen.add(after)
                edge.append((after, depth + 1))
    return seen


def _pairs(state: Pair, in_force: frozenset[str]) -> Iterator[Pair]:
    excluded = guards.EXCLUSION in in_force
    for cool, heat, cool_comes, heat_comes in product((0.0, 1.0), (0.0, 1.0), (False, True), (False, True)):
        cold, hot, cold_left, hot_left = state
        cool_level = guards.exclusion([hot], cool, 0.0, MINUTE, in_force).level
        taken = excluded and cool_level > 0.0
        heat_level = 0.0 if taken else guards.exclusion([cold], heat, 0.0, MINUTE, in_force).level
        cold, hot = guards.told(cold, cool_level, 0.0, 2 * MINUTE), guards.told(hot, heat_level, 0.0, 2 * MINUTE)
        cold_left, hot_left = _left(cold_left, cool_level, cool_comes), _left(hot_left, heat_level, heat_comes)
        yield _older(cold), _older(hot), max(0, cold_left - 1), max(0, hot_left - 1)


def _left(left: int, level: float, delivered: bool) -> int:
    if not delivered:
        return left
    return 2 if level else 0


def _older(relay: Relay) -> Relay:
    ends_s = max(relay.ends_s - MINUTE, -3 * MINUTE)
    return Relay(relay.level, 0.0, ends_s, relay.fresh, relay.told)


def _walks(row_id: str) -> Iterator[tuple[Trip, bool, Trip, float]]:
    """Every step of an interlock's state machine over all sequences of its cause holding or not."""
    row = next(one for one in INTERLOCKS if one.id == row_id)
    edge: list[tuple[Trip, float]] = [(QUIET, 0.0)]
    for _ in range(9):
        after = set()
        for (trip, now_s), holds in product(edge, (False, True)):
            moved = next_trip(row, trip, holds, now_s, NOW)
            yield trip, holds, moved, now_s
            after.add((moved, now_s + 10.0))
        edge = list(after)


def test_an_interlock_trips_only_after_its_cause_held_long_enough() -> None:
    for row in INTERLOCKS:
        for before, holds, after, now_s in _walks(row.id):
            if after.tripped and not before.tripped:
                assert holds
                assert after.pending_s is not None
                assert now_s - after.pending_s >= row.after_s


def test_an_interlock_without_delay_trips_the_moment_its_cause_holds() -> None:
    for row in INTERLOCKS:
        if row.after_s == 0.0:
            assert all(after.tripped for _, holds, after, _ in _walks(row.id) if holds)


def test_only_interlocks_that_a_person_resets_stay_tripped_without_their_cause() -> None:
    for row in INTERLOCKS:
        for before, holds, after, now_s in _walks(row.id):
            if before.tripped_s is not None and not holds:
                over = now_s >= before.tripped_s + row.lasts_s
                assert after.tripped == (row.reset is Reset.BY_PERSON or not over)


def test_a_condition_is_told_with_the_trip_and_not_before() -> None:
    for row in INTERLOCKS:
        for before, _, after, _ in _walks(row.id):
            if not before.told and after.told:
                assert after.tripped
                assert row.tells is not None
