"""How long a reading takes to switch an output off: through the bridge, the supervisor, and the bridge again.

Real processes on the embedded broker, under 200 other readings a second. Four broker hops, against the two of a bare
paho there-and-back echo on the same broker under the same load; at the measuring end is the same bare paho device both
times. Raw readings are QoS 0, as devices' telemetry is by contract; everything else, the echo included, is QoS 1.
"""

from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from statistics import quantiles
from time import perf_counter

from benchmarks.bare import PAYLOAD, PING, PONG, Device
from benchmarks.rows import Row, at_most
from benchmarks.stand import (
    CHAMBERS,
    COLD,
    SITE,
    TOO_WARM,
    Stand,
    beer_topic,
    chambers,
    other_topics,
    relay_topic,
    turn_until,
)
from schemas.requests import ClearLockOut
from schemas.topics import ROOT, TopicKind, topic
from services.runtime.link import Delivery
from services.runtime.service import Outgoing

NAME = "latency"
P50_OVER_ECHO = 3.0
P99_OVER_ECHO = 4.0
SAMPLES = 400
WARM_UP = 20
OTHER_READINGS_PER_S = 200
LONGEST_S = 600


def run() -> Iterable[Row]:
    """The median and the 99th percentile, each over the echo's own."""
    with chambers() as stand:
        load = stand.program("feed", str(OTHER_READINGS_PER_S), str(LONGEST_S), *other_topics())
        try:
            bare, ours = _echoed(stand), _switched_off(stand)
        finally:
            load.kill()
    yield _row("reading_to_command_p50_over_echo", ours[49], bare[49], P50_OVER_ECHO)
    yield _row("reading_to_command_p99_over_echo", ours[98], bare[98], P99_OVER_ECHO)


def _row(figure: str, ours_s: float, bare_s: float, goal: float) -> Row:
    """The ratio is what has a goal; both times are in the row, in ms."""
    return at_most(NAME, figure, ours_s / bare_s, f"x ({1e3 * ours_s:.2f} ms)", goal, 1e3 * bare_s, ours_s / bare_s)


def _percentiles(times: Iterator[float]) -> list[float]:
    """Percentiles 1 to 99, in s, without the first few, in which everybody warms up."""
    return quantiles(list(times)[WARM_UP:], n=100)


def _echoed(stand: Stand) -> list[float]:
    echo = stand.program("echo")
    try:
        if echo.stdout is None or echo.stdout.readline() != "ready\n":
            raise RuntimeError("the bare echo did not come up")
        device = Device(stand.address.port, "bench-pinger", PONG)
        times = [device.there_and_back_s(PING, PAYLOAD, 1, (PONG, PAYLOAD)) for _ in range(WARM_UP + SAMPLES)]
        device.close()
        return _percentiles(iter(times))
    finally:
        echo.kill()


def _switched_off(stand: Stand) -> list[float]:
    heaters = Heaters(stand)
    try:
        return _percentiles(heaters.switched_off_s(number) for number in range(WARM_UP + SAMPLES))
    finally:
        heaters.close()


class Heaters:
    """Takes the chambers in turn: lets one be cold until its heater runs, then tells that it is too warm."""

    def __init__(self, stand: Stand) -> None:
        self.device = Device(stand.address.port, "bench-device", "device/+/heat")
        self._link = stand.link(
            "bench-person", *(f"{ROOT}/{SITE}/{about}" for about in ("reading/+/beer", "report/#", "reply/#"))
        )

    def close(self) -> None:
        """Says goodbye."""
        self.device.close()
        self._link.close()

    def switched_off_s(self, number: int) -> float:
        """Seconds from publishing the reading until the relay's off payload is here."""
        chamber = CHAMBERS[number % len(CHAMBERS)]
        self.switch_on(chamber, f"latency-{number}")
        return self.device.there_and_back_s(beer_topic(chamber), TOO_WARM, 0, (relay_topic(chamber), b"0"))

    def switch_on(self, chamber: str, request_id: str) -> None:
        """A request about a chamber has it looked at once, so that no sample waits for the regular look.

        The first look switches the heater on, the second one knows that it is on.
        """
        reading, report = (topic(SITE, kind, chamber, name) for kind, name in _ABOUT)
        self._link.publish(Outgoing(beer_topic(chamber), COLD))
        self._wait_for(lambda one: one.topic == reading)
        self._have_looked_at(chamber, f"{request_id}-on")
        self._wait_for(lambda one: one.topic == report and b'"level":1' in one.body)
        self.device.wait_s((relay_topic(chamber), b"1"), perf_counter())
        self._have_looked_at(chamber, f"{request_id}-sure")
        self._wait_for(lambda one: one.topic.endswith(f"/{request_id}-sure"))

    def _have_looked_at(self, chamber: str, request_id: str) -> None:
        request = ClearLockOut(
            at=datetime.now(UTC), source="bench", id=request_id, client="bench", who="bench", chamber=chamber
        )
        self._link.publish(Outgoing(topic(SITE, TopicKind.REQUEST, "supervisor", request.verb), request))

    def _wait_for(self, wanted: Callable[[Delivery], bool]) -> None:
        turn_until(self._link, lambda came: any(wanted(one) for one in came))


_ABOUT = ((TopicKind.READING, "beer"), (TopicKind.REPORT, "heat"))
