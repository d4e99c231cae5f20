"""One client of a broker, as plain as a device: what it was let do, and what it got."""

import socket
import ssl
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from services.runtime.address import BrokerAddress
from tests.waiting import wait_until


class Visitor:
    """Use it with `with`; `verdict` is `in`, or how it was turned away."""

    def __init__(self, address: BrokerAddress, name: str = "", will: str = "") -> None:
        self.got: list[tuple[str, bytes, bool]] = []
        self.verdict = ""
        self._answered: set[int] = set()
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, name or address.username, protocol=mqtt.MQTTv311, reconnect_on_failure=False
        )
        if address.username:
            self._client.username_pw_set(address.username, address.password or None)
        if address.tls:
            files = (address.ca_file, address.certificate_file, address.key_file)
            ca_file, certificate, key = (None if one is None else str(one) for one in files)
            self._client.tls_set(ca_certs=ca_file, certfile=certificate, keyfile=key)
        if will:
            self._client.will_set(will, b"will", 1)
        self._client.on_socket_open = lambda _client, _data, sock: sock.setsockopt(
            socket.IPPROTO_TCP, socket.TCP_NODELAY, 1
        )
        self._client.on_connect = self._enter
        self._client.on_message = lambda _client, _data, one: self.got.append((one.topic, one.payload, one.retain))
        self._client.on_subscribe = lambda _client, _data, mid, _codes, _properties: self._answered.add(mid)
        self._client.on_disconnect = self._leave
        try:
            self._client.connect("127.0.0.1", address.port, 30)
        except ssl.SSLError as error:
            self.verdict = f"certificate refused: {error.reason}"
            return
        self._client.loop_start()
        wait_until(lambda: bool(self.verdict), "the broker's answer")

    def __enter__(self) -> "Visitor":
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    @property
    def gone(self) -> bool:
        """Whether the broker, or a broken connection, has ended it."""
        return self.verdict == "left"

    def vanish(self) -> None:
        """Breaks the connection without a goodbye."""
        found = self._client.socket()
        assert found is not None
        found.shutdown(socket.SHUT_RDWR)

    @property
    def topics(self) -> set[str]:
        """On which something came."""
        return {topic for topic, _, _ in self.got}

    def listen(self, *filters: str) -> None:
        """Each for itself, so that a refused one takes no other along; returns when the broker has answered all."""
        for one in filters:
            _, mid = self._client.subscribe(one, 1)
            wait_until(lambda mid=mid: mid in self._answered, f"the answer to {one}")  # type: ignore[misc]

    def say(self, topic: str, body: bytes, retain: bool = False) -> None:
        """Returns when the broker has taken note, which it does of what it refuses, too."""
        self._client.publish(topic, body, 1, retain).wait_for_publish(60)

    def try_all(self, topics: tuple[str, ...], body: bytes) -> None:
        """Retained, at QoS 0; a subscription's answer shows that all were looked at."""
        for topic in topics:
            self._client.publish(topic, body, 0, True)
        self.listen("fence")

    def _enter(self, _client: Any, _data: Any, _flags: Any, code: Any, _properties: Any) -> None:
        self.verdict = f"refused: {code}" if code.is_failure else "in"

    def _leave(self, _client: Any, _data: Any, _flags: Any, code: Any, _properties: Any) -> None:
        if not self.verdict:
            self.verdict = f"cut off: {code}"
        elif self.verdict == "in":
            self.verdict = "left"
