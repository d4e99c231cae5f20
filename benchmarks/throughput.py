"""The highest rate of raw readings that bridge and supervisor keep up with, against bare paho on the same broker.

Both pours are the same program at QoS 1 with the library's own window; the bare one goes straight to a bare subscriber.
Ours counts only when everything was handled: behind the last reading comes one that switches a heater off, and the
clock stops when the relay hears of it, so a queue that grows is paid for in full.
"""

from collections.abc import Iterable
from time import perf_counter

from benchmarks.bare import client
from benchmarks.latency import Heaters
from benchmarks.rows import Row, at_least
from benchmarks.stand import CHAMBERS, TOO_WARM, Stand, beer_topic, chambers, other_topics, relay_topic, turn_until

NAME = "throughput"
OVER_ECHO = 0.3
COUNT = 5000
ROUNDS = 3


def run() -> Iterable[Row]:
    """The best of three rounds each: what the machine can do when nothing else has it."""
    with chambers() as stand:
        bare = max(_bare_rate(stand) for _ in range(ROUNDS))
        ours = max(_our_rate(stand, number) for number in range(ROUNDS))
    yield at_least(NAME, "sustained_readings_over_echo", ours / bare, f"x ({ours:.0f}/s)", OVER_ECHO, bare, ours / bare)


def _bare_rate(stand: Stand) -> float:
    """Readings a second, from one bare publisher to one bare subscriber."""
    got = 0

    def count(*_: object) -> None:
        nonlocal got
        got += 1

    ear = client(stand.address.port, "bare-ear")
    ear.on_message = count
    ear.on_connect = lambda own, *_: own.subscribe("bench/bare", 1)
    subscribed: list[int] = []
    ear.on_subscribe = lambda *_: subscribed.append(1)
    while not subscribed:
        ear.loop(0.1)
    program = stand.program("pour", str(COUNT), "bench/bare")
    while got == 0:
        ear.loop(0.1)
    begun = perf_counter()
    while got < COUNT:
        ear.loop(0.1)
    seconds = perf_counter() - begun
    ear.disconnect()
    program.wait()
    return COUNT / seconds


def _our_rate(stand: Stand, number: int) -> float:
    """Readings a second, from the first to be seen until the relay is told what the one after the last brings about."""
    chamber = CHAMBERS[number % len(CHAMBERS)]
    heaters = Heaters(stand)
    ear = stand.link("bench-throughput", other_topics()[0])
    heaters.switch_on(chamber, f"throughput-{number}")
    program = stand.program("pour", str(COUNT), *other_topics())
    turn_until(ear, lambda came: any(one.topic == other_topics()[0] for one in came))
    begun = perf_counter()
    while program.poll() is None:
        turn_until(ear, lambda _: True)
        ear.turn(0.01)
    heaters.device.there_and_back_s(beer_topic(chamber), TOO_WARM, 1, (relay_topic(chamber), b"0"))
    seconds = perf_counter() - begun
    ear.close()
    heaters.close()
    return COUNT / seconds
