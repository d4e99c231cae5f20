"""The buses that one suite of contract tests runs on."""

import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Protocol

from services.runtime.address import BrokerAddress
from services.runtime.bus import BrokerLink
from services.runtime.clock import VirtualClock
from services.runtime.link import Delivery, Link
from services.runtime.memory_bus import MemoryBus
from services.runtime.memory_link import MemoryLink
from services.runtime.service import Outgoing
from tests.brokers import embedded_broker, mosquitto
from tests.waiting import turn_until


class Venue(Protocol):
    """A bus, and links to it."""

    def link(self, client_id: str, will: Outgoing | None = None, persistent: bool = False) -> Link: ...

    def lose(self, link: Link) -> None:
        """Breaks a connection without a goodbye; the link may come back by itself afterwards."""


class MemoryVenue:
    """All within this process."""

    def __init__(self) -> None:
        self._bus = MemoryBus()
        self._clock = VirtualClock(datetime(2026, 5, 1, tzinfo=UTC))

    def link(self, client_id: str, will: Outgoing | None = None, persistent: bool = False) -> MemoryLink:
        return MemoryLink(self._bus, client_id, self._clock, will=lambda: will, persistent=persistent)

    def lose(self, link: Link) -> None:
        assert isinstance(link, MemoryLink)
        link.cut()
        link.reachable = True


class BrokerVenue:
    """A real broker."""

    def __init__(self, address: BrokerAddress) -> None:
        self._address = address

    def link(self, client_id: str, will: Outgoing | None = None, persistent: bool = False) -> BrokerLink:
        return BrokerLink(self._address, client_id, Random(7), will=lambda: will, persistent=persistent)

    def lose(self, link: Link) -> None:
        assert isinstance(link, BrokerLink)
        assert link.socket is not None
        link.socket.shutdown(socket.SHUT_RDWR)


@contextmanager
def memory_venue(_folder: Path) -> Iterator[Venue]:
    yield MemoryVenue()


@contextmanager
def embedded_venue(folder: Path) -> Iterator[Venue]:
    with embedded_broker(folder) as address:
        yield BrokerVenue(address)


@contextmanager
def mosquitto_venue(folder: Path) -> Iterator[Venue]:
    with mosquitto(folder) as address:
        yield BrokerVenue(address)


VENUES = (memory_venue, embedded_venue, mosquitto_venue)


class Listener:
    """A link that keeps everything it got, acknowledging as it goes unless told otherwise."""

    def __init__(self, link: Link, *filters: str, acknowledging: bool = True) -> None:
        self.link = link
        self.got: list[Delivery] = []
        self._acknowledging = acknowledging
        link.listen(filters)
        turn_until([link], lambda: link.listening, "a listener's subscriptions")

    @property
    def bodies(self) -> list[bytes]:
        """What came, in order."""
        return [one.body for one in self.got if isinstance(one.body, bytes)]

    def take(self) -> list[bytes]:
        """Takes what has come by now; returns all bodies so far."""
        for delivery in self.link.take(1000):
            self.got.append(delivery)
            if self._acknowledging:
                self.link.acknowledge(delivery.ticket)
        self.link.flush()
        return self.bodies

    def wait_for(self, condition: Callable[[list[bytes]], bool], *others: Link) -> list[bytes]:
        """Turns its link, and others, until what came satisfies the condition."""
        turn_until([self.link, *others], lambda: condition(self.take()), "messages to come")
        return self.bodies
