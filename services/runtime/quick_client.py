"""paho without what our links do for themselves.

A link keeps its own letters until they are confirmed, so paho's store of outgoing messages, which it would send again
by itself after a reconnection, however stale, is passed by. So are its look-up of callbacks, its locks against threads
that we do not have, and its four reads a packet. Connecting, keep-alive and subscribing stay paho's. The seams are
members that paho's own variants go through; the bus contract tests fail when one moves.
"""

from collections.abc import Callable
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

from services.runtime.buffered_socket import BufferedSocket
from services.runtime.clock import machine_seconds
from services.runtime.frames import (
    KIND,
    PUBACK,
    PUBLISH,
    Frame,
    Frames,
    Malformed,
    Packet,
    read_puback,
    read_publish,
    write_puback,
    write_publish,
)

_READ_AT_ONCE = 65_536


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
        self.unread = False
        self._frames = Frames()

    @property
    def buffered(self) -> BufferedSocket | None:
        """The socket in use, or None."""
        return self._sock if isinstance(self._sock, BufferedSocket) else None

    def post(self, topic: str, payload: bytes, qos: int, retain: bool) -> int:
        """Puts a PUBLISH packet in the socket's buffer; returns its mid, or 0 at QoS 0 and without a connection."""
        if (sock := self.buffered) is None:
            return 0
        mid = self._mid_generate() if qos else 0
        sock.send(write_publish(Packet(topic.encode(), payload, qos, retain, mid)))
        return mid

    def acknowledge(self, mid: int) -> None:
        """Puts a PUBACK packet in the socket's buffer."""
        if (sock := self.buffered) is not None:
            sock.send(write_puback(mid))

    def read(self, most: int) -> None:
        """Reads once, and hands on up to so many packets; `unread` says whether there may be more, already read."""
        try:
            if not self.unread and not self._read_once():
                return
            self.unread = self._hand_on(most)
        except Malformed:
            self._lose(MQTTErrorCode.MQTT_ERR_PROTOCOL)
        except OSError:
            self._lose(MQTTErrorCode.MQTT_ERR_CONN_LOST)

    def _read_once(self) -> bool:
        try:
            data = self._sock_recv(_READ_AT_ONCE)
        except BlockingIOError:
            return False
        if not data:
            self._lose(MQTTErrorCode.MQTT_ERR_CONN_LOST)
            return False
        self._frames.feed(data)
        self._last_bytes_received = machine_seconds()
        return True

    def _hand_on(self, most: int) -> bool:
        for _ in range(most):
            frame = self._frames.next()
            if frame is None:
                return False
            kind = frame.first & KIND
            if kind == PUBLISH:
                self.received(read_publish(frame))
            elif kind == PUBACK:
                self.confirmed(read_puback(frame))
            elif (status := self._leave_to_paho(frame)) > 0:
                self._lose(status)
                return False
        return True

    def _leave_to_paho(self, frame: Frame) -> MQTTErrorCode:
        self._in_packet["command"] = frame.first
        self._in_packet["packet"] = bytearray(frame.body)
        self._in_packet["remaining_length"] = len(frame.body)
        return self._packet_handle()

    def _lose(self, status: MQTTErrorCode) -> None:
        self._loop_rc_handle(status)

    def _create_socket(self) -> Any:
        self._frames, self.unread = Frames(), False
        return BufferedSocket(super()._create_socket())
