"""Promise 1: nothing is on because of a message older than its lease, whoever dies and whatever the clock does."""

from dataclasses import dataclass
from datetime import timedelta

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from schemas.control import Command
from schemas.telemetry import Basis
from services.bridge.drivers.driver import local_topic
from services.bridge.wiring import GUARD
from services.runtime.service import Incoming
from tests.bridge.bench import START, Bench


def test_output_is_told_to_be_off_first_of_all():
    assert Bench().sent() == [b"0"]


def test_output_is_unknown_until_it_was_told():
    bench = Bench()
    bench.wait(1)
    assert [(one.level, one.basis) for one in bench.reports()] == [(None, Basis.UNKNOWN), (0.0, Basis.ECHOED)]


def test_command_switches_on_and_is_reported_with_its_lease():
    bench = Bench()
    bench.wait(1)
    bench.command(1)
    report = bench.reports()[-1]
    assert (bench.sent()[-1], report.level, report.lease_ends) == (b"1", 1.0, bench.now + timedelta(seconds=60))


def test_output_goes_off_at_the_end_of_its_lease():
    bench = Bench()
    bench.wait(1)
    bench.command(1, ago=0.5)
    bench.wait(59)
    assert bench.sent()[-1] == b"1"
    bench.wait(1)
    assert (bench.sent()[-1], bench.reports()[-1].level) == (b"0", 0.0)
    assert bench.bridge.counts["lease_ended"] == 1


def test_renewed_output_stays_on():
    bench = Bench()
    for _ in range(30):
        bench.wait(20)
        bench.command(1)
    assert set(bench.sent()[1:]) == {b"1"}


def test_each_renewal_is_sent_on_so_that_a_rebooted_relay_follows():
    bench = Bench()
    for _ in range(3):
        bench.wait(20)
        bench.command(1)
    assert bench.sent()[1:] == [b"1"] * 3


def test_off_is_repeated_while_nobody_commands():
    bench = Bench()
    bench.wait(301)
    assert bench.sent() == [b"0"] * 6


def test_command_given_before_the_bridge_started_is_not_followed():
    bench = Bench()
    bench.command(1, ago=1)
    assert bench.sent() == [b"0"]


def test_command_for_an_output_that_is_not_here_is_counted():
    bench = Bench()
    assert bench.command(1, output="chill") == []
    assert bench.bridge.counts["command_for_nothing_here"] == 1


@pytest.mark.parametrize("by_s", [-3600, -2, 2, 3600])
def test_clock_that_is_set_switches_everything_off(by_s):
    bench = on()
    step = timedelta(seconds=by_s)
    bench.now += step
    bench.keep(bench.bridge.clock_stepped(step, bench.now))
    assert bench.sent()[-1] == b"0"


def test_clock_set_back_is_noticed_even_when_nobody_tells():
    bench = on()
    bench.now -= timedelta(seconds=100)
    bench.wait(1)
    assert bench.sent()[-1] == b"0"


def test_control_goes_on_a_minute_after_the_clock_was_set_back():
    bench = on()
    bench.now -= timedelta(hours=1)
    bench.wait(59)
    bench.command(1)
    assert bench.sent()[-1] == b"0"
    bench.wait(3)
    bench.command(1)
    assert bench.sent()[-1] == b"1"


def test_lost_broker_switches_everything_off_on_return():
    """Meanwhile a last will may have been published."""
    bench = on()
    bench.keep(bench.bridge.rejoin(bench.now))
    assert (bench.sent()[-1], bench.reports()[-1].level) == (b"0", 0.0)


def test_command_under_way_during_an_outage_is_not_followed():
    bench = on()
    bench.keep(bench.bridge.rejoin(bench.now))
    bench.wait(5)
    bench.command(1, ago=6)
    assert bench.sent()[-1] == b"0"
    bench.command(1)
    assert bench.sent()[-1] == b"1"


def test_stopped_bridge_leaves_everything_off():
    bench = on()
    bench.keep(bench.bridge.stop(bench.now))
    assert bench.sent()[-1] == b"0"


def test_restored_bridge_knows_no_level():
    again = Bench(restored=on().bridge.snapshot())
    assert (again.sent(), again.reports()[0].basis) == ([b"0"], Basis.UNKNOWN)


