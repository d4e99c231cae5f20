"""What devices say on the broker while somebody listens: a connection of its own, for a short time."""

import asyncio
from dataclasses import dataclass
from random import SystemRandom

from schemas.topics import valid_filter
from services.bridge.listening import Candidate, candidates
from services.console.sources import Leaf, NotUsable, Unavailable
from services.runtime.address import BrokerAddress
from services.runtime.bus import BrokerLink
from services.runtime.clock import machine_seconds

LONGEST_S = 60.0
PATIENCE_S = 5.0
MOST_HEARD = 20_000
EXAMPLES = 3


@dataclass(frozen=True, slots=True)
class Overheard:
    """The console's own ears: they hear what its account may hear."""

    broker: BrokerAddress

    async def listen(self, topics: str, seconds: float) -> list[Leaf]:
        """Likely probes first. Raises NotUsable for what is no topic filter, and Unavailable without a broker."""
        if not valid_filter(topics):
            raise NotUsable(f"{topics!r} is no topic filter; write it like 'garage/#'")
        heard = await asyncio.to_thread(self._heard, topics, min(max(seconds, 0.5), LONGEST_S))
        return [_leaf(one) for one in candidates(heard)]

    def _heard(self, topics: str, seconds: float) -> list[tuple[str, bytes]]:
        dice = SystemRandom()
        link = BrokerLink(self.broker, f"coldside-ears-{dice.randrange(16**8):08x}", dice)
        try:
            return _listen(link, topics, seconds)
        finally:
            link.close()


def _listen(link: BrokerLink, topics: str, seconds: float) -> list[tuple[str, bytes]]:
    heard: list[tuple[str, bytes]] = []
    link.listen((topics,))
    patience_ends = machine_seconds() + PATIENCE_S
    while not link.listening:
        if machine_seconds() > patience_ends:
            raise Unavailable("The broker is away, or does not let this console listen to devices.")
        link.turn(0.05)
    ends = machine_seconds() + seconds
    while machine_seconds() < ends and len(heard) < MOST_HEARD:
        link.turn(0.1)
        for delivery in link.take(1000):
            link.acknowledge(delivery.ticket)
            if isinstance(delivery.body, bytes):
                heard.append((delivery.topic, delivery.body))
        link.flush()
    return heard


def _leaf(one: Candidate) -> Leaf:
    different = list(dict.fromkeys(str(said)[:40] for said in one.said))
    return Leaf(one.topic, one.path, tuple(different[:EXAMPLES]), len(one.said), str(one.measures or ""))
