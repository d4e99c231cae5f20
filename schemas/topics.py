"""The topic tree: the one place where topics are built, parsed and matched.

Filter matching follows OASIS MQTT 3.1.1, section 4.7.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

ROOT = "coldside"
SIMULATED_ROOT = "simulated"
"""Under it the simulator's devices speak; their traffic is as foreign to the contract as any device's."""


class TopicKind(StrEnum):
    """The third level of each of our topics."""

    READING = "reading"
    REPORT = "report"
    COMMAND = "command"
    SETPOINT = "setpoint"
    STATUS = "status"
    BATCH = "batch"
    CONDITION = "condition"
    ALARM = "alarm"
    DELIVERY = "delivery"
    JOURNAL = "journal"
    HEALTH = "health"
    REQUEST = "request"
    REPLY = "reply"


@dataclass(frozen=True, slots=True)
class TopicShape:
    """What stands after the kind, and whether the broker keeps the last message for late comers."""

    levels: tuple[str, ...]
    retained: bool
    owner: str


SHAPES: dict[TopicKind, TopicShape] = {
    TopicKind.READING: TopicShape(("chamber", "probe"), True, "bridge"),
    TopicKind.REPORT: TopicShape(("chamber", "output"), True, "bridge"),
    TopicKind.COMMAND: TopicShape(("chamber", "output"), False, "supervisor"),
    TopicKind.SETPOINT: TopicShape(("chamber",), True, "scheduler"),
    TopicKind.STATUS: TopicShape(("chamber",), True, "supervisor"),
    TopicKind.BATCH: TopicShape(("batch",), True, "scheduler"),
    TopicKind.CONDITION: TopicShape(("chamber", "name"), True, "any service"),
    TopicKind.ALARM: TopicShape(("chamber", "name"), True, "notifier"),
    TopicKind.DELIVERY: TopicShape(("person", "way"), True, "notifier"),
    TopicKind.JOURNAL: TopicShape(("service",), False, "any service"),
    TopicKind.HEALTH: TopicShape(("service",), True, "every service"),
    TopicKind.REQUEST: TopicShape(("service", "verb"), False, "console, command line"),
    TopicKind.REPLY: TopicShape(("client", "id"), False, "whoever was asked"),
}


_KINDS = {kind.value: kind for kind in TopicKind}


@dataclass(frozen=True, slots=True)
class Address:
    """A parsed topic: `names` has one entry for each level of its shape."""

    site: str
    kind: TopicKind
    names: tuple[str, ...]


@lru_cache(maxsize=65536)
def topic(site: str, kind: TopicKind, *names: str) -> str:
    """Builds one topic; raises ValueError when the count of names is wrong or one could not stand in a topic."""
    wanted = SHAPES[kind].levels
    if len(names) != len(wanted):
        raise ValueError(f"a {kind} topic needs {'/'.join(wanted)}, got {names!r}")
    for level in (site, *names):
        if not level or any(sign in level for sign in "/+# \0"):
            raise ValueError(f"{level!r} cannot be a topic level: it is empty or has one of '/+# ' or NUL in it")
    return "/".join((ROOT, site, kind, *names))


@lru_cache(maxsize=65536)
def parse(topic_name: str) -> Address | None:
    """The address a topic stands for, or None when it is none of ours."""
    levels = topic_name.split("/")
    if len(levels) < 4 or levels[0] != ROOT or levels[2] not in _KINDS:
        return None
    kind = _KINDS[levels[2]]
    names = tuple(levels[3:])
    if len(names) != len(SHAPES[kind].levels) or not all((levels[1], *names)):
        return None
    return Address(levels[1], kind, names)


def every(site: str, kind: TopicKind, *names: str) -> str:
    """The filter for all topics of a kind, or for those whose first names are given."""
    rest = ("+",) * (len(SHAPES[kind].levels) - len(names))
    return "/".join((ROOT, site, kind, *names, *rest))


def everything(site: str) -> str:
    """The filter for all that is said on a site."""
    return f"{ROOT}/{site}/#"


def simulated_probe(site: str, chamber: str, probe: str) -> str:
    """Where the simulator's device publishes a probe's raw value."""
    return f"{SIMULATED_ROOT}/{site}/{chamber}/{probe}"


def simulated_relay(site: str, chamber: str, output: str) -> str:
    """Where the simulator's device takes what its relay is to do."""
    return f"{SIMULATED_ROOT}/{site}/{chamber}/{output}/set"


def valid_filter(topic_filter: str) -> bool:
    """Whether it is a legal topic filter: 1 to 65,535 bytes of UTF-8, no NUL, wildcards whole levels, `#` last."""
    if not _has_legal_length(topic_filter):
        return False
    levels = topic_filter.split("/")
    if any("#" in level and level != "#" for level in levels) or "#" in levels[:-1]:
        return False
    return all(level == "+" or "+" not in level for level in levels)


def valid_topic(topic_name: str) -> bool:
    """Whether it is a legal name to publish to: as a filter, without wildcards."""
    return _has_legal_length(topic_name) and "+" not in topic_name and "#" not in topic_name


def matches(topic_filter: str, topic_name: str) -> bool:
    """Whether a filter takes a topic in. Wildcards in first place take no topic that begins with `$`."""
    if topic_name.startswith("$") and topic_filter[:1] in ("+", "#"):
        return False
    filter_levels, levels = topic_filter.split("/"), topic_name.split("/")
    for position, wanted in enumerate(filter_levels):
        if wanted == "#":
            return True
        if position >= len(levels) or wanted not in ("+", levels[position]):
            return False
    return len(filter_levels) == len(levels)


def _has_legal_length(text: str) -> bool:
    try:
        return 1 <= len(text.encode()) <= 65535 and "\0" not in text
    except UnicodeEncodeError:
        return False
