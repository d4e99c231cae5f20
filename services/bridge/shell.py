"""Where the bridge touches the world besides MQTT: sensors that have to be fetched, and guards for relays."""

from collections.abc import Iterator
from datetime import datetime
from random import SystemRandom

from schemas.plant import Plant
from services.bridge.core import Bridge, BridgeState
from services.bridge.drivers.driver import local_topic
from services.bridge.fetcher import Errand, Fetcher
from services.bridge.outputs import SAFE, OutputChannel
from services.bridge.wiring import GUARD, Wiring
from services.runtime.address import BrokerAddress
from services.runtime.clock import machine_seconds
from services.runtime.guard_link import Guard, GuardSet
from services.runtime.service import Incoming

GUARDS_EVERY_S = 0.1


class Shell:
    """Serves one bridge; `poll` is for its host to call at every turn of the loop that the guards stand for."""

    def __init__(self, plant: Plant, address: BrokerAddress) -> None:
        self._plant = plant
        self._guards = GuardSet(address, SystemRandom())
        self._fetcher = Fetcher()
        self._bridge: Bridge | None = None
        self._wiring: Wiring | None = None
        self._keys: dict[Guard, str] = {}
        self._served_s = float("-inf")

    def build(self, restored: BridgeState | None, now: datetime) -> Bridge:
        """The bridge that this shell serves from now on."""
        self._bridge = Bridge(self._plant, restored, guards=True)
        return self._bridge

    def poll(self, now: datetime) -> Iterator[Incoming]:
        """What sensors said, and which guards came or went. Does not wait."""
        if self._bridge is not None and self._bridge.wiring is not self._wiring:
            yield from self._follow(self._bridge.wiring)
        yield from self._fetcher.take()
        if machine_seconds() - self._served_s >= GUARDS_EVERY_S:
            self._served_s = machine_seconds()
            for guard, up in self._guards.turn():
                yield Incoming(local_topic(GUARD, self._keys[guard]), b"up" if up else b"down")

    def close(self) -> None:
        """Takes back the last wills and stops fetching."""
        self._guards.close()
        self._fetcher.close()

    def _follow(self, wiring: Wiring) -> Iterator[Incoming]:
        """Guards and fetches for a new wiring; a new channel hears of a guard that stood before it."""
        before, self._wiring = self._wiring, wiring
        self._keys = {_guard(one): key for key, one in wiring.outputs.items() if one.guarded}
        self._guards.want(tuple(self._keys))
        self._fetcher.want(
            Errand(probe.line.topic, probe.line.fetch, probe.probe.every_s)
            for probe in wiring.probes.values()
            if probe.line.fetch is not None
        )
        for guard, key in self._keys.items():
            is_new = before is None or before.outputs.get(key) is not wiring.outputs[key]
            if is_new and self._guards.up(guard):
                yield Incoming(local_topic(GUARD, key), b"up")


def _guard(output: OutputChannel) -> Guard:
    place, line = output.place, output.line
    name = f"coldside-{place.site}-guard-{place.chamber}-{place.name}"
    return Guard(name, line.topic, line.payload(SAFE), line.retain_off)
