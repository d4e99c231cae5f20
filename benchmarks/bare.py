"""Bare paho programs to compare with: nothing of ours between the library and the broker.

`python -m benchmarks.bare echo PORT`, `... feed PORT RATE SECONDS TOPIC...`, `... pour PORT COUNT TOPIC`.
"""

import socket
import sys
import time
from collections.abc import Callable
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

PING, PONG = "bench/ping", "bench/pong"
PAYLOAD = b"20.0625"
PATIENCE_S = 60.0


def client(port: int, name: str) -> mqtt.Client:
    """Connected to loopback, with TCP_NODELAY, as any fair comparison needs; everything else as the library has it."""

    def open_quick(_client: mqtt.Client, _data: Any, sock: Any) -> None:
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    made = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=name)
    made.on_socket_open = open_quick
    made.connect("127.0.0.1", port)
    return made


class Device:
    """A device, or whoever measures as one: publishes one thing and waits until another comes back."""

    def __init__(self, port: int, name: str, listen: str) -> None:
        self._client = client(port, name)
        self._came: list[tuple[str, bytes]] = []
        self._client.on_message = self._on_message
        self._client.on_connect = lambda own, *_: own.subscribe(listen, 1)
        subscribed: list[int] = []
        self._client.on_subscribe = lambda *_: subscribed.append(1)
        self._loop_until(lambda: bool(subscribed))

    def there_and_back_s(self, topic: str, payload: bytes, qos: int, answer: tuple[str, bytes]) -> float:
        """Seconds from publishing until the answer is here."""
        begun = time.perf_counter()
        self._client.publish(topic, payload, qos)
        return self.wait_s(answer, begun)

    def wait_s(self, answer: tuple[str, bytes], begun: float) -> float:
        """Seconds from then until the answer is here."""
        self._loop_until(lambda: answer in self._came)
        self._came.clear()
        return time.perf_counter() - begun

    def close(self) -> None:
        """Says goodbye."""
        self._client.disconnect()

    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        self._came.append((message.topic, bytes(message.payload)))

    def _loop_until(self, enough: Callable[[], bool]) -> None:
        deadline = time.perf_counter() + PATIENCE_S
        while not enough():
            if time.perf_counter() > deadline:
                raise TimeoutError(f"nothing that was waited for came within {PATIENCE_S:g} s")
            self._client.loop(0.1)


def echo(port: int) -> None:
    """Answers every ping with a pong, at QoS 1, until killed."""
    made = client(port, "bare-echo")

    def answer(own: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        own.publish(PONG, message.payload, 1)

    made.on_message = answer
    made.on_connect = lambda own, *_: own.subscribe(PING, 1)
    made.on_subscribe = lambda *_: print("ready", flush=True)
    made.loop_forever()


def feed(port: int, rate: float, seconds: float, topics: list[str]) -> None:
    """Publishes so many readings a second, spread evenly in time and over the topics, at QoS 0 as telemetry is."""
    made = client(port, "bare-feed")
    made.loop_start()
    begun = time.perf_counter()
    for number in range(int(rate * seconds)):
        pause = begun + number / rate - time.perf_counter()
        if pause > 0:
            time.sleep(pause)
        made.publish(topics[number % len(topics)], b"%.2f" % (50 + number % 7), 0)
    made.disconnect()
    made.loop_stop()


def pour(port: int, count: int, topics: list[str]) -> None:
    """Publishes so many readings at QoS 1, as fast as the library's own window of 20 lets them go."""
    made = client(port, "bare-pour")
    made.loop_start()
    sent = [made.publish(topics[number % len(topics)], b"%.2f" % (50 + number % 7), 1) for number in range(count)]
    for info in sent:
        info.wait_for_publish()
    made.disconnect()
    made.loop_stop()


PROGRAMS: dict[str, Callable[[list[str]], None]] = {
    "echo": lambda rest: echo(int(rest[0])),
    "feed": lambda rest: feed(int(rest[0]), float(rest[1]), float(rest[2]), rest[3:]),
    "pour": lambda rest: pour(int(rest[0]), int(rest[1]), rest[2:]),
}

if __name__ == "__main__":
    PROGRAMS[sys.argv[1]](sys.argv[2:])
