"""A connection whose only purpose is its last will: the off payload of one relay that knows no lease.

The broker publishes it when this process dies, or hangs for one and a half keep-alives. It covers neither a dead broker
nor a dead computer: only the device itself, or a second cut-out, can.
"""

from dataclasses import dataclass
from random import Random

from services.runtime.address import BrokerAddress
from services.runtime.connection import Connection, Listeners, Will

KEEP_ALIVE_S = 5


@dataclass(frozen=True, slots=True)
class Guard:
    """What one guard connection stands for; `name` is unique on the broker and becomes its client id."""

    name: str
    topic: str
    payload: bytes
    retain: bool = False


class GuardLink:
    """One such connection. Call `turn` often from the loop it guards, and from nowhere else."""

    def __init__(self, address: BrokerAddress, guard: Guard, random: Random) -> None:
        self.guard = guard
        self.connections = 0
        will = Will(guard.topic, guard.payload, retain=guard.retain)
        listeners = Listeners(up=self._count, will=lambda: will)
        self._connection = Connection(address, guard.name, random, listeners, keep_alive_s=KEEP_ALIVE_S)

    @property
    def up(self) -> bool:
        """Whether the broker holds the last will now: only then may the relay be switched on."""
        return self._connection.up

    def turn(self) -> None:
        """Serves the connection without waiting."""
        self._connection.turn(0.0)

    def close(self) -> None:
        """Says goodbye, which withdraws the last will: switch the relay off before."""
        self._connection.close()

    def _count(self) -> None:
        self.connections += 1


class GuardSet:
    """The guard connections of one bridge."""

    def __init__(self, address: BrokerAddress, random: Random) -> None:
        self._address = address
        self._random = random
        self._links: dict[Guard, GuardLink] = {}
        self._seen: dict[Guard, int] = {}

    def want(self, guards: tuple[Guard, ...]) -> None:
        """Opens what is new and closes what is no longer wanted; the others are not touched."""
        for gone in self._links.keys() - set(guards):
            self._links.pop(gone).close()
            self._seen.pop(gone, None)
        for guard in guards:
            if guard not in self._links:
                self._links[guard] = GuardLink(self._address, guard, self._random)

    def up(self, guard: Guard) -> bool:
        """Whether the broker holds this one's last will."""
        return guard in self._links and self._links[guard].up

    def turn(self) -> list[tuple[Guard, bool]]:
        """Serves all of them; returns those that went up or down since the last turn.

        One that went down and up again in between is returned as up: its last will has been published meanwhile, so
        the relay must be told again what it is to do.
        """
        for link in self._links.values():
            link.turn()
        standing = {guard: link.connections if link.up else 0 for guard, link in self._links.items()}
        changes = [(guard, count > 0) for guard, count in standing.items() if self._seen.get(guard, 0) != count]
        self._seen = standing
        return changes

    def close(self) -> None:
        """Says goodbye on all of them."""
        self.want(())
