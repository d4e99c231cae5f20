"""Cuts a stream of bytes into MQTT packets. OASIS MQTT 3.1.1, sections 2.2 and 3.3."""

from typing import NamedTuple

PUBLISH, PUBACK = 0x30, 0x40
KIND = 0xF0
_LENGTH_BYTES = 4
_MID_BYTES = 2


class Malformed(ValueError):
    """What came is no MQTT 3.1.1."""


class Frame(NamedTuple):
    """One packet: its first byte, and what stands behind its length."""

    first: int
    body: bytes


class Packet(NamedTuple):
    """A PUBLISH packet; `mid` is 0 at QoS 0."""

    topic: bytes
    payload: bytes
    qos: int
    retain: bool
    mid: int


class Frames:
    """Holds what has come of packets not yet complete."""

    def __init__(self) -> None:
        self._bytes = b""
        self._start = 0

    def feed(self, data: bytes) -> None:
        """Adds what was read."""
        self._bytes = self._bytes[self._start :] + data if self._start < len(self._bytes) else data
        self._start = 0

    def next(self) -> Frame | None:
        """The next complete packet; raises Malformed for a length of more than four bytes."""
        data, start = self._bytes, self._start
        length, place = 0, start + 1
        for shift in range(0, 7 * _LENGTH_BYTES, 7):
            if place >= len(data):
                return None
            byte = data[place]
            place += 1
            length |= (byte & 0x7F) << shift
            if byte < 0x80:
                break
        else:
            raise Malformed("a packet's length has more than four bytes")
        if len(data) < place + length:
            return None
        self._start = place + length
        return Frame(data[start], data[place : self._start])


def read_publish(frame: Frame) -> Packet:
    """The PUBLISH packet in a frame; raises Malformed for QoS 2, which nobody asked for, and for one cut short."""
    first, body = frame
    qos = first >> 1 & 0b11
    topic_end = 2 + int.from_bytes(body[:2], "big")
    start = topic_end + (_MID_BYTES if qos else 0)
    if qos > 1 or len(body) < start:
        raise Malformed(f"a PUBLISH packet of QoS {qos} and {len(body)} bytes, which needs {start}")
    mid = int.from_bytes(body[topic_end:start], "big")
    return Packet(body[2:topic_end], body[start:], qos, bool(first & 1), mid)


def write_publish(packet: Packet) -> bytes:
    """The bytes of a PUBLISH packet."""
    topic, payload, qos, retain, mid = packet
    middle = mid.to_bytes(_MID_BYTES, "big") if qos else b""
    body = b"".join((len(topic).to_bytes(2, "big"), topic, middle, payload))
    return bytes((PUBLISH | qos << 1 | retain,)) + _length(len(body)) + body


def read_puback(frame: Frame) -> int:
    """The mid that a PUBACK packet confirms."""
    return int.from_bytes(frame.body[:_MID_BYTES], "big")


def write_puback(mid: int) -> bytes:
    """The bytes of a PUBACK packet."""
    return bytes((PUBACK, _MID_BYTES)) + mid.to_bytes(_MID_BYTES, "big")


def _length(count: int) -> bytes:
    out = bytearray()
    while count > 0x7F:
        out.append(count & 0x7F | 0x80)
        count >>= 7
    out.append(count)
    return bytes(out)
