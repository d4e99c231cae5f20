"""What machines and circuits demand of every command, whoever wants it: rests, runs, change-overs, the circuit's limit.

Pure functions over what is known of each relay. Times are steady seconds (see `steady`), so no wall clock that is set
can end a rest. Nothing measured before a restart counts: an output may be on until the longest lease anybody can have
given it has run out or the bridge has said otherwise, and its rest begins only then.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import NamedTuple

"""Small hermetic compressors are commonly allowed 6 to 10 (common practice, no source)."""
CHANGE_OVER_S = 300.0
STAGGER_S = 5.0
"""A starting current lasts about a second; the next machine on the circuit waits longer than that."""
HOUR_S = 3600.0

REST, RUN, STARTS, POWER_UP = "compressor-rest", "compressor-run", "compressor-starts", "power-up-rest"
EXCLUSION, CHANGE_OVER = "heat-cool-exclusion", "change-over-wait"
CIRCUIT, STAGGER = "circuit-limit", "start-stagger"
ALL = frozenset({REST, RUN, STARTS, POWER_UP, EXCLUSION, CHANGE_OVER, CIRCUIT, STAGGER})


class Verdict(NamedTuple):
    """What an output may do: `held_by` names the guard that changed what was wanted, `until_s` when that ends."""

    level: float
    held_by: str = ""
    until_s: float | None = None


@dataclass(frozen=True, slots=True)
class Relay:
    """What is known of one output.

    `level` is what it was last told, `began_s` when that run began. It may really be on until `ends_s`: the end of the
    last lease it was given, or the moment the bridge confirmed it off. `fresh` until its first start after a restart.
    `starts` are those of the last hour.
    """

    level: float = 0.0
    began_s: float = 0.0
    ends_s: float = -inf
    fresh: bool = True
    told: bool = False
    starts: tuple[float, ...] = ()

    def may_be_on(self, now_s: float) -> bool:
        """Whether current can flow."""
        return self.level > 0.0 or self.ends_s > now_s

    def off_for(self, now_s: float) -> float:
        """Seconds it has surely been off; 0 while it may be on."""
        return 0.0 if self.level > 0.0 else max(0.0, now_s - self.ends_s)

    def on_for(self, now_s: float) -> float:
        """Seconds it has been asked to run without a break; 0 while it is not."""
        return now_s - self.began_s if self.level > 0.0 else 0.0


def unknown(now_s: float, lease_s: float, starts: Iterable[float] = ()) -> Relay:
    """A relay of which nothing is known, as after a restart: somebody may have told it to run a moment ago."""
    return Relay(ends_s=now_s + lease_s, starts=tuple(starts))


def told(relay: Relay, level: float, now_s: float, lease_s: float) -> Relay:
    """After a command."""
    if level <= 0.0:
        return replace(relay, level=0.0, told=True) if relay.level > 0.0 or not relay.told else relay
    if relay.level > 0.0:
        return replace(relay, level=level, ends_s=now_s + lease_s, told=True)
    starts = (*(start for start in relay.starts if start > now_s - HOUR_S), now_s)
    return Relay(level, now_s, now_s + lease_s, fresh=False, told=True, starts=starts)


def heard_off(relay: Relay, now_s: float) -> Relay:
    """After the bridge said, later than our last change, that it is off; if it was told to run, that run is over."""
    if relay.level > 0.0:
        return replace(relay, level=0.0, ends_s=now_s)
    return replace(relay, ends_s=now_s) if relay.ends_s > now_s else relay


def heard_on(relay: Relay, level: float, now_s: float, lease_s: float) -> Relay:
    """After the bridge said that it is on. A relay that nobody told anything since the restart goes on as it was."""
    if relay.level > 0.0:
        return relay
    if not relay.told:
        return replace(relay, level=level, began_s=now_s, ends_s=now_s + lease_s, told=True, fresh=False)
    return replace(relay, ends_s=max(relay.ends_s, now_s + lease_s))


class Times(NamedTuple):
    """A compressor's limits: s, s, starts."""

    rest_s: float = 300.0
    run_s: float = 180.0
    starts_per_hour: int = 6


