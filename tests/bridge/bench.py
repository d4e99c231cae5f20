"""A bridge on a bench: raw payloads in, and what it said, in virtual time."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from schemas.alarms import Condition
from schemas.base import Message
from schemas.control import Command
from schemas.plant import Plant
from schemas.plant_file import loads
from schemas.telemetry import Reading, ReadingBase, Report
from schemas.topics import TopicKind, topic
from services.bridge.core import Bridge, BridgeState
from services.runtime.service import Incoming, Outgoing

START = datetime(2026, 5, 1, 12, tzinfo=UTC)
FRIDGE = """
site: {name: barn}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {measures: temperature, from: {mqtt: node/beer}}
      air: {measures: temperature, from: {mqtt: node/all, value: "$.p[0]", time: "$.at"}}
      door: {measures: contact, from: {mqtt: node/all, value: "$.door", open: 1}}
    outputs:
      heat: {drives: heater, to: {mqtt: relay/heat}}
      cool: {drives: compressor, to: {mqtt: relay/cool, on: "ON", off: "OFF", state: relay/cool/is}}
"""


def fridge(more: str = "") -> Plant:
    """One fridge on MQTT devices; `more` is more of the plant file."""
    return loads(FRIDGE + more)


class Bench:
    """Keeps everything the bridge said in `said`; starts it unless told not to."""

    def __init__(self, plant: Plant | None = None, restored: BridgeState | None = None, **options: bool) -> None:
        self.now = START
        self.said: list[Outgoing] = []
        self.last: dict[str, Message | bytes] = {}
        self.bridge = Bridge(plant or fridge(), restored, **options)
        self.keep(self.bridge.start(self.now))

    def raw(self, name: str, payload: bytes | str, retained: bool = False) -> list[Message | bytes]:
        """A device speaks; returns what the bridge answered."""
        body = payload if isinstance(payload, bytes) else payload.encode()
        return self.keep(self.bridge.receive(Incoming(name, body, retained), self.now))

    def read(self, payload: bytes | str, name: str = "node/beer", retained: bool = False) -> Reading:
        """The reading that one payload made."""
        (reading,) = [one for one in self.raw(name, payload, retained) if isinstance(one, ReadingBase)]
        return reading

    def command(self, level: float, output: str = "heat", ago: float = 0, lease_s: float = 60) -> list[Message | bytes]:
        """A command given `ago` seconds before now."""
        at = self.now - timedelta(seconds=ago)
        one = Command(
            at=at, source="supervisor", chamber="ale", output=output, level=level, lease_s=lease_s, why="test"
        )
        name = topic("barn", TopicKind.COMMAND, "ale", output)
        return self.keep(self.bridge.receive(Incoming(name, one), self.now))

    def wait(self, seconds: float, tick_s: float = 1) -> list[Message | bytes]:
        """Lets time pass, tick by tick."""
        said: list[Message | bytes] = []
        for _ in range(round(seconds / tick_s)):
            self.now += timedelta(seconds=tick_s)
            said += self.keep(self.bridge.tick(self.now))
        return said

    def sent(self, name: str = "relay/heat") -> list[bytes]:
        """All payloads that a relay was sent."""
        return [one.body for one in self.said if one.topic == name and isinstance(one.body, bytes)]

    def reports(self, output: str = "heat") -> list[Report]:
        """All that was reported of an output."""
        return [one.body for one in self.said if isinstance(one.body, Report) and one.body.output == output]

    def conditions(self, name: str) -> list[bool]:
        """Each time a condition was said to be true or not."""
        found = [one.body for one in self.said if isinstance(one.body, Condition)]
        return [one.active for one in found if one.name == name]

    def keep(self, outgoing: Iterable[Outgoing]) -> list[Message | bytes]:
        """Takes down what the bridge said; returns the bodies."""
        kept = list(outgoing)
        self.said += kept
        self.last |= {one.topic: one.body for one in kept}
        return [one.body for one in kept]
