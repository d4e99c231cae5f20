"""Binds topics to messages: what may travel where, and how bytes become a message or a refusal."""

import json
from typing import Any, get_args

from pydantic import TypeAdapter, ValidationError

from schemas.alarms import Alarm, Condition
from schemas.base import SCHEMA_VERSION, Message
from schemas.batches import BatchState
from schemas.control import ChamberStatus, Command, Setpoint
from schemas.deliveries import Deliveries
from schemas.journal import Health, JournalEntry
from schemas.requests import REPLY, REQUEST, Reply, Request
from schemas.telemetry import READING, Reading, Report
from schemas.topics import SHAPES, Address, TopicKind, parse, topic

MAX_PAYLOAD_BYTES = 16_000

ADAPTERS: dict[TopicKind, TypeAdapter[Any]] = {
    TopicKind.READING: READING,
    TopicKind.REPORT: TypeAdapter(Report),
    TopicKind.COMMAND: TypeAdapter(Command),
    TopicKind.SETPOINT: TypeAdapter(Setpoint),
    TopicKind.STATUS: TypeAdapter(ChamberStatus),
    TopicKind.BATCH: TypeAdapter(BatchState),
    TopicKind.CONDITION: TypeAdapter(Condition),
    TopicKind.ALARM: TypeAdapter(Alarm),
    TopicKind.DELIVERY: TypeAdapter(Deliveries),
    TopicKind.JOURNAL: TypeAdapter(JournalEntry),
    TopicKind.HEALTH: TypeAdapter(Health),
    TopicKind.REQUEST: REQUEST,
    TopicKind.REPLY: REPLY,
}


KINDS: dict[type[Message], TopicKind] = {
    Report: TopicKind.REPORT,
    Command: TopicKind.COMMAND,
    Setpoint: TopicKind.SETPOINT,
    ChamberStatus: TopicKind.STATUS,
    BatchState: TopicKind.BATCH,
    Condition: TopicKind.CONDITION,
    Alarm: TopicKind.ALARM,
    Deliveries: TopicKind.DELIVERY,
    JournalEntry: TopicKind.JOURNAL,
    Health: TopicKind.HEALTH,
    **dict.fromkeys(get_args(Reading), TopicKind.READING),
    **dict.fromkeys(get_args(Request), TopicKind.REQUEST),
    **dict.fromkeys(get_args(Reply), TopicKind.REPLY),
}


class Unreadable(ValueError):
    """A payload that is no message of ours; the text names the topic and what is wrong."""


def encode(message: Message) -> bytes:
    """UTF-8 JSON."""
    return message.model_dump_json(by_alias=False).encode()


def decode(topic_name: str, payload: bytes) -> Message:
    """The message in a payload on one of our topics.

    Fields that this version does not know are ignored. Raises Unreadable for a topic that is none of ours, a
    payload over 16,000 bytes, another major version, a broken field, or a body that contradicts its topic.
    """
    address = parse(topic_name)
    if address is None:
        raise Unreadable(f"{topic_name!r} is no topic of ours")
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise Unreadable(f"{topic_name}: {len(payload)} bytes, over the limit of {MAX_PAYLOAD_BYTES}")
    try:
        message: Message = ADAPTERS[address.kind].validate_json(payload, extra="ignore", by_alias=True, by_name=True)
    except ValidationError as error:
        _refuse_other_version(topic_name, _claimed_version(payload))
        raise Unreadable(f"{topic_name}: {_first_problem(error)}") from error
    _refuse_other_version(topic_name, message.v)
    _agree(topic_name, address, message)
    return message


def topic_for(site: str, message: Message, *names: str) -> str:
    """The topic a message belongs on; its names are taken from its own fields unless given."""
    kind = KINDS[type(message)]
    return topic(site, kind, *(names or _own_names(kind, message)))


def retained(message: Message) -> bool:
    """Whether the broker keeps it for late comers."""
    return SHAPES[KINDS[type(message)]].retained


def _own_names(kind: TopicKind, message: Message) -> tuple[str, ...]:
    return tuple(str(getattr(message, level)) for level in SHAPES[kind].levels)


def _agree(topic_name: str, address: Address, message: Message) -> None:
    for level, name in zip(SHAPES[address.kind].levels, address.names, strict=True):
        said = getattr(message, level, name)
        if said != name:
            raise Unreadable(f"{topic_name}: the body speaks of {level} {str(said)!r}")


def _claimed_version(payload: bytes) -> Any:
    try:
        body = json.loads(payload)
    except (ValueError, RecursionError):
        return SCHEMA_VERSION
    return body.get("v", SCHEMA_VERSION) if isinstance(body, dict) else SCHEMA_VERSION


def _refuse_other_version(topic_name: str, version: Any) -> None:
    if version != SCHEMA_VERSION:
        raise Unreadable(f"{topic_name}: schema version {version}, this program speaks {SCHEMA_VERSION}")


def _first_problem(error: ValidationError) -> str:
    first = error.errors(include_url=False, include_input=False)[0]
    place = ".".join(str(part) for part in first["loc"]) or "body"
    more = error.error_count() - 1
    return f"{place}: {first['msg']}" + (f" (and {more} more)" if more else "")
