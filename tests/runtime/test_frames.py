"""Packets cut from a stream and put into one, as OASIS MQTT 3.1.1 writes them, and as paho's own reader reads them."""

import socket
import ssl
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from services.runtime.buffered_socket import BufferedSocket
from services.runtime.frames import (
    Frame,
    Frames,
    Malformed,
    Packet,
    read_puback,
    read_publish,
    write_puback,
    write_publish,
)

PACKETS = st.builds(
    lambda topic, payload, mid, retain: Packet(topic.encode(), payload, 1 if mid else 0, retain, mid),
    st.text(min_size=1, max_size=30),
    st.binary(max_size=400),
    st.integers(0, 65535),
    st.booleans(),
)


def cut(data: bytes, places: list[int]) -> list[bytes]:
    ends = sorted({0, len(data), *(place % (len(data) + 1) for place in places)})
    return [data[start:end] for start, end in pairwise(ends)]


def read_all(frames: Frames) -> list[Frame]:
    return list(iter(frames.next, None))


@pytest.mark.parametrize(
    ("length", "encoded"),
    [(0, "00"), (127, "7f"), (128, "8001"), (16_383, "ff7f"), (16_384, "808001"), (2_097_151, "ffff7f")],
)
def test_lengths_are_those_of_the_standards_table(length, encoded):
    """Table 2.4 of section 2.2.3; the largest of four bytes would take 256 MB to try."""
    data = b"\x30" + bytes.fromhex(encoded) + b"x" * length
    frames = Frames()
    frames.feed(data)
    assert frames.next() == Frame(0x30, b"x" * length)
    if length >= 3:
        assert write_publish(Packet(b"t", b"x" * (length - 3), 0, False, 0))[: len(data) - length] == data[:-length]


@given(st.lists(PACKETS, max_size=6), st.lists(st.integers(0, 5000), max_size=12))
def test_packets_come_out_whole_however_the_stream_is_cut(packets, places):
    frames, came = Frames(), []
    for piece in cut(b"".join(write_publish(packet) for packet in packets), places):
        frames.feed(piece)
        came += [read_publish(frame) for frame in read_all(frames)]
    assert came == packets


@given(PACKETS.filter(lambda packet: b"+" not in packet.topic and b"#" not in packet.topic))
def test_the_library_reads_what_we_write(packet):
    got: list[MQTTMessage] = []
    ours, theirs = socket.socketpair()
    with ours, theirs:
        client = Client(CallbackAPIVersion.VERSION2, manual_ack=True)
        client.on_message = lambda _client, _data, message: got.append(message)
        theirs.setblocking(False)
        client._sock = theirs
        ours.sendall(write_publish(packet))
        client.loop_read()
        client._sock = None
    assert [(one.topic.encode(), one.payload, one.qos, one.retain, one.mid) for one in got] == [tuple(packet)]


@given(st.integers(1, 65535))
def test_confirmation_is_read_as_written(mid):
    """Section 3.4: four bytes."""
    frames = Frames()
    frames.feed(write_puback(mid))
    frame = frames.next()
    assert (len(write_puback(mid)), frame and frame.first, frame and read_puback(frame)) == (4, 0x40, mid)


def test_length_that_never_ends_is_malformed():
    frames = Frames()
    frames.feed(b"\x30\xff\xff\xff\xff\x01")
    with pytest.raises(Malformed, match="more than four bytes"):
        frames.next()


@pytest.mark.parametrize(
    "frame", [Frame(0x32, b"\x00\x01t"), Frame(0x30, b"\x00\x09t"), Frame(0x34, b"\x00\x01t\x00\x01")]
)
def test_publish_that_is_cut_short_or_of_qos_2_is_malformed(frame):
    with pytest.raises(Malformed, match="PUBLISH"):
        read_publish(frame)


@given(st.binary(max_size=60))
def test_garbage_is_malformed_or_waits_for_more_and_nothing_else(data):
    frames = Frames()
    frames.feed(data)
    try:
        assert sum(2 + len(frame.body) for frame in read_all(frames)) <= len(data)
    except Malformed:
        assert len(data) > 4


@pytest.fixture
def ends():
    ours, theirs = socket.socketpair()
    ours.setblocking(False)
    theirs.setblocking(False)
    with ours, theirs:
        yield BufferedSocket(ours), theirs


def test_nothing_leaves_before_it_is_flushed_and_then_all_at_once(ends):
    buffered, other = ends
    buffered.send(b"one")
    buffered.send(b"two")
    with pytest.raises(BlockingIOError):
        other.recv(10)
    buffered.flush()
    assert other.recv(10) == b"onetwo"
    assert not buffered.unsent


def test_what_the_kernel_does_not_take_stays(ends):
    buffered, other = ends
    buffered.send(b"x" * 10_000_000)
    buffered.flush()
    assert buffered.unsent
    assert len(other.recv(20_000_000)) > 0


class EndsTls:
    """A socket of TLS whose other side went without a goodbye."""

    def send(self, _data: bytes) -> int:
        raise ssl.SSLEOFError("EOF occurred in violation of protocol")


def test_tls_that_ends_without_a_goodbye_shows_when_reading():
    buffered = BufferedSocket(EndsTls())
    buffered.send(b"one")
    buffered.flush()
    with pytest.raises(ssl.SSLEOFError):
        buffered.recv(10)


def test_broken_connection_shows_when_reading(ends):
    buffered, other = ends
    other.close()
    buffered.send(b"late")
    buffered.flush()
    with pytest.raises(BrokenPipeError):
        buffered.recv(10)


@pytest.mark.parametrize(("parting", "heard"), [(True, b"bye"), (False, b"")])
def test_only_a_goodbye_still_leaves_when_closing(ends, parting, heard):
    buffered, other = ends
    buffered.send(b"bye")
    buffered.parting = parting
    buffered.close()
    assert other.recv(10) == heard
