"""paho without what our links do for themselves.

A link keeps its own letters until they are confirmed, so paho's store of outgoing messages, which it would send again
by itself after a reconnection, however stale, is passed by. So are its look-up of callbacks and its locks against
threads that we do not have. Connecting, keep-alive, subscribing and framing stay paho's. The seams are methods that
paho's own variants go through; the bus contract tests fail when one moves.
"""

from collections.abc import Callable
from typing import Any, NamedTuple

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

from services.runtime.buffered_socket import BufferedSocket

_PUBLISH, _PUBACK = 0x30, 0x40
_MID_BYTES = 2


class Packet(NamedTuple):
    """A PUBLISH packet as it came; `mid` is 0 at QoS 0. OASIS MQTT 3.1.1, section 3.3."""

    topic: bytes
    payload: bytes
    qos: int
    retain: bool
    mid: int


def _ignored(_: Any) -> None:
    return None


class QuickClient(mqtt.Client):
    """MQTT 3.1.1, QoS 0 and 1, driven by one thread; what arrives goes to `received` and `confirmed`."""

    def __init__(self, client_id: str, persistent: bool) -> None:
        super().__init__(
            CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=not persistent, protocol=mqtt.MQTTv311
        )
        self.received: Callable[[Packet], None] = _ignored
        self.confirmed: Callable[[int], None] = _ignored

    @property
    def buffered(self) -> BufferedSocket | None:
        """The socket in use, or None."""
        return self._sock if isinstance(self._sock, BufferedSocket) else None

    def post(self, topic: str, payload: bytes, qos: int, retain: bool) -> int:
        """Puts a PUBLISH packet in the socket's buffer; returns its mid, or 0 at QoS 0 and without a connection."""
        if (sock := self.buffered) is None:
            return 0
        mid = self._mid_generate() if qos else 0
        name = topic.encode()
        packet = bytearray((_PUBLISH | qos << 1 | retain,))
        self._pack_remaining_length(packet, 2 + len(name) + (_MID_BYTES if qos else 0) + len(payload))
        packet += len(name).to_bytes(2, "big") + name
        if qos:
            packet += mid.to_bytes(_MID_BYTES, "big")
        sock.send(packet + payload)
        return mid

    def acknowledge(self, mid: int) -> None:
        """Puts a PUBACK packet in the socket's buffer."""
        if (sock := self.buffered) is not None:
            sock.send(bytes((_PUBACK, _MID_BYTES)) + mid.to_bytes(_MID_BYTES, "big"))

    def _create_socket(self) -> Any:
        return BufferedSocket(super()._create_socket())

    def _handle_publish(self) -> MQTTErrorCode:
        command, body = self._in_packet["command"], self._in_packet["packet"]
        qos = command >> 1 & 0b11
        topic_end = 2 + int.from_bytes(body[:2], "big")
        start = topic_end + (_MID_BYTES if qos else 0)
        if qos > 1 or len(body) < start:
            return MQTTErrorCode.MQTT_ERR_PROTOCOL
        mid = int.from_bytes(body[topic_end:start], "big")
        self.received(Packet(bytes(body[2:topic_end]), bytes(body[start:]), qos, bool(command & 1), mid))
        return MQTTErrorCode.MQTT_ERR_SUCCESS

    def _handle_pubackcomp(self, cmd: str) -> MQTTErrorCode:
        self.confirmed(int.from_bytes(self._in_packet["packet"][:_MID_BYTES], "big"))
        return MQTTErrorCode.MQTT_ERR_SUCCESS