class TestGuard:
    """A connection whose last will is the relay's off payload."""

    def guarded(self, *words: bytes) -> Bench:
        bench = Bench(guards=True)
        bench.wait(1)
        for word in words:
            bench.raw(local_topic(GUARD, "ale/heat"), word)
        bench.command(1)
        return bench

    def test_relay_is_not_switched_on_before_its_guard_stands(self):
        bench = self.guarded()
        assert bench.sent() == [b"0"]
        assert bench.bridge.counts["command_unguarded"] == 1

    def test_relay_follows_once_its_guard_stands(self):
        assert self.guarded(b"up").sent() == [b"0", b"1"]

    def test_relay_is_switched_off_when_its_guard_is_gone(self):
        bench = self.guarded(b"up")
        bench.raw(local_topic(GUARD, "ale/heat"), b"down")
        bench.command(1)
        assert bench.sent()[-1] == b"0"

    def test_guard_that_came_back_has_published_its_will_so_the_relay_is_off(self):
        bench = self.guarded(b"up")
        bench.raw(local_topic(GUARD, "ale/heat"), b"up")
        assert (bench.sent()[-1], bench.reports()[-1].level) == (b"0", 0.0)

    def test_off_needs_no_guard(self):
        bench = self.guarded()
        bench.wait(1)
        bench.command(0)
        assert bench.sent() == [b"0", b"0"]

    def test_relay_that_stays_unguarded_is_a_condition(self):
        bench = self.guarded()
        bench.wait(11)
        assert bench.conditions("output-not-following-heat") == [True]


def on() -> Bench:
    """A bench whose heater is on."""
    bench = Bench()
    bench.wait(10)
    bench.command(1)
    assert bench.sent()[-1] == b"1"
    return bench


@dataclass
class World:
    """True time, a wall clock that may be set, and commands under way; the supervisor lives on the same machine."""

    true_s: int = 0
    off_s: float = 0.0

    def __post_init__(self) -> None:
        self.bench = Bench()
        self.given: list[tuple[int, float]] = []
        self.under_way: list[tuple[int, Command]] = []

    def command(self, level: float, delay_s: int, copies: int) -> None:
        """Gives a command, whose copies arrive late and in any order."""
        one = Command(at=self.bench.now, source="supervisor", chamber="ale", output="heat", level=level, why="test")
        self.given.append((self.true_s, level))
        self.under_way += [(self.true_s + delay_s * copy, one) for copy in range(1, copies + 1)]

    def set_clock(self, by_s: float, told: bool) -> None:
        """Sets the wall; the host tells the bridge of it at once, or (for a clock set back) only `now` does."""
        self.off_s += by_s
        self._look()
        if told or by_s > 0:
            self.bench.keep(self.bench.bridge.clock_stepped(timedelta(seconds=by_s), self.bench.now))

    def live(self, seconds: int) -> None:
        """Every second arrivals, a tick, and the promise."""
        for _ in range(seconds):
            self.true_s += 1
            self._look()
            due = [one for when, one in self.under_way if when <= self.true_s]
            self.under_way = [(when, one) for when, one in self.under_way if when > self.true_s]
            for one in due:
                self.bench.keep(
                    self.bench.bridge.receive(Incoming("coldside/barn/command/ale/heat", one), self.bench.now)
                )
            self.bench.keep(self.bench.bridge.tick(self.bench.now))
            self.check()

    def check(self) -> None:
        """On only by a command whose lease has not ended in truth; a tick is a second."""
        if self.bench.last["relay/heat"] == b"1":
            assert any(level >= 0.5 and self.true_s - given_s <= 61 for given_s, level in self.given)

    def _look(self) -> None:
        self.bench.now = START + timedelta(seconds=self.true_s + self.off_s)


COMMANDS = st.tuples(st.just("command"), st.sampled_from([0.0, 1.0]), st.integers(0, 20), st.integers(1, 3))
WAITS = st.tuples(st.just("live"), st.integers(1, 80))
STEPS = st.tuples(
    st.just("set_clock"), st.sampled_from([-7200.0, -90.0, -30.0, -2.0, 2.0, 30.0, 7200.0]), st.booleans()
)


@settings(max_examples=200)
@given(events=st.lists(st.one_of(COMMANDS, WAITS, STEPS), max_size=25))
@example(events=[("command", 1.0, 20, 3), ("set_clock", -30.0, True)])
def test_nothing_is_ever_on_by_a_command_older_than_its_lease(events):
    world = World()
    for name, *arguments in events:
        getattr(world, name)(*arguments)
    world.live(130)
    assert world.bench.sent()[-1] == b"0"


@settings(max_examples=50)
@given(delays=st.lists(st.integers(0, 200), min_size=1, max_size=20))
def test_late_commands_never_keep_an_output_on(delays):
    """However late each of them comes, a minute after the last was given all is off."""
    world = World()
    for delay in delays:
        world.command(1.0, delay, 2)
        world.live(5)
    world.live(61)
    assert world.bench.sent()[-1] == b"0"
