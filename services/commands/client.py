"""A short visit to the broker: look at what is retained, ask one thing, leave."""

from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from random import Random

import paho.mqtt.client as mqtt
from pydantic import BaseModel

from schemas.base import Message
from schemas.contract import Unreadable, decode, encode, topic_for
from schemas.requests import Accepted, Refused, RequestBase
from schemas.topics import TopicKind, parse, topic
from services.runtime.address import BrokerAddress
from services.runtime.broker import find_address
from services.runtime.clock import SystemClock, machine_seconds
from services.runtime.connection import Connection, Listeners

QUIET_S = 0.25
PATIENCE_S = 5.0


class Unreachable(RuntimeError):
    """Nobody there, or nobody answers; the text says what to do."""


class Visit:
    """One connection of a command; use it with `with`. Raises Unreachable where there is no broker."""

    def __init__(self, address: BrokerAddress, random: Random | None = None) -> None:
        self._random = random or Random()
        self.name = f"cli-{self._random.randrange(16**8):08x}"
        self.heard: dict[str, bytes] = {}
        self._messages: list[tuple[str, bytes]] = []
        listeners = Listeners(message=self._hear)
        self._connection = Connection(address, self.name, self._random, listeners)
        self._wait_for(lambda: self._connection.up, f"no broker answers at {address}; is `coldside up` running?")

    def __enter__(self) -> "Visit":
        return self

    def __exit__(self, *_: object) -> None:
        self._connection.close()

    def retained(self, filters: Iterable[str]) -> dict[str, Message]:
        """What the broker keeps under these filters; what cannot be read is left out."""
        self._messages.clear()
        self._connection.client.subscribe([(one, 1) for one in filters])
        self._listen_until_quiet()
        return {name: message for name, payload in self._messages if (message := _readable(name, payload)) is not None}

    def raw(self, filters: Iterable[str], seconds: float) -> list[tuple[str, bytes]]:
        """Everything that devices say for a while."""
        self._messages.clear()
        self._connection.client.subscribe([(one, 0) for one in filters])
        deadline = machine_seconds() + seconds
        while machine_seconds() < deadline:
            self._connection.turn(min(0.2, seconds))
        return list(self._messages)

    def follow(self, filters: Iterable[str], tell: Callable[[str, Message], None]) -> None:
        """Tells of every message until interrupted."""
        self._connection.client.subscribe([(one, 1) for one in filters])
        while True:
            self._connection.turn(0.5)
            for name, payload in self._messages:
                if (message := _readable(name, payload)) is not None:
                    tell(name, message)
            self._messages.clear()

    def site(self, wanted: str = "") -> str:
        """The site's name: the one given, or the only one that speaks on this broker. Raises Unreachable."""
        if wanted:
            return wanted
        found = {name.split("/")[1] for name in self.retained(["coldside/+/health/+", "coldside/+/setpoint/+"])}
        if len(found) == 1:
            return found.pop()
        many = f"sites {', '.join(sorted(found))} are on this broker" if found else "no site speaks on this broker"
        raise Unreachable(f"{many}; name one with --site, or start one with `coldside up`")

    def ask(self, site: str, request: RequestBase) -> Accepted | Refused:
        """Sends a request and waits for its answer. Raises Unreachable when none comes in time."""
        answer_topic = topic(site, TopicKind.REPLY, request.client, request.id)
        self._messages.clear()
        self._connection.client.subscribe(answer_topic, 1)
        self._connection.client.publish(topic_for(site, request), encode(request), qos=1)
        answers: list[Message] = []

        def answered() -> bool:
            answers.extend(decode(name, payload) for name, payload in self._messages if name == answer_topic)
            return bool(answers)

        self._wait_for(answered, f"the {request.service} does not answer; does `coldside status` show it running?")
        answer = answers[0]
        if not isinstance(answer, Accepted | Refused):
            raise Unreachable(f"something else than the {request.service} answered")
        return answer

    def _hear(self, received: mqtt.MQTTMessage) -> None:
        self._messages.append((received.topic, bytes(received.payload)))
        self._connection.client.ack(received.mid, received.qos)

    def _listen_until_quiet(self) -> None:
        deadline, quiet_since, heard = machine_seconds() + PATIENCE_S, machine_seconds(), 0
        while machine_seconds() < deadline and machine_seconds() - quiet_since < QUIET_S:
            self._connection.turn(0.05)
            if len(self._messages) > heard:
                heard, quiet_since = len(self._messages), machine_seconds()

    def _wait_for(self, happened: Callable[[], bool], otherwise: str) -> None:
        deadline = machine_seconds() + PATIENCE_S
        while not happened():
            if machine_seconds() > deadline:
                raise Unreachable(
                    f"{otherwise} ({self._connection.trouble})" if self._connection.trouble else otherwise
                )
            self._connection.turn(0.1)


def where(broker: str, state: Path) -> BrokerAddress:
    """The broker a command means: the one named, or that of `coldside up` on this state folder. Raises Unreachable."""
    if broker:
        return BrokerAddress.from_url(broker)
    found = find_address(state)
    if found is None:
        remedy = "start `coldside up`, or name its folder with --state or its broker with --broker"
        raise Unreachable(f"nothing runs on {state}: {remedy}")
    return BrokerAddress.from_url(found)


def new_request_id(random: Random) -> str:
    """Unique enough that two people never share one."""
    return f"{random.randrange(16**16):016x}"


def this_moment() -> datetime:
    """The machine's time."""
    return SystemClock().now()


def as_rows(messages: dict[str, Message], kind: TopicKind) -> list[BaseModel]:
    """The messages of one kind, in order of their topics."""
    found = sorted(name for name in messages if (at := parse(name)) and at.kind is kind)
    return [messages[name] for name in found]


def _readable(name: str, payload: bytes) -> Message | None:
    try:
        return decode(name, payload) if payload else None
    except Unreadable:
        return None
