"""One MQTT connection that its owner's thread keeps alive: connecting, back-off, reading and writing."""

import contextlib
import select
import socket
from collections.abc import Callable
from dataclasses import dataclass
from random import Random
from typing import Any

import paho.mqtt.client as mqtt

from services.runtime.address import BrokerAddress
from services.runtime.clock import machine_seconds
from services.runtime.frames import Packet
from services.runtime.quick_client import QuickClient

FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 30.0
STEADY_AFTER_S = 10.0
"""A connection that lasted so long was a good one: the next back-off starts from the beginning."""
CONNECT_TIMEOUT_S = 3.0
MOST_PACKETS = 200
"""Read in one turn, so that those that came are handled soon."""


@dataclass(frozen=True, slots=True)
class Will:
    """What the broker publishes for a client that is gone without a goodbye."""

    topic: str
    payload: bytes
    qos: int = 1
    retain: bool = False


class BackOff:
    """Pauses of 1 s, 2 s, 4 s, up to 30 s, each shortened by up to half at random: clients must not come in step."""

    def __init__(self, random: Random) -> None:
        self._random = random
        self._pause_s = FIRST_PAUSE_S

    def next_pause_s(self) -> float:
        """How long to wait before the next attempt."""
        pause_s, self._pause_s = self._pause_s, min(self._pause_s * 2, LONGEST_PAUSE_S)
        return pause_s * (1 - self._random.random() / 2)

    def start_over(self) -> None:
        """All is well again."""
        self._pause_s = FIRST_PAUSE_S


def _nothing() -> None:
    return None


def _no_will() -> Will | None:
    return None


@dataclass(slots=True)
class Listeners:
    """Who is told what happens on a connection; all are called in the owner's thread, from within `turn`."""

    up: Callable[[], None] = _nothing
    down: Callable[[], None] = _nothing
    received: Callable[[Packet], None] | None = None
    confirmed: Callable[[int], None] | None = None
    will: Callable[[], Will | None] = _no_will


class Connection:
    """A paho client without a thread of its own: nothing happens between two calls of `turn`.

    A hung owner therefore stops answering, and the broker publishes its last will 1.5 keep-alives later.
    """

    def __init__(
        self,
        address: BrokerAddress,
        client_id: str,
        random: Random,
        listeners: Listeners,
        *,
        persistent: bool = False,
        keep_alive_s: int = 15,
    ) -> None:
        self.up = False
        self.trouble = ""
        self._address = address
        self._listeners = listeners
        self._back_off = BackOff(random)
        self._next_attempt = machine_seconds()
        self._up_since = 0.0
        self._keep_alive_s = keep_alive_s
        self.client = self._build(client_id, persistent)

    def turn(self, wait_s: float, most: int = MOST_PACKETS) -> None:
        """Writes, and reads up to so many packets; waits at most `wait_s` for something to come."""
        if self.client.socket() is None and not self._reconnect(wait_s):
            return
        self.flush()
        self.client.loop_misc()
        self._wait(wait_s)
        self.client.read(most)

    def flush(self) -> None:
        """Writes what was published and acknowledged."""
        if self.client.want_write():
            self.client.loop_write()
        if (sock := self.client.buffered) is not None:
            sock.flush()

    def close(self) -> None:
        """Disconnects in good order: what is queued is written first, within a second."""
        deadline = machine_seconds() + 1.0
        self.flush()
        while (sock := self.client.buffered) is not None and sock.unsent and machine_seconds() < deadline:
            select.select([], [sock], [], 0.1)
            self.flush()
        if sock is not None:
            sock.parting = True
        self.client.disconnect()
        self.up = False

    def _build(self, client_id: str, persistent: bool) -> QuickClient:
        client = QuickClient(client_id, persistent)
        client.connect_timeout = CONNECT_TIMEOUT_S
        if self._address.username:
            client.username_pw_set(self._address.username, self._address.password)
        if self._address.tls:
            _use_tls(client, self._address)
        client.on_socket_open = _tune
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.received = self._listeners.received or client.received
        client.confirmed = self._listeners.confirmed or client.confirmed
        client.connect_async(self._address.host, self._address.port, self._keep_alive_s)
        return client

    def _reconnect(self, wait_s: float) -> bool:
        """Whether there is a socket now; when it is too early, waits."""
        left_s = self._next_attempt - machine_seconds()
        if left_s > 0:
            select.select([], [], [], min(wait_s, left_s))
            return False
        self._next_attempt = machine_seconds() + self._back_off.next_pause_s()
        will = self._listeners.will()
        if will is not None:
            self.client.will_set(will.topic, will.payload, will.qos, will.retain)
        try:
            self.client.reconnect()
        except OSError as error:
            self.trouble = f"cannot reach the broker at {self._address}: {error}"
            return False
        return True

    def _wait(self, wait_s: float) -> None:
        sock = self.client.buffered
        if sock is not None and not self.client.unread and not sock.decrypted:
            select.select([sock], [sock] if sock.unsent else [], [], wait_s)

    def _on_connect(self, _client: mqtt.Client, _data: Any, _flags: Any, code: Any, _properties: Any) -> None:
        if code.is_failure:
            self.trouble = f"the broker at {self._address} refused: {code}"
            return
        self.up = True
        self.trouble = ""
        self._up_since = machine_seconds()
        self._listeners.up()

    def _on_disconnect(self, _client: mqtt.Client, _data: Any, _flags: Any, code: Any, _properties: Any) -> None:
        was_up, self.up = self.up, False
        if not was_up:
            return
        lasted_s = machine_seconds() - self._up_since
        self.trouble = f"lost the broker at {self._address} after {lasted_s:.1f} s: {code}"
        if lasted_s >= STEADY_AFTER_S:
            self._back_off.start_over()
            self._next_attempt = machine_seconds() + self._back_off.next_pause_s()
        self._listeners.down()


def _use_tls(client: mqtt.Client, address: BrokerAddress) -> None:
    files = (address.ca_file, address.certificate_file, address.key_file)
    ca_file, certificate_file, key_file = (None if path is None else str(path) for path in files)
    client.tls_set(ca_certs=ca_file, certfile=certificate_file, keyfile=key_file)


def _tune(_client: mqtt.Client, _data: Any, sock: Any) -> None:
    """Without TCP_NODELAY an acknowledged message costs 20 to 45 ms; with TCP_USER_TIMEOUT nothing old leaves late."""
    with contextlib.suppress(OSError, AttributeError):
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, 10_000)
