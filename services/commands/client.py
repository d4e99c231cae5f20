"""A short visit to the broker: look at what is retained, ask one thing, leave."""

import os
from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from random import Random

from pydantic import BaseModel

from schemas.base import Message
from schemas.contract import Unreadable, decode, encode, topic_for
from schemas.requests import Accepted, Refused, RequestBase
from schemas.topics import TopicKind, parse, topic
from services.runtime.address import BrokerAddress
from services.runtime.broker import find_address, find_credentials
from services.runtime.bus import BrokerLink
from services.runtime.clock import SystemClock, machine_seconds
from services.runtime.credentials import FOLDER, admitted
from services.runtime.service import Outgoing

ACCOUNT = "operator"
"""Under which commands enter a broker that has accounts."""
QUIET_S = 0.25
PATIENCE_S = 5.0


class Unreachable(RuntimeError):
    """Nobody there, or nobody answers; the text says what to do."""


class Visit:
    """One connection of a command; use it with `with`. Raises Unreachable where there is no broker."""

    def __init__(self, address: BrokerAddress, random: Random | None = None) -> None:
        dice = random or Random()
        self.name = f"cli-{dice.randrange(16**8):08x}"
        self._link = BrokerLink(address, self.name, dice)
        self._filters: tuple[str, ...] = ()
        self._wait_for(lambda: self._link.connected, f"no broker answers at {address}; is `coldside up` running?")

    def __enter__(self) -> "Visit":
        return self

    def __exit__(self, *_: object) -> None:
        self._link.close()

    def retained(self, filters: Iterable[str]) -> dict[str, Message]:
        """What the broker keeps under these filters; what cannot be read is left out."""
        self._listen(filters)
        self._wait_for(lambda: self._link.listening, "the broker does not let this command hear what is known")
        found: dict[str, Message] = {}
        deadline = machine_seconds() + PATIENCE_S
        quiet_since = machine_seconds()
        while machine_seconds() < deadline and machine_seconds() - quiet_since < QUIET_S:
            for name, payload in self._heard(0.05):
                quiet_since = machine_seconds()
                if (message := _readable(name, payload)) is not None:
                    found[name] = message
        return found

    def raw(self, filters: Iterable[str], seconds: float) -> list[tuple[str, bytes]]:
        """Everything that devices say for a while."""
        self._listen(filters)
        found: list[tuple[str, bytes]] = []
        deadline = machine_seconds() + seconds
        while machine_seconds() < deadline:
            found.extend(self._heard(0.2))
        return found

    def follow(self, filters: Iterable[str], tell: Callable[[str, Message], None]) -> None:
        """Tells of every message until interrupted."""
        self._listen(filters)
        while True:
            for name, payload in self._heard(0.5):
                if (message := _readable(name, payload)) is not None:
                    tell(name, message)

    def site(self, wanted: str = "") -> str:
        """The site's name: the one given, or the only one that speaks on this broker. Raises Unreachable."""
        if wanted:
            return wanted
        found = {name.split("/")[1] for name in self.retained(["coldside/+/health/+", "coldside/+/setpoint/+"])}
        if len(found) == 1:
            return found.pop()
        many = f"sites {', '.join(sorted(found))} are on this broker" if found else "no site speaks on this broker"
        raise Unreachable(f"{many}; name one with --site, or start one with `coldside up`")

    def hear(self, wait_s: float) -> list[tuple[str, Message]]:
        """What has come of all that is listened to, after waiting at the most so long; the unreadable is left out."""
        heard = [(name, _readable(name, payload)) for name, payload in self._heard(wait_s)]
        return [(name, message) for name, message in heard if message is not None]

    @property
    def connected(self) -> bool:
        """Whether the broker is there at this moment."""
        return self._link.connected

    def ask(
        self,
        site: str,
        request: RequestBase,
        also: Iterable[str] = (),
        tell: Callable[[str, Message], None] | None = None,
    ) -> Accepted | Refused:
        """Sends a request and waits for its answer. Raises Unreachable when none comes in time.

        Listens to the filters in `also` from before the request on, and goes on with it; `tell` hears what comes.
        """
        answer_topic = topic(site, TopicKind.REPLY, request.client, request.id)
        self._listen([*also, answer_topic])
        self._wait_for(lambda: self._link.listening, "the broker does not let this command hear its answer")
        self._link.publish(Outgoing(topic_for(site, request), request))
        answers: list[Message] = []

        def answered() -> bool:
            for name, message in self.hear(0.05):
                if name == answer_topic:
                    answers.append(message)
                elif tell is not None:
                    tell(name, message)
            return bool(answers)

        self._wait_for(answered, f"the {request.service} does not answer; does `coldside status` show it running?")
        answer = answers[0]
        if not isinstance(answer, Accepted | Refused):
            raise Unreachable(f"something else than the {request.service} answered")
        return answer

    def _listen(self, filters: Iterable[str]) -> None:
        """Whatever was listened to before, what is retained comes once more."""
        self._link.listen(())
        self._link.listen(tuple(filters))

    def _heard(self, wait_s: float) -> list[tuple[str, bytes]]:
        self._link.turn(wait_s)
        heard = []
        for delivery in self._link.take(1000):
            self._link.acknowledge(delivery.ticket)
            heard.append((delivery.topic, delivery.body if isinstance(delivery.body, bytes) else encode(delivery.body)))
        self._link.flush()
        return heard

    def _wait_for(self, happened: Callable[[], bool], otherwise: str) -> None:
        deadline = machine_seconds() + PATIENCE_S
        while not happened():
            if machine_seconds() > deadline:
                trouble = self._link.trouble
                raise Unreachable(f"{otherwise} ({trouble})" if trouble else otherwise)
            self._link.turn(0.05)


def where(broker: str, state: Path) -> BrokerAddress:
    """The broker a command means: the one named, or that of `coldside up` on this state folder. Raises Unreachable."""
    if broker:
        return admitted(BrokerAddress.from_url(broker), ACCOUNT)
    found = find_address(state)
    if found is None:
        remedy = "start `coldside up`, or name its folder with --state or its broker with --broker"
        raise Unreachable(f"nothing runs on {state}: {remedy}")
    accounts = find_credentials(state)
    return admitted(BrokerAddress.from_url(found), ACCOUNT, {FOLDER: accounts} if accounts else os.environ)


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
