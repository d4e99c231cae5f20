"""Killed at any moment, a service loses no input it took and no journal line it wrote. Real broker, real processes."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from services.runtime.address import BrokerAddress
from services.runtime.bus import BrokerLink
from services.runtime.service import Outgoing
from tests.brokers import embedded_broker
from tests.contract.venues import Listener
from tests.runtime.counting import FEED, JOURNAL
from tests.waiting import turn_until, wait_until

NUMBERS = 400
PROGRAM = [sys.executable, "-m", "tests.runtime.counting"]


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[BrokerAddress]:
    with embedded_broker(tmp_path) as address:
        yield address


@pytest.fixture
def ear(broker: BrokerAddress) -> Iterator[Listener]:
    """Hears every journal line; persistent, so that it misses none itself."""
    link = BrokerLink(broker, "ear", Random(1), persistent=True)
    yield Listener(link, JOURNAL, "coldside/barn/health/scheduler")
    link.close()


class Life:
    """A service that is started, killed, and started again on the same state."""

    def __init__(self, broker: BrokerAddress, state: Path, durability: str) -> None:
        self._command = [*PROGRAM, str(broker), str(state), durability]
        self.process = subprocess.Popen(self._command)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def start(self) -> None:
        self.process = subprocess.Popen(self._command)

    def stop(self) -> int:
        self.process.terminate()
        return self.process.wait(20)


@pytest.mark.parametrize("durability", ["before_effects", "lazily"])
def test_no_input_and_no_journal_line_is_lost_by_killing_at_random_moments(broker, ear, tmp_path, durability):
    random = Random(durability)
    life = Life(broker, tmp_path / "state", durability)
    turn_until([ear.link], lambda: "started" in events(ear), "the service to start")
    for start in range(0, NUMBERS, 50):
        for number in range(start, start + 50):
            ear.link.publish(Outgoing(FEED, b"%d" % number))
        enough = start + random.randrange(50)
        turn_until([ear.link], lambda enough=enough: len(numbers(ear)) >= enough, "some answers")
        life.kill()
        life.start()
    turn_until([ear.link], lambda: len(numbers(ear)) == NUMBERS, "every number's journal line")
    life.kill()


@pytest.mark.parametrize("durability", ["before_effects", "lazily"])
def test_burst_larger_than_every_window_is_worked_off(broker, ear, tmp_path, durability):
    """Confirmations come over the same connection as inputs: a host that stopped reading would wait for ever."""
    life = Life(broker, tmp_path / "state", durability)
    turn_until([ear.link], lambda: "started" in events(ear), "the service to start")
    for number in range(2500):
        ear.link.publish(Outgoing(FEED, b"%d" % number))
    turn_until([ear.link], lambda: len(ear.take()) >= 2500, "an answer to each", 60)
    turn_until([ear.link], lambda: len(numbers(ear)) == 2500, "every number's journal line")
    assert life.stop() == 0


def test_killed_service_is_reported_lost_by_the_broker(broker, ear, tmp_path):
    life = Life(broker, tmp_path / "state", "lazily")
    turn_until([ear.link], lambda: states(ear)[-1:] == [b"running"], "health")
    life.kill()
    turn_until([ear.link], lambda: states(ear)[-1:] == [b"lost"], "the last will")


def test_terminated_service_has_its_last_word_and_is_not_reported_lost(broker, ear, tmp_path):
    life = Life(broker, tmp_path / "state", "before_effects")
    turn_until([ear.link], lambda: states(ear)[-1:] == [b"running"], "health")
    assert life.stop() == 0
    turn_until([ear.link], lambda: states(ear)[-1:] == [b"stopping"], "the goodbye")
    assert "stopped" in events(ear)
    assert b"lost" not in states(ear)


def test_second_process_on_the_same_state_is_refused_with_a_remedy(broker, ear, tmp_path):
    life = Life(broker, tmp_path / "state", "lazily")
    turn_until([ear.link], lambda: "started" in events(ear), "the service to start")
    second = subprocess.run(life.process.args, stderr=subprocess.PIPE, text=True, timeout=30, check=False)
    assert second.returncode != 0
    assert "scheduler already runs" in second.stderr
    assert life.stop() == 0


def test_service_waits_for_a_broker_that_is_not_there_and_still_stops_at_once(tmp_path):
    life = Life(BrokerAddress(port=1), tmp_path / "state", "lazily")
    wait_until((tmp_path / "state" / "scheduler.lock").exists, "the service to be up")
    wait_until(lambda: life.process.poll() is None, "the service to live")
    assert life.stop() in (0, -15)


def events(ear: Listener) -> list[str]:
    """Which events the journal lines tell of, in order."""
    return [field(body, b"event").decode() for body in ear.take() if b'"event"' in body]


def states(ear: Listener) -> list[bytes]:
    """What the health messages said, in order."""
    return [field(body, b"state") for body in ear.take() if b'"state"' in body]


def numbers(ear: Listener) -> set[str]:
    """Which numbers have a journal line."""
    return {event for event in events(ear) if event.startswith("number-")}


def field(body: bytes, name: bytes) -> bytes:
    return body.split(b'"' + name + b'":"')[1].split(b'"')[0]
