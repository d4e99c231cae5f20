"""The promises, whatever happens: any wish, any reading, any setpoint, lost messages, restarts, a clock that is set.

Control is replaced by one that wishes anything. What is checked is what the relays really do.
"""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)

from schemas.plant import Drive
from schemas.requests import ClearLockOut, LockOut
from services.supervisor import guards
from services.supervisor.control import Decision, Estimate, Rules, Sight
from tests.supervisor.bench import BATH, CONICAL, FRIDGE, KEGERATOR, Bench, Key, plant_of, reading, with_lines

LIMIT_W = 6.0 * 230.0
PLANT = plant_of(
    limit="6 A",
    ale=with_lines(FRIDGE, "priority: 2"),
    kegs=KEGERATOR,
    bath=BATH,
    conical=with_lines(CONICAL, "priority: 1"),
)
PROBES: tuple[Key, ...] = (
    ("ale", "beer"), ("ale", "air"), ("kegs", "beer"), ("kegs", "air"), ("bath", "bath"), ("conical", "beer")
)  # fmt: skip
STALE_S = 60.0
FLOOR_C, CEILING_C = -1.7, 30.0


class Wild:
    """Wishes whatever the test's last draw says."""

    wishes: Mapping[str, tuple[float, float]] = {}

    def __init__(self, rules: Rules) -> None:
        self.kind = rules.kind

    def decide(self, sight: Sight) -> Decision:
        """The wish of the hour."""
        cool, heat = self.wishes.get(self.kind, (0.0, 0.0))
        return Decision(cool, heat, cool, cool, "wild", Estimate(sight.beer_c, 0.1, None, 0.0, 0.0))

    def snapshot(self) -> dict[str, Any]:
        """Nothing."""
        return {}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Nothing."""


TEMPERATURES = st.sampled_from([-6.0, -1.8, -1.6, 0.5, 4.0, 12.0, 18.0, 21.0, 29.9, 30.0, 31.0, 50.0])
LEVELS = st.sampled_from([0.0, 1.0])


class Supervised(RuleBasedStateMachine):
    """A plant of four chambers on one small circuit, under a supervisor that is treated badly."""

    without: tuple[str, ...] = ()

    @initialize()
    def begin(self) -> None:
        Wild.wishes = dict.fromkeys(("fridge", "kegerator", "reservoir", "jacketed"), (1.0, 0.0))
        self.bench = Bench(PLANT, controllers=Wild, without=self.without)
        self.values: dict[Key, float] = dict.fromkeys(PROBES, 18.0)
        self.silent: set[Key] = set()
        self.heard: dict[Key, tuple[float, float]] = {}
        self.open = False
        self.requests = 0
        for chamber in PLANT.chambers:
            self.bench.ask(chamber, 18.0)

    @rule(kind=st.sampled_from(["fridge", "kegerator", "reservoir", "jacketed"]), cool=LEVELS, heat=LEVELS)
    def wish(self, kind: str, cool: float, heat: float) -> None:
        Wild.wishes = {**Wild.wishes, kind: (cool, heat)}

    @rule(probe=st.sampled_from(PROBES), value=TEMPERATURES)
    def read(self, probe: Key, value: float) -> None:
        self.values[probe] = value

    @rule(chamber=st.sampled_from(sorted(PLANT.chambers)), asked=st.sampled_from([-60.0, -2.0, 4.0, 18.0, 40.0, 150.0]))
    def ask(self, chamber: str, asked: float) -> None:
        self.bench.ask(chamber, asked)

    @rule(probe=st.sampled_from(PROBES))
    def fall_silent_or_speak(self, probe: Key) -> None:
        self.silent ^= {probe}

    @rule()
    def move_the_door(self) -> None:
        self.open = not self.open

    @rule(probe=st.sampled_from(PROBES), value=TEMPERATURES)
    def read_from_the_future(self, probe: Key, value: float) -> None:
        self.bench.send(reading(*probe, value, self.bench.now + timedelta(hours=1)))

    @rule(probe=st.sampled_from(PROBES), value=TEMPERATURES)
    def read_from_the_past(self, probe: Key, value: float) -> None:
        self.bench.send(reading(*probe, value, self.bench.now - timedelta(minutes=5)))

    @rule()
    def lose_or_pass_commands(self) -> None:
        self.bench.deaf = not self.bench.deaf

    @rule()
    def lose_or_pass_reports(self) -> None:
        self.bench.mute = not self.bench.mute

    @rule(kept=st.booleans())
    def restart(self, kept: bool) -> None:
        self.bench.build(self.bench.supervisor.snapshot() if kept else None)
        for chamber in PLANT.chambers if not kept else ():
            self.bench.ask(chamber, 18.0)

    @rule(minutes=st.sampled_from([-600, -2, 2, 600]), noticed=st.booleans())
    def set_the_clock(self, minutes: int, noticed: bool) -> None:
        self.bench.set_clock(timedelta(minutes=minutes), noticed)
        self.heard.clear()

    @rule(locked=st.booleans())
    def lock_or_unlock(self, locked: bool) -> None:
        self.requests += 1
        self.bench.request(LockOut if locked else ClearLockOut, f"r{self.requests}", chamber="ale")

    @rule(ticks=st.sampled_from([1, 3, 12, 40]))
    def pass_time(self, ticks: int) -> None:
        for _ in range(ticks):
            spoken = {key: value for key, value in self.values.items() if key not in self.silent}
            self.bench.step({**spoken, ("ale", "door"): float(self.open)})
            self.heard |= {key: (self.bench.elapsed_s, value) for key, value in spoken.items()}
            self.check_every_promise()

    def check_every_promise(self) -> None:
        check_leases(self.bench)
        check_sides(self.bench)
        check_circuit(self.bench)
        check_temperatures(self.bench, self.heard)

    @invariant()
    def no_compressor_short_cycles(self) -> None:
        if hasattr(self, "bench"):
            check_rests(self.bench)

    @invariant()
    def no_setpoint_is_held_beyond_the_limits(self) -> None:
        for chamber, status in self.bench.status.items() if hasattr(self, "bench") else ():
            low = -10.0 if chamber == "bath" else FLOOR_C
            assert status.setpoint_c is None or low < status.setpoint_c <= CEILING_C


def on(bench: Bench, chamber: str, *drives: Drive) -> list[str]:
    """Outputs of a chamber that really are on, of those that drive such a thing."""
    outputs = bench.plant.chambers[chamber].outputs
    return [name for name, out in outputs.items() if out.drives in drives and bench.relays.get((chamber, name))]


def check_leases(bench: Bench) -> None:
    """1: what is commanded holds for a minute at most; the bench sees that it is commanded for now."""
    assert all(command.lease_s <= 60.0 for command in bench.commands)
    bench.commands.clear()


def check_rests(bench: Bench) -> None:
    """2: a compressor is off for 300 s between runs, in seconds that really passed."""
    ended: dict[Key, float] = {}
    for at_s, key, level in bench.changes:
        if bench.plant.chambers[key[0]].outputs[key[1]].drives is not Drive.COMPRESSOR:
            continue
        assert not level or at_s - ended.get(key, -300.0) >= 300.0, (key, at_s, ended[key])
        if not level:
            ended[key] = at_s


def check_sides(bench: Bench) -> None:
    """3: never heat and cool one chamber at once."""
    for chamber in bench.plant.chambers:
        assert not (on(bench, chamber, Drive.HEATER) and on(bench, chamber, Drive.COMPRESSOR, Drive.PUMP))


def check_circuit(bench: Bench) -> None:
    """4: what flows never passes the limit."""
    flowing = [
        output.power_w
        for chamber, block in bench.plant.chambers.items()
        for name, output in block.outputs.items()
        if output.circuit and bench.relays.get((chamber, name))
    ]
    assert sum(flowing) <= LIMIT_W


Heard = Mapping[Key, tuple[float, float]]
"""When each probe last said something good, and what."""


def check_temperatures(bench: Bench, heard: Heard) -> None:
    """5 and 6: what the supervisor asks for, by the readings that count."""
    for chamber in ("ale", "kegs", "conical"):
        check_beer(bench, chamber, known(bench, (chamber, "beer"), heard), known(bench, (chamber, "air"), heard))


def check_beer(bench: Bench, chamber: str, beer_c: float | None, air_c: float | None) -> None:
    """No cooling at the floor, no heating at the ceiling, nothing but a minimum run without a reading."""
    held_c = beer_c if beer_c is not None else air_c
    relays = bench.supervisor.boards[chamber].outlets.values()
    cooling = [one for one in relays if one.role == 1 and one.relay.level and one.held_by != guards.RUN]
    heating = [one for one in relays if one.role == 2 and one.relay.level]
    assert not cooling or (held_c is not None and held_c > FLOOR_C)
    assert not heating or (held_c is not None and held_c < CEILING_C)


def known(bench: Bench, key: Key, heard: Heard) -> float | None:
    """A reading that is not stale yet."""
    at_s, value = heard.get(key, (-STALE_S - 1.0, 0.0))
    return value if bench.elapsed_s - at_s <= STALE_S else None


QUICK = (Phase.explicit, Phase.generate)
"""A failure is shown as it was found: making it smaller takes minutes."""


def examined(count: int, *, derandomize: bool) -> settings:
    """How hard to look."""
    checks = list(HealthCheck)
    return settings(
        max_examples=count,
        stateful_step_count=40,
        deadline=None,
        suppress_health_check=checks,
        phases=QUICK,
        derandomize=derandomize,
    )


def test_promises_hold_in_every_interleaving() -> None:
    run_state_machine_as_test(Supervised, settings=examined(80, derandomize=True))


@pytest.mark.parametrize(
    "missing",
    [
        ("compressor-rest", "power-up-rest"),
        ("heat-cool-exclusion", "change-over-wait"),
        ("circuit-limit",),
        ("beer-near-freezing", "far-below-setpoint"),
        ("beer-too-warm-for-heat", "far-above-setpoint"),
        ("no-trusted-reading",),
    ],
)
def test_the_search_finds_the_harm_when_an_interlock_is_missing(missing: tuple[str, ...]) -> None:
    disarmed = type("Disarmed", (Supervised,), {"without": missing})
    with pytest.raises(AssertionError):
        run_state_machine_as_test(disarmed, settings=examined(400, derandomize=True))


@pytest.mark.soak
def test_promises_hold_in_many_more_interleavings() -> None:
    run_state_machine_as_test(Supervised, settings=examined(3000, derandomize=False))
