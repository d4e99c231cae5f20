"""What a service with durable state has sent and the broker has not confirmed: saved with the state, sent again."""

from collections.abc import Callable, Iterable

from schemas.contract import encode
from schemas.topics import TopicKind, parse
from services.runtime.service import Outgoing
from services.runtime.state import Unsent

ONCE_ONLY = frozenset({TopicKind.JOURNAL, TopicKind.REPLY, TopicKind.CONDITION, TopicKind.ALARM})
"""Kinds that nothing would send again by itself. Receivers know a repetition by its id or its content."""


class Outbox:
    """Messages by a key of our own until the broker confirms their number."""

    def __init__(self, left_over: Iterable[Unsent] = ()) -> None:
        self.changed = False
        self._unsent: dict[int, Unsent] = dict(enumerate(left_over))
        self._left_over = list(self._unsent)
        self._next_key = len(self._unsent)
        self._keys: dict[int, int] = {}

    def add(self, outputs: Iterable[Outgoing]) -> list[int]:
        """Takes in what must not be lost; returns a key for each message, -1 for those it does not keep."""
        return [self._add_one(outgoing) for outgoing in outputs]

    def sent(self, keys: list[int], numbers: list[int]) -> None:
        """Under which numbers they left; 0 means that no broker will ever take it, so it is not kept either."""
        self._keys.update((number, key) for key, number in zip(keys, numbers, strict=True) if key >= 0)
        self.confirm([0])

    def confirm(self, numbers: Iterable[int]) -> None:
        """The broker has these."""
        for number in numbers:
            key = self._keys.pop(number, None)
            if key is not None:
                self._unsent.pop(key, None)
                self.changed = True

    def send_again(self, publish: Callable[[Outgoing], int]) -> None:
        """Sends what an earlier life of the service left behind; once, the link keeps it from then on."""
        for key in self._left_over:
            unsent = self._unsent[key]
            number = publish(Outgoing(unsent.topic, unsent.payload.encode(), unsent.retain))
            self.sent([key], [number])
        self._left_over = []

    def unsent(self) -> tuple[Unsent, ...]:
        """What to save."""
        return tuple(self._unsent.values())

    def _add_one(self, outgoing: Outgoing) -> int:
        address = parse(outgoing.topic)
        if isinstance(outgoing.body, bytes) or address is None or address.kind not in ONCE_ONLY:
            return -1
        key = self._next_key
        self._next_key += 1
        self._unsent[key] = Unsent(topic=outgoing.topic, payload=encode(outgoing.body).decode(), retain=outgoing.retain)
        self.changed = True
        return key
