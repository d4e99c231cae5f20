"""The link to a real broker, on paho."""

from collections import Counter, deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from random import Random
from typing import TYPE_CHECKING, Any

import paho.mqtt.client as mqtt

from schemas.contract import MAX_PAYLOAD_BYTES, encode
from services.runtime.address import BrokerAddress
from services.runtime.clock import machine_seconds
from services.runtime.connection import Connection, Listeners, Will
from services.runtime.frames import Packet
from services.runtime.link import Delivery, kept_while_offline
from services.runtime.service import Outgoing

if TYPE_CHECKING:
    from paho.mqtt.client import SocketLike

WINDOW = 200
"""Published messages that may be unconfirmed at once; the rest waits here."""
MOST_UNTAKEN = 2_000
"""Unacknowledged messages stop the broker before there are so many; QoS 0 messages beyond it are dropped and counted.
Not reading the socket instead would keep out the confirmations that a busy host waits for."""
RESUBSCRIBE_AFTER_S = 2.0
MOST_KEPT = 20_000
"""Messages kept through an outage; beyond it the oldest go, and are counted."""
_MID_BITS = 16


@dataclass(slots=True)
class _Letter:
    number: int
    topic: str
    payload: bytes
    retain: bool
    kept: bool


class BrokerLink:
    """A `Link` to an MQTT 3.1.1 broker; `will` is asked anew for every connection."""

    def __init__(
        self,
        address: BrokerAddress,
        client_id: str,
        random: Random,
        *,
        will: Callable[[], Outgoing | None] = lambda: None,
        persistent: bool = False,
        keep_alive_s: int = 15,
    ) -> None:
        self.connections = 0
        self.counts: Counter[str] = Counter()
        self._will = will
        self._filters: tuple[str, ...] = ()
        self._inbox: deque[Delivery] = deque()
        self._queue: deque[_Letter] = deque()
        self._sent: dict[int, _Letter] = {}
        self._confirmed: list[int] = []
        self._number = 0
        self._refused = ""
        self._subscribing: dict[int, list[str]] = {}
        self._try_again: list[str] = []
        self._try_again_s = 0.0
        listeners = Listeners(self._on_up, self._on_down, self._on_received, self._on_confirmed, self._last_will)
        self._connection = Connection(
            address, client_id, random, listeners, persistent=persistent, keep_alive_s=keep_alive_s
        )
        self._client = self._connection.client
        self._client.on_subscribe = self._on_subscribe

    @property
    def connected(self) -> bool:
        """Whether the broker has let us in."""
        return self._connection.up

    @property
    def socket(self) -> "SocketLike | None":
        """What the connection runs over, for whoever waits on several; None while there is none."""
        return self._client.socket()

    @property
    def listening(self) -> bool:
        """Whether the broker has confirmed every subscription."""
        return self.connected and not self._subscribing and not self._try_again

    @property
    def waiting(self) -> int:
        """Unconfirmed, queued and not yet taken messages."""
        return len(self._inbox) + len(self._queue) + len(self._sent)

    @property
    def untaken(self) -> int:
        """Messages received and not taken."""
        return len(self._inbox)

    @property
    def trouble(self) -> str:
        """What the connection, or else a refused subscription, has to say."""
        return self._connection.trouble or self._refused

    def listen(self, filters: tuple[str, ...]) -> None:
        """Subscribes to what is new, at QoS 1, and unsubscribes what is no longer wanted."""
        new = [one for one in filters if one not in self._filters]
        gone = [one for one in self._filters if one not in filters]
        self._filters = filters
        if self.connected:
            if gone:
                self._client.unsubscribe(gone)
            self._subscribe(new)

    def publish(self, outgoing: Outgoing) -> int:
        """Leaves with the next flush when there is a connection and room; `KEPT_WHILE_OFFLINE` says what waits else.

        A payload over 16,000 bytes is counted and not sent: no broker would say that it refused it.
        """
        payload = outgoing.body if isinstance(outgoing.body, bytes) else encode(outgoing.body)
        if len(payload) > MAX_PAYLOAD_BYTES:
            self.counts["too-big-to-send"] += 1
            return 0
        if outgoing.qos == 0:
            self._send_once(outgoing, payload)
            return 0
        kept = kept_while_offline(outgoing)
        if not self.connected and not kept:
            self.counts["dropped-offline"] += 1
            return 0
        self._number += 1
        letter = _Letter(self._number, outgoing.topic, payload, outgoing.retain, kept)
        self._queue.append(letter)
        self._send_queued()
        self._shed()
        return letter.number

    def flush(self) -> None:
        """One write for all that was published and acknowledged since the last."""
        self._connection.flush()

    def turn(self, wait_s: float) -> None:
        """Reads a limited number of messages, so that they are handled soon; the rest waits in the socket."""
        self._connection.turn(wait_s)
        self._subscribe_again()

    def take(self, limit: int) -> list[Delivery]:
        """What has come, oldest first."""
        count = min(limit, len(self._inbox))
        return [self._inbox.popleft() for _ in range(count)]

    def acknowledge(self, ticket: int) -> None:
        """Sends the PUBACK, when the connection it came over still stands."""
        if ticket and ticket >> _MID_BITS == self.connections and self.connected:
            self._client.acknowledge(ticket & ((1 << _MID_BITS) - 1))

    def confirmed(self) -> list[int]:
        """Which messages the broker has acknowledged, or were given up."""
        confirmed, self._confirmed = self._confirmed, []
        return confirmed

    def close(self) -> None:
        """Says goodbye."""
        self._connection.close()

    def _send_once(self, outgoing: Outgoing, payload: bytes) -> None:
        if self.connected:
            self._client.post(outgoing.topic, payload, 0, outgoing.retain)
        else:
            self.counts["dropped-offline"] += 1

    def _send_queued(self) -> None:
        while self._queue and self.connected and len(self._sent) < WINDOW:
            letter = self._queue.popleft()
            self._sent[self._client.post(letter.topic, letter.payload, 1, letter.retain)] = letter

    def _put_back(self, letters: list[_Letter]) -> None:
        self._queue.extendleft(letter for letter in reversed(letters) if letter.kept)
        self._give_up((letter for letter in letters if not letter.kept), "dropped-offline")

    def _shed(self) -> None:
        while len(self._queue) > MOST_KEPT:
            self._give_up([self._queue.popleft()], "dropped-overflow")

    def _give_up(self, letters: Iterable[_Letter], why: str) -> None:
        numbers = [letter.number for letter in letters]
        self.counts[why] += len(numbers)
        self._confirmed.extend(numbers)

    def _last_will(self) -> Will | None:
        will = self._will()
        if will is None:
            return None
        payload = will.body if isinstance(will.body, bytes) else encode(will.body)
        return Will(will.topic, payload, will.qos, will.retain)

    def _subscribe(self, filters: Iterable[str]) -> None:
        wanted = [(one, 1) for one in filters]
        if wanted:
            _, mid = self._client.subscribe(wanted)
            if mid is not None:
                self._subscribing[mid] = [one for one, _ in wanted]

    def _on_up(self) -> None:
        self.connections += 1
        self._subscribe(self._filters)
        self._send_queued()

    def _on_down(self) -> None:
        """Only what keeps is kept to be sent again."""
        self._subscribing.clear()
        self._try_again.clear()
        left = [*self._sent.values(), *self._queue]
        self._sent.clear()
        self._queue.clear()
        self._put_back(left)

    def _on_received(self, packet: Packet) -> None:
        ticket = self.connections << _MID_BITS | packet.mid if packet.qos else 0
        try:
            topic = packet.topic.decode()
        except UnicodeDecodeError:
            self.counts["unreadable-topic"] += 1
            self.acknowledge(ticket)
            return
        if not packet.qos and len(self._inbox) >= MOST_UNTAKEN:
            self.counts["dropped-flood"] += 1
            return
        self._inbox.append(Delivery(topic, packet.payload, packet.retain, ticket))

    def _on_confirmed(self, mid: int) -> None:
        letter = self._sent.pop(mid, None)
        if letter is not None:
            self._confirmed.append(letter.number)
        self._send_queued()

    def _on_subscribe(self, _client: mqtt.Client, _data: Any, mid: int, codes: list[Any], _properties: Any) -> None:
        asked = self._subscribing.pop(mid, [])
        refused = [one for one, code in zip(asked, codes, strict=False) if code.is_failure]
        if refused:
            self.counts["subscriptions-refused"] += len(refused)
            self._refused = f"the broker refused to let us listen to {', '.join(refused)}; trying again"
            self._try_again += refused
            self._try_again_s = machine_seconds() + RESUBSCRIBE_AFTER_S
        elif not self._try_again:
            self._refused = ""

    def _subscribe_again(self) -> None:
        """A busy broker refuses for a moment; one whose access list forbids it goes on refusing: health says so."""
        if self._try_again and machine_seconds() >= self._try_again_s:
            again, self._try_again = self._try_again, []
            self._subscribe(one for one in again if one in self._filters)
