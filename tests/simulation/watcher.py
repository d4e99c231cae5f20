"""Watches a rehearsal from outside: what relays really do, what was commanded, what was said."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from schemas.control import Command
from schemas.plant import Drive, Plant
from schemas.telemetry import ReadingBase
from schemas.topics import simulated_relay
from services.runtime.service import Outgoing

Key = tuple[str, str]
GRACE = timedelta(seconds=10)
"""A core drops an output at its next tick."""


@dataclass(slots=True)
class Watcher:
    """A witness for a stage. `breaches` are sentences on promises that were broken."""

    plant: Plant
    breaches: list[str] = field(default_factory=list)
    levels: dict[Key, float] = field(default_factory=dict)
    readings: set[tuple[str, str, datetime]] = field(default_factory=set)
    on_for: dict[Key, timedelta] = field(default_factory=lambda: defaultdict(timedelta))
    starts: int = 0
    _commands: dict[Key, list[Command]] = field(default_factory=lambda: defaultdict(list))
    _off_since: dict[Key, datetime] = field(default_factory=dict)
    _relays: dict[str, tuple[Key, Drive]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for chamber, described in self.plant.chambers.items():
            for name, output in described.outputs.items():
                topic = simulated_relay(self.plant.site.name, chamber, name)
                self._relays[topic] = ((chamber, name), output.drives)

    def hear(self, outgoing: Outgoing, now: datetime) -> None:
        """Takes in one message as it is published."""
        body = outgoing.body
        if isinstance(body, Command):
            self._commands[body.chamber, body.output].append(body)
        elif isinstance(body, ReadingBase):
            self.readings.add((body.chamber, body.probe, body.at))
        elif isinstance(body, bytes) and outgoing.topic in self._relays:
            key, drive = self._relays[outgoing.topic]
            self._switch(key, drive, float(body), now)

    def look(self, now: datetime) -> None:
        """To be called at every tick: promises 1, 3 and 4."""
        for key, drive in self._relays.values():
            if drive is not Drive.FAN and self.levels.get(key, 0) > 0:
                self._check_lease(key, now)
        for chamber in self.plant.chambers:
            on = {drive for (key, drive) in self._relays.values() if key[0] == chamber and self.levels.get(key, 0) > 0}
            if {Drive.HEATER} <= on and on & {Drive.COMPRESSOR, Drive.PUMP}:
                self._breach(now, f"{chamber} heats and cools at once")
        self._check_circuits(now)

    def _switch(self, key: Key, drive: Drive, level: float, now: datetime) -> None:
        before, self.levels[key] = self.levels.get(key, 0.0), level
        if drive is not Drive.COMPRESSOR:
            return
        if level > 0 and before == 0:
            self.starts += 1
            rest = timedelta(seconds=self.plant.chambers[key[0]].outputs[key[1]].rest_s)
            if key in self._off_since and now - self._off_since[key] < rest:
                self._breach(now, f"{'.'.join(key)} restarted after {now - self._off_since[key]} of rest")
        if level == 0 and before > 0:
            self._off_since[key] = now

    def _check_lease(self, key: Key, now: datetime) -> None:
        standing = [one for one in self._commands[key] if one.level > 0 and one.at <= now]
        newest = max((one.at + timedelta(seconds=one.lease_s) for one in standing[-50:]), default=None)
        if newest is None or newest + GRACE < now:
            self._breach(now, f"{'.'.join(key)} is on though its lease ended at {newest}")

    def _check_circuits(self, now: datetime) -> None:
        for name, circuit in self.plant.circuits.items():
            amperes = sum(
                output.power_w / circuit.voltage_v
                for chamber, described in self.plant.chambers.items()
                for output_name, output in described.outputs.items()
                if output.circuit == name and self.levels.get((chamber, output_name), 0) > 0
            )
            if amperes > circuit.limit_a:
                self._breach(now, f"{name} carries {amperes:.1f} A, over {circuit.limit_a} A")

    def _breach(self, now: datetime, text: str) -> None:
        if len(self.breaches) < 20:
            self.breaches.append(f"{now:%d %H:%M:%S} {text}")
