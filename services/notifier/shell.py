"""Where the notifier touches the world besides MQTT: messages to people, signs of life, a page for links."""

import logging
import os
import secrets
import threading
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from schemas.base import ServiceName
from schemas.people import AcknowledgeLink
from schemas.plant import Plant
from services.notifier.core import Notifier, NotifierState
from services.notifier.couriers import TIMEOUT_S, beat, carry
from services.notifier.deputy import Deputy, DeputyState
from services.notifier.dispatch import ANSWER, DISPATCH, FOLLOWED, HEARTBEAT, RESULT, Answer, Beat, Dispatch, Result
from services.notifier.links import SHORTEST_KEY
from services.notifier.log_courier import log_alarm
from services.notifier.page import Acknowledge, Certificate, Page
from services.notifier.post_room import PostRoom
from services.notifier.taken import Taken
from services.notifier.watch import ESSENTIAL
from services.runtime.clock import SystemClock
from services.runtime.service import Incoming, Outgoing

LOG = logging.getLogger("coldside.notifier")
KEY_FILE = "notifier-link.key"
ANSWERS_WITHIN_S = 10.0
BEAT = "beat-"


@dataclass(slots=True)
class Visitor:
    """Somebody at the page who waits for an answer."""

    token: str
    answered: threading.Event = field(default_factory=threading.Event)
    answer: Answer = Answer(accepted=False, text="The notifier does not answer. Try again in a minute.")


class Shell:
    """Serves one notifier; `poll` and `perform` are for its host."""

    def __init__(
        self,
        plant: Plant,
        state_folder: Path,
        timeout_s: float = TIMEOUT_S,
        expected: Iterable[ServiceName] = ESSENTIAL,
    ) -> None:
        self._plant = plant
        self._expected = frozenset(expected)
        self._folder = state_folder
        self._timeout_s = timeout_s
        self._post_room = PostRoom()
        self._taken: Taken | None = None
        self._visitors: dict[str, Visitor] = {}
        self._arrivals: deque[str] = deque()
        self._visits = 0
        self._lock = threading.Lock()
        self.page: Page | None = None

    def build(self, restored: NotifierState | None, now: datetime) -> Notifier:
        """The notifier that this shell serves; it misses every expected service from the start, and logs alarms."""
        self._taken = Taken(self._folder / f"{ServiceName.NOTIFIER}.taken")
        rules = self._plant.notifier.link
        if rules is not None and rules.serve is not None:
            self.page = _served(rules, self.acknowledge)
        key = b"" if rules is None else link_key(Path(rules.key_file) if rules.key_file else self._folder / KEY_FILE)
        booted = now - timedelta(seconds=SystemClock().elapsed())
        return Notifier(self._plant, restored, expected=self._expected, announce=log_alarm, key=key, booted=booted)

    def build_deputy(self, restored: DeputyState | None, now: datetime) -> Deputy:
        """A deputy instead, whose messages go by the same couriers."""
        self._taken = Taken(self._folder / f"{ServiceName.DEPUTY}.taken")
        return Deputy(self._plant, restored)

    def perform(self, outgoing: Outgoing) -> bool:
        """Carries what the core wants carried. Does not wait."""
        body = outgoing.body
        if not isinstance(body, bytes):
            return False
        if outgoing.topic.startswith(DISPATCH):
            dispatch = Dispatch.model_validate_json(body)
            self._post_room.run(dispatch.member, dispatch.id, partial(self._carry, dispatch))
        elif outgoing.topic.startswith(HEARTBEAT):
            rules = Beat.model_validate_json(body).heartbeat
            self._post_room.run(BEAT, f"{BEAT}{outgoing.topic}", partial(beat, rules, self._timeout_s))
        elif outgoing.topic.startswith(ANSWER):
            self._answer(outgoing.topic.removeprefix(ANSWER), Answer.model_validate_json(body))
        else:
            return False
        return True

    def poll(self, now: datetime) -> Iterator[Incoming]:
        """What became of messages, and who followed a link."""
        for errand, error in self._post_room.done():
            if not errand.startswith(BEAT):
                yield Incoming(f"{RESULT}{errand}", Result(error=error).model_dump_json().encode())
            elif error:
                LOG.warning("no sign of life could be given: %s", error)
        while self._arrivals:
            number = self._arrivals.popleft()
            visitor = self._visitors.get(number)
            if visitor is not None:
                yield Incoming(f"{FOLLOWED}{number}", visitor.token.encode())

    def acknowledge(self, token: str) -> Answer:
        """Hands a token to the core and waits for what it says; for the page's threads."""
        visitor = Visitor(token)
        with self._lock:
            self._visits += 1
            number = str(self._visits)
        self._visitors[number] = visitor
        self._arrivals.append(number)
        visitor.answered.wait(ANSWERS_WITHIN_S)
        self._visitors.pop(number, None)
        return visitor.answer

    def close(self) -> None:
        """Takes nothing more in."""
        self._post_room.close()
        if self.page is not None:
            self.page.close()

    def _carry(self, dispatch: Dispatch) -> None:
        """On a courier's thread. What was taken before a kill is not carried again."""
        taken = self._taken
        if taken is not None and dispatch.id in taken:
            return
        carry(dispatch, self._timeout_s)
        if taken is not None:
            taken.add(dispatch.id)

    def _answer(self, number: str, answer: Answer) -> None:
        visitor = self._visitors.get(number)
        if visitor is not None:
            visitor.answer = answer
            visitor.answered.set()


def link_key(path: Path) -> bytes:
    """The key that signs links, made where there is none; empty, and logged, where it cannot be had."""
    try:
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "wb") as file:
                file.write(secrets.token_bytes(SHORTEST_KEY))
        key = path.read_bytes()
    except OSError as error:
        LOG.error("no links in messages: %s", error)
        return b""
    if len(key) < SHORTEST_KEY:
        LOG.error("no links in messages: %s has under %d bytes", path, SHORTEST_KEY)
        return b""
    return key


def _served(rules: AcknowledgeLink, acknowledge: Acknowledge) -> Page | None:
    """The page, where it can be had: with a certificate that cannot be read there is none, rather than one without."""
    files = (rules.certificate_file, rules.certificate_key_file)
    try:
        certificate = Certificate(Path(files[0]), Path(files[1])) if files[0] and files[1] else None
        return Page(rules.serve or "", acknowledge, certificate)
    except OSError as error:
        LOG.error("no page for links at %s: %s", rules.serve, error)
        return None