def compressor(
    relay: Relay, wanted: float, now_s: float, times: Times, must_stop: bool, in_force: frozenset[str] = ALL
) -> Verdict:
    """What a compressor may do. With `must_stop` a protection outranks the minimum run; nothing outranks the rest."""
    if relay.level > 0.0:
        ends_s = relay.began_s + times.run_s
        if wanted > 0.0 or must_stop or now_s >= ends_s or RUN not in in_force:
            return Verdict(wanted)
        return Verdict(relay.level, RUN, ends_s)
    if wanted <= 0.0:
        return Verdict(0.0)
    rested_s = relay.ends_s + times.rest_s
    if now_s < rested_s:
        guard = POWER_UP if relay.fresh else REST
        return Verdict(0.0, guard, rested_s) if guard in in_force else Verdict(wanted)
    return _within_starts(relay, wanted, now_s, times.starts_per_hour) if STARTS in in_force else Verdict(wanted)


def _within_starts(relay: Relay, wanted: float, now_s: float, most: int) -> Verdict:
    recent = [start for start in relay.starts if start > now_s - HOUR_S]
    if len(recent) < most:
        return Verdict(wanted)
    return Verdict(0.0, STARTS, recent[-most] + HOUR_S)


def exclusion(
    others: Iterable[Relay], wanted: float, now_s: float, wait_s: float, in_force: frozenset[str] = ALL
) -> Verdict:
    """What a heater may do beside the chamber's cooling outputs, or these beside it: one side at a time, with a
    wait."""
    if wanted <= 0.0:
        return Verdict(0.0)
    for other in others:
        if EXCLUSION in in_force and other.may_be_on(now_s):
            return Verdict(0.0, EXCLUSION)
        if CHANGE_OVER in in_force and now_s < other.ends_s + wait_s:
            return Verdict(0.0, CHANGE_OVER, other.ends_s + wait_s)
    return Verdict(wanted)


class Load(NamedTuple):
    """One output's claim on a circuit. Ranks sort: the lowest is served first. `stays` is within its minimum run.

    `flows`: current may flow now. `wanted` without `on` is a start; `staggered` if it needs a moment of its own.
    """

    key: tuple[str, str]
    watts: float
    start_watts: float
    rank: tuple[float, float]
    wanted: bool
    on: bool
    flows: bool
    stays: bool = False
    staggered: bool = False


def share(
    loads: Sequence[Load], limit_w: float, may_stagger: bool, in_force: frozenset[str] = ALL
) -> dict[tuple[str, str], str]:
    """Which loads must be off, each with the guard that says so; what may still flow counts until it surely does not.

    A load that is on is shed when the sum is over the limit, and for a start of better rank that fits no other way;
    the start then waits until the shed load is surely off. A start waits for nobody of worse rank.
    """
    barred: dict[tuple[str, str], str] = {}
    if CIRCUIT in in_force:
        _shed_excess(loads, limit_w, barred)
    flowing_w = sum(load.watts for load in loads if load.flows)
    for load in sorted((one for one in loads if one.wanted and not one.on), key=lambda one: one.rank):
        if load.staggered and not may_stagger and STAGGER in in_force:
            barred[load.key] = STAGGER
        elif CIRCUIT not in in_force or flowing_w + load.start_watts <= limit_w:
            flowing_w += load.start_watts
            may_stagger = may_stagger and not load.staggered
        else:
            barred[load.key] = CIRCUIT
            _make_room(load, loads, flowing_w + load.start_watts - limit_w, barred)
            flowing_w += 0.0 if load.start_watts > limit_w else load.start_watts
    return barred


def _shed_excess(loads: Sequence[Load], limit_w: float, barred: dict[tuple[str, str], str]) -> None:
    running = sorted((one for one in loads if one.on and one.wanted), key=lambda one: (not one.stays, one.rank))
    total_w = 0.0
    for load in running:
        total_w += load.watts
        if total_w > limit_w:
            total_w -= load.watts
            barred[load.key] = CIRCUIT


def _make_room(start: Load, loads: Sequence[Load], lacking_w: float, barred: dict[tuple[str, str], str]) -> None:
    lower = [one for one in loads if one.on and one.wanted and not one.stays and one.rank > start.rank]
    lacking_w -= sum(one.watts for one in loads if one.flows and not one.on)
    shed: list[Load] = []
    for load in sorted(lower, key=lambda one: one.rank, reverse=True):
        if lacking_w <= 0.0:
            break
        shed.append(load)
        lacking_w -= load.watts
    if lacking_w <= 0.0:
        barred.update((load.key, CIRCUIT) for load in shed)
