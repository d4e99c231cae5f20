"""A chamber under the real supervisor on a real broker, in a time that runs as fast as the test turns it."""

import os
import signal
import subprocess
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random
from typing import Any

from schemas.contract import decode, topic_for
from schemas.telemetry import ReadingBase, Report
from schemas.topics import TopicKind, every
from services.runtime.address import BrokerAddress
from services.runtime.bus import BrokerLink
from services.runtime.clock import machine_seconds
from services.runtime.service import Outgoing
from tests.commands.live import COLDSIDE
from tests.supervisor.bench import Bench

PATIENCE_S = 150.0


class Room(Bench):
    """A bench whose every message is on a broker, too."""

    def __init__(self, address: BrokerAddress, *args: Any, **options: Any) -> None:
        self.link = BrokerLink(address, "supervisor", Random(3))
        self.link.listen((every("barn", TopicKind.REQUEST, "supervisor"),))
        super().__init__(*args, **options)

    def take(self, messages: Iterable[Outgoing]) -> None:
        """Does what the supervisor says, and publishes it."""
        said = list(messages)
        for outgoing in said:
            self.link.publish(outgoing)
        super().take(said)

    def send(self, body: Any) -> None:
        """To the supervisor, and what a bridge says to everybody."""
        if isinstance(body, ReadingBase | Report):
            self.link.publish(Outgoing(topic_for("barn", body), body, retain=True))
        super().send(body)

    def answer(self) -> None:
        """Lets requests in and what was said out, while time stands still."""
        self.link.turn(0.005)
        for delivery in self.link.take(100):
            self.link.acknowledge(delivery.ticket)
            if isinstance(delivery.body, bytes):
                super().send(decode(delivery.topic, delivery.body))
            else:
                super().send(delivery.body)
        self.link.flush()

    def until(self, condition: Callable[[], bool], what: str, minutes_a_turn: float = 0.0) -> None:
        """Turns, and lets time pass with every turn, until the condition holds."""
        deadline_s = machine_seconds() + PATIENCE_S
        while not condition():
            assert machine_seconds() < deadline_s, f"waited {PATIENCE_S:g} s for {what}"
            if minutes_a_turn:
                self.run(minutes=minutes_a_turn)
            self.answer()


class Visitor:
    """`coldside commission ale` in a process of its own, its words in files."""

    def __init__(self, address: BrokerAddress, folder: Path, *words: str) -> None:
        self.report = folder / "report.html"
        self._said, self._told = folder / "said", folder / "told"
        command = [*COLDSIDE, "commission", "ale", "--yes", "--site", "barn", "--who", "Ada", "--broker", str(address)]
        environment = os.environ | {"COLUMNS": "160", "NO_COLOR": "1"}
        with self._said.open("w") as said, self._told.open("w") as told:
            self.process = subprocess.Popen(
                [*command, "--report", str(self.report), *words], stdout=said, stderr=told, env=environment
            )

    @property
    def gone(self) -> bool:
        """Whether it has ended."""
        return self.process.poll() is not None

    @property
    def said(self) -> str:
        """On standard output."""
        return self._said.read_text()

    @property
    def told(self) -> str:
        """On standard error."""
        return self._told.read_text()

    def interrupt(self) -> None:
        """Ctrl-C."""
        self.process.send_signal(signal.SIGINT)


@contextmanager
def visitor(address: BrokerAddress, folder: Path, *words: str) -> Iterator[Visitor]:
    """One that is gone when the test is over, whatever became of it."""
    made = Visitor(address, folder, *words)
    try:
        yield made
    finally:
        made.process.kill()
        made.process.wait(30)
