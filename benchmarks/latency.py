"""How long a reading takes to switch an output off: through the bridge, the supervisor, and the bridge again.

Real processes on the embedded broker, under 200 other readings a second. Four broker hops, against the two of a bare
paho there-and-back echo on the same broker under the same load. Raw readings are QoS 0, as devices' telemetry is by
contract; everything else, the echo included, is QoS 1.
"""

from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from statistics import quantiles
from time import perf_counter

from benchmarks.bare import PAYLOAD, PING, PONG
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
from services.runtime.bus import BrokerLink
from services.runtime.link import Delivery
from services.runtime.service import Outgoing

NAME = "latency"
P50_OVER_ECHO = 3.0
P99_OVER_ECHO = 4.0
SAMPLES = 400
WARM_UP = 20
OTHER_READINGS_PER_S = 200
LONGEST_S = 600
_Sample = Callable[[BrokerLink, int], float]


def run() -> Iterable[Row]:
    """The median and the 99th percentile, each over the echo's own."""
    with chambers() as stand:
        load = stand.program("feed", str(OTHER_READINGS_PER_S), str(LONGEST_S), *other_topics())
        echo = stand.program("echo")
        try:
            if echo.stdout is None or echo.stdout.readline() != "ready\n":
                raise RuntimeError("the bare echo did not come up")
            bare = _measured(stand, "bench-bare", (PONG,), _echo_once)
            echo.kill()
            ours = _measured(stand, "bench-ours", Heaters.filters, Heaters().switch_off_once)
        finally:
            echo.kill()
            load.kill()
    yield _row("reading_to_command_p50_over_echo", ours[49], bare[49], P50_OVER_ECHO)
    yield _row("reading_to_command_p99_over_echo", ours[98], bare[98], P99_OVER_ECHO)


def _row(figure: str, ours_s: float, bare_s: float, goal: float) -> Row:
    """The ratio is what has a goal; both times are in the row, in ms."""
    return at_most(NAME, figure, ours_s / bare_s, f"x ({1e3 * ours_s:.2f} ms)", goal, 1e3 * bare_s, ours_s / bare_s)


def _measured(
    stand: Stand, name: str, listen: tuple[str, ...], once: Callable[[BrokerLink, int], float]
) -> list[float]:
    """Percentiles 1 to 99, in s."""
    link = stand.link(name, *listen)
    try:
        times = [once(link, number) for number in range(WARM_UP + SAMPLES)][WARM_UP:]
    finally:
        link.close()
    return quantiles(times, n=100)


def _echo_once(link: BrokerLink, _number: int) -> float:
    begun = perf_counter()
    link.publish(Outgoing(PING, PAYLOAD))
    turn_until(link, lambda came: any(one.topic == PONG for one in came))
    return perf_counter() - begun


class Heaters:
    """Takes the chambers in turn: lets one be cold until its heater runs, then tells that it is too warm."""

    filters = (
        "device/+/heat",
        f"{ROOT}/{SITE}/reading/+/beer",
        f"{ROOT}/{SITE}/report/#",
        f"{ROOT}/{SITE}/reply/bench/#",
    )

    def switch_off_once(self, link: BrokerLink, number: int) -> float:
        """Seconds from publishing the reading until the relay's off payload is here."""
        chamber = CHAMBERS[number % len(CHAMBERS)]
        self.switch_on(link, chamber, f"latency-{number}")
        begun = perf_counter()
        link.publish(Outgoing(beer_topic(chamber), TOO_WARM, qos=0))
        turn_until(link, lambda came: _told(came, chamber, b"0"))
        return perf_counter() - begun

    def switch_on(self, link: BrokerLink, chamber: str, request_id: str) -> None:
        """A request about a chamber has it looked at once, so that no sample waits for the regular look.

        The first look switches the heater on, the second one knows that it is on.
        """
        report = topic(SITE, TopicKind.REPORT, chamber, "heat")
        link.publish(Outgoing(beer_topic(chamber), COLD))
        reading = topic(SITE, TopicKind.READING, chamber, "beer")
        turn_until(link, lambda came: any(one.topic == reading for one in came))
        _have_looked_at(link, chamber, f"{request_id}-on")
        turn_until(link, lambda came: any(one.topic == report and b'"level":1' in one.body for one in came))
        _have_looked_at(link, chamber, f"{request_id}-sure")
        reply = topic(SITE, TopicKind.REPLY, "bench", f"{request_id}-sure")
        turn_until(link, lambda came: any(one.topic == reply for one in came))


def _have_looked_at(link: BrokerLink, chamber: str, request_id: str) -> None:
    request = ClearLockOut(
        at=datetime.now(UTC), source="bench", id=request_id, client="bench", who="bench", chamber=chamber
    )
    link.publish(Outgoing(topic(SITE, TopicKind.REQUEST, "supervisor", request.verb), request))


def _told(came: list[Delivery], chamber: str, payload: bytes) -> bool:
    return any(one.topic == relay_topic(chamber) and one.body == payload for one in came)
