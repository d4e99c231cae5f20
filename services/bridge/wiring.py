"""All probes and outputs of a plant, by name and by the topics on which something is heard of them."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import TypeVar

from schemas.plant import Plant
from schemas.topics import TopicKind, topic
from services.bridge.conditions import Finding
from services.bridge.drivers.driver import LOCAL, Place, local_topic
from services.bridge.outputs import OutputChannel
from services.bridge.probes import ProbeChannel

GUARD = "guard"
"""The local driver name under which the shell tells whether the broker holds an output's last will: `up` or `down`."""

C = TypeVar("C", ProbeChannel, OutputChannel)


class Wiring:
    """Channels by `chamber/name`. What a plant describes as `before` did is taken over with all it knows."""

    def __init__(self, plant: Plant, *, guards: bool, elapsed_s: float, before: "Wiring | None" = None) -> None:
        site = plant.site.name
        self.site = site
        probes: dict[str, ProbeChannel] = {}
        outputs: dict[str, OutputChannel] = {}
        for chamber_name, chamber in plant.chambers.items():
            for name, probe in chamber.probes.items():
                place = Place(site, chamber_name, name)
                probes[place.key] = ProbeChannel(place, probe, elapsed_s)
            for name, output in chamber.outputs.items():
                place = Place(site, chamber_name, name)
                outputs[place.key] = OutputChannel(place, output, guards=guards)
        self.probes: dict[str, ProbeChannel] = _taken_over(probes, before.probes if before else {})
        self.outputs: dict[str, OutputChannel] = _taken_over(outputs, before.outputs if before else {})
        self._route()

    @property
    def device_topics(self) -> tuple[str, ...]:
        """What has to be subscribed to."""
        return tuple(sorted(one for one in {*self.ears, *self.states} if not one.startswith(LOCAL)))

    def findings(self) -> Iterator[Finding]:
        """Every condition that can be stated."""
        for probe in self.probes.values():
            yield from (probe.silent, probe.implausible)
        for output in self.outputs.values():
            yield output.not_following

    def retained_topics(self) -> frozenset[str]:
        """Everything that the bridge keeps on the broker for this plant."""
        site, readings, reports = self.site, TopicKind.READING, TopicKind.REPORT
        found = {topic(site, readings, probe.place.chamber, probe.place.name) for probe in self.probes.values()}
        found |= {topic(site, reports, output.place.chamber, output.place.name) for output in self.outputs.values()}
        return frozenset(found | {topic(site, TopicKind.CONDITION, *one.key.split("/")) for one in self.findings()})

    def _route(self) -> None:
        ears: dict[str, list[ProbeChannel]] = defaultdict(list)
        states: dict[str, list[OutputChannel]] = defaultdict(list)
        for probe in self.probes.values():
            ears[probe.line.topic].append(probe)
        for output in self.outputs.values():
            if output.line.state_topic is not None:
                states[output.line.state_topic].append(output)
        self.ears, self.states = dict(ears), dict(states)
        self.guards = {local_topic(GUARD, key): one for key, one in self.outputs.items() if one.guarded}


def _taken_over(new: dict[str, C], old: Mapping[str, C]) -> dict[str, C]:
    return {key: old[key] if key in old and old[key].described_as(one) else one for key, one in new.items()}
