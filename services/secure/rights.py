"""Who may say and hear what: the design's table of topics, and the topics that a plant file gives to devices."""

import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from schemas.addresses import MqttOutput, MqttProbe
from schemas.base import ServiceName
from schemas.plant import Plant
from schemas.topics import TopicKind, every, everything, simulated_probe, simulated_relay

OPERATOR = "operator"
"""The account of people at a command line: reads everything, and may ask what the console may ask."""
CHECK = "broker-check"
"""The account with which a container asks its own broker whether it is well; it may hear nothing else."""
DEVICE_PREFIX = "device-"
_NAME = re.compile(r"[^a-z0-9]+")
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")


class Holder(StrEnum):
    """What kind of thing holds an account."""

    SERVICE = "service"
    DEVICE = "device"
    PERSON = "person"
    CHECK = "check"


class NotSeparable(ValueError):
    """A plant file whose devices cannot be told apart; the text says what to write."""


@dataclass(frozen=True, slots=True)
class Account:
    """One account; `writes` and `reads` are MQTT topic filters, and nothing else is allowed."""

    name: str
    holder: Holder
    writes: tuple[str, ...]
    reads: tuple[str, ...]


_B, _S, _T = ServiceName.BRIDGE, ServiceName.SUPERVISOR, ServiceName.SCHEDULER
_N, _D, _R = ServiceName.NOTIFIER, ServiceName.DEPUTY, ServiceName.RECORDER
_C, _SIM, _H = ServiceName.CONSOLE, ServiceName.SIMULATOR, ServiceName.REHEARSAL

SAYS: dict[TopicKind, tuple[ServiceName, ...]] = {
    TopicKind.READING: (_B,),
    TopicKind.REPORT: (_B,),
    TopicKind.COMMAND: (_S,),
    TopicKind.SETPOINT: (_T,),
    TopicKind.STATUS: (_S,),
    TopicKind.BATCH: (_T,),
    TopicKind.CONDITION: (_B, _S, _T, _N, _D, _R, _C),
    TopicKind.ALARM: (_N, _D),
    TopicKind.DELIVERY: (_N,),
    TopicKind.REQUEST: (_C,),
    TopicKind.REPLY: (_S, _T, _N, _R, _H),
}
"""Journal and health are everybody's, each under its own name."""

HEARS: dict[TopicKind, tuple[ServiceName, ...]] = {
    TopicKind.READING: (_S, _T, _N, _H),
    TopicKind.REPORT: (_S,),
    TopicKind.COMMAND: (_B,),
    TopicKind.SETPOINT: (_S, _N, _H),
    TopicKind.STATUS: (_T, _N, _H),
    TopicKind.BATCH: (_N, _SIM, _H),
    TopicKind.CONDITION: (_S, _N),
    TopicKind.HEALTH: (_N, _D),
}
"""Recorder and console hear everything; requests are heard by whom they are made of, and each its own health."""

EARS: tuple[ServiceName, ...] = (_R, _C)


def accounts(plant: Plant) -> tuple[Account, ...]:
    """Every account that a site needs, services first. Raises NotSeparable."""
    services = [_service(plant, name) for name in ServiceName]
    site = plant.site.name
    asking = (every(site, TopicKind.REQUEST),)
    people = Account(OPERATOR, Holder.PERSON, writes=asking, reads=("#",))
    check = Account(CHECK, Holder.CHECK, writes=(), reads=("$SYS/broker/uptime",))
    return (*services, people, check, *devices(plant))


def devices(plant: Plant) -> tuple[Account, ...]:
    """One account for each device of the plant file: it writes its own topics and reads its own outputs."""
    writes, reads = defaultdict[str, set[str]](set), defaultdict[str, set[str]](set)
    named = _named(plant)
    for topic, _, is_output in _device_topics(plant):
        (reads if is_output else writes)[named.get(topic) or _derived(topic)].add(topic)
    names = sorted({*writes, *reads})
    return tuple(
        Account(f"{DEVICE_PREFIX}{name}", Holder.DEVICE, tuple(sorted(writes[name])), tuple(sorted(reads[name])))
        for name in names
    )


def _named(plant: Plant) -> dict[str, str]:
    """The topics whose device the plant file names: naming it once is enough."""
    owners: dict[str, str] = {}
    for topic, name, _ in _device_topics(plant):
        if name and owners.setdefault(topic, name) != name:
            raise NotSeparable(f"{topic!r} is said to belong to both '{owners[topic]}' and '{name}'; name one device")
    return owners


def _service(plant: Plant, name: ServiceName) -> Account:
    site = plant.site.name
    writes = [every(site, kind) for kind, services in SAYS.items() if name in services]
    writes += [every(site, kind, name) for kind in (TopicKind.JOURNAL, TopicKind.HEALTH)]
    own = [every(site, TopicKind.HEALTH, name), every(site, TopicKind.REQUEST, name)]
    reads = [everything(site)] if name in EARS else [every(site, kind) for kind, who in HEARS.items() if name in who]
    reads += [] if name in EARS else [one for one in own if one not in reads]
    probes, relays = simulated_probe(site, "+", "+"), simulated_relay(site, "+", "+")
    if name is ServiceName.SIMULATOR:
        writes, reads = [*writes, probes], [*reads, relays]
    if name is ServiceName.BRIDGE:
        found = sorted({(topic, is_output) for topic, _, is_output in _device_topics(plant)})
        writes += [relays, *(topic for topic, is_output in found if is_output)]
        reads += [probes, *(topic for topic, is_output in found if not is_output)]
    return Account(name.value, Holder.SERVICE, tuple(writes), tuple(reads))


def _device_topics(plant: Plant) -> Iterator[tuple[str, str, bool]]:
    """Topic, the device named for it or nothing, and whether the device obeys it (it speaks on the others)."""
    for chamber in plant.chambers.values():
        for probe in chamber.probes.values():
            if isinstance(probe.source, MqttProbe):
                yield _plain(probe.source.mqtt), probe.source.device or "", False
        for output in chamber.outputs.values():
            target = output.target
            if isinstance(target, MqttOutput):
                yield _plain(target.mqtt), target.device or "", True
                if target.state is not None:
                    yield _plain(target.state), target.device or "", False


def _plain(topic: str) -> str:
    """No topic may smuggle a line into an access list, or a sign that some broker takes for a wildcard."""
    if _CONTROL.search(topic) or any(sign in topic for sign in "*>"):
        raise NotSeparable(f"{topic!r} has a sign that no access list can hold; give the device another topic")
    return topic


def _derived(topic: str) -> str:
    """A device that is not named takes its name from the first two levels of a topic with three, else from the first.

    `garage/node3/relay/1` and `garage/node3/probes` are `garage-node3`; `board/probes` is `board`.
    """
    levels = topic.strip("/").split("/")
    name = _NAME.sub("-", "/".join(levels[: 2 if len(levels) > 2 else 1]).lower()).strip("-")
    if not name:
        raise NotSeparable(f"{topic!r} gives its device no name; write 'device: NAME' beside it")
    return name[:33]
