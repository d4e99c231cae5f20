"""The dead man's connections: the broker itself switches a relay off when its guard dies or hangs."""

import subprocess
import sys
from collections.abc import Iterator
from random import Random

import pytest

from services.runtime.address import BrokerAddress
from services.runtime.bus import BrokerLink
from services.runtime.guard_link import KEEP_ALIVE_S, Guard, GuardSet
from services.runtime.service import Outgoing
from tests.brokers import embedded_broker, mosquitto
from tests.contract.venues import Listener
from tests.runtime.guarding import GUARDS
from tests.waiting import turn_until, wait_until

HEAT, COOL = GUARDS


@pytest.fixture(scope="module", params=[embedded_broker, mosquitto], ids=["embedded", "mosquitto"])
def broker(request, tmp_path_factory) -> Iterator[BrokerAddress]:
    folder = tmp_path_factory.mktemp("broker")
    with request.param(folder) as address:
        yield address


@pytest.fixture
def relay(broker: BrokerAddress) -> Iterator[Listener]:
    """The device: it hears what its relays are told."""
    link = BrokerLink(broker, "relay", Random(2))
    yield Listener(link, "relay/+")
    link.close()


@pytest.fixture
def guards(broker: BrokerAddress) -> Iterator[GuardSet]:
    made = GuardSet(broker, Random(1))
    yield made
    made.close()


def bring_up(guards: GuardSet, *wanted: Guard) -> list[tuple[Guard, bool]]:
    """Wants them, and turns until all are up; returns the changes told on the way."""
    changes: list[tuple[Guard, bool]] = []
    guards.want(wanted)

    def all_up() -> bool:
        changes.extend(guards.turn())
        return all(guards.up(guard) for guard in wanted)

    wait_until(all_up, "the guards")
    return changes + guards.turn()


@pytest.fixture
def process(broker: BrokerAddress) -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-m", "tests.runtime.guarding", str(broker)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        assert running.stdout.readline() == "up\n"
        yield running
        running.kill()


def test_guard_that_is_killed_switches_every_relay_off(relay, process):
    process.kill()
    relay.wait_for(lambda got: len(got) >= 2)
    assert {(one.topic, one.body) for one in relay.got} == {("relay/heat", b"off"), ("relay/cool", b"off")}


def test_guard_that_hangs_switches_every_relay_off_within_two_keep_alives(relay, process):
    """Measured: 1.5 keep-alives, as OASIS MQTT 3.1.1, section 3.1.2.10, asks of a broker."""
    turn_until([relay.link], lambda: len(relay.take()) >= 2, "the last wills", 2 * KEEP_ALIVE_S + 2)
    assert process.poll() is None
    assert {one.topic for one in relay.got} == {"relay/heat", "relay/cool"}


def test_nothing_is_switched_off_by_a_goodbye(relay, guards):
    bring_up(guards, HEAT)
    guards.close()
    relay.link.publish(Outgoing("relay/end", b"end"))
    assert relay.wait_for(lambda got: b"end" in got) == [b"end"]


def test_each_guard_is_told_of_once_when_it_comes_up(guards):
    changes = bring_up(guards, HEAT, COOL)
    assert sorted(changes, key=lambda change: change[0].name) == [(COOL, True), (HEAT, True)]
    assert guards.turn() == []


def test_guard_no_longer_wanted_goes_and_the_other_stays_up(guards):
    bring_up(guards, HEAT, COOL)
    guards.want((HEAT,))
    assert guards.up(HEAT)
    assert not guards.up(COOL)
    assert guards.turn() == []


def test_guard_that_was_never_wanted_is_not_up(guards):
    assert not guards.up(HEAT)


def test_guard_without_a_broker_is_not_up():
    guards = GuardSet(BrokerAddress(port=1), Random(1))
    guards.want((HEAT,))
    assert guards.turn() == []
    assert not guards.up(HEAT)
