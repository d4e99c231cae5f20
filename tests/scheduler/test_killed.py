"""Killed again and again while steps come due, the scheduler loses none and doubles none. Real broker, real process."""

import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

import pytest

from schemas.contract import decode
from schemas.journal import JournalEntry
from schemas.requests import StartBatch
from services.runtime.address import BrokerAddress
from services.runtime.bus import BrokerLink
from services.runtime.clock import SystemClock
from services.runtime.service import Outgoing
from tests.brokers import embedded_broker
from tests.contract.venues import Listener
from tests.scheduler.bench import profile
from tests.waiting import turn_until

JOURNAL = "coldside/barn/journal/scheduler"
STEPS = 20
KILLS = 6


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


def lines(ear: Listener) -> list[JournalEntry]:
    """Each line once, in the order in which it was first heard."""
    found = [decode(JOURNAL, body) for body in ear.take() if b'"event"' in body]
    return list({entry.id: entry for entry in found if isinstance(entry, JournalEntry)}.values())


def runs(ear: Listener) -> bool:
    return any(b'"running"' in body for body in ear.take())


def begun(ear: Listener) -> list[tuple[str, datetime]]:
    return [
        (str(one.facts["step"]), datetime.fromisoformat(str(one.facts["effective"])))
        for one in lines(ear)
        if one.event == "step-begun"
    ]


def request() -> Outgoing:
    """Twenty steps of a second and a half each."""
    steps = [f"name: s{n}, hold: {n + 2} degC, for: 1.5 s" for n in range(STEPS - 1)]
    now = SystemClock().now()
    start = StartBatch(
        at=now, source="cli", id="one", client="cli", who="Ada", batch="41-pale", chamber="third",
        profile=profile(*steps, "name: last, hold: 4 degC"),
    )  # fmt: skip
    return Outgoing("coldside/barn/request/scheduler/start-batch", start)


class Life:
    """A scheduler that is killed and started again on the same state."""

    def __init__(self, broker: BrokerAddress, state: Path) -> None:
        self._command = [sys.executable, "-m", "tests.scheduler.living", str(broker), str(state)]
        self.process = subprocess.Popen(self._command)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def begin_anew(self) -> None:
        self.kill()
        self.process = subprocess.Popen(self._command)


@pytest.fixture
def life(broker: BrokerAddress, ear: Listener, tmp_path: Path) -> Iterator[Life]:
    life = Life(broker, tmp_path / "state")
    yield life
    life.kill()


def test_killed_at_random_moments_no_step_is_lost_and_none_doubled(life: Life, ear: Listener) -> None:
    random = Random(7)
    turn_until([ear.link], lambda: runs(ear), "the scheduler", 60)
    ear.link.publish(request())
    turn_until([ear.link], lambda: len(begun(ear)) >= 1, "the first step", 60)
    for _ in range(KILLS):
        enough = min(STEPS, len(begun(ear)) + random.randrange(3))
        turn_until([ear.link], lambda enough=enough: len(begun(ear)) >= enough, "some steps", 60)
        life.begin_anew()
    turn_until([ear.link], lambda: len(begun(ear)) >= STEPS, "every step", 90)
    names, moments = zip(*begun(ear), strict=True)
    assert names == (*(f"s{n}" for n in range(STEPS - 1)), "last")
    assert {later - earlier for earlier, later in zip(moments, moments[1:], strict=False)} == {timedelta(seconds=1.5)}
