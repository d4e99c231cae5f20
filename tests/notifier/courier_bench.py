"""A notifier in virtual time whose messages are carried by real couriers to real servers, and which can be killed."""

from datetime import timedelta
from pathlib import Path
from random import Random
from typing import Any

from schemas.alarms import Condition
from schemas.contract import topic_for
from schemas.plant import Plant
from services.notifier.core import Notifier, NotifierState
from services.notifier.dispatch import DISPATCH, HEARTBEAT, LOCAL
from services.notifier.shell import Shell
from services.runtime.service import Incoming, Outgoing
from tests.notifier.bench import NOON, SITE
from tests.waiting import wait_until

TIMEOUT_S = 0.25
PATIENT_S = 60.0
"""Where an answer that comes late would be one that is lost."""


class Carried:
    """State is safe before effects, as the host does it: a kill loses effects, results, or both, but no state."""

    def __init__(
        self,
        plant: Plant,
        folder: Path,
        kills: Random | None = None,
        kill_share: float = 0.0,
        timeout_s: float = TIMEOUT_S,
    ) -> None:
        self.plant = plant
        self.now = NOON
        self.kills = self.beats = 0
        self._folder = folder
        self._timeout_s = timeout_s
        self._random = kills or Random(0)
        self._kill_share = kill_share
        self._kept = ""
        self._under_way = 0
        self._start()

    def _start(self) -> None:
        restored = NotifierState.model_validate_json(self._kept) if self._kept else None
        self.shell = Shell(self.plant, self._folder, self._timeout_s, expected=())
        self.notifier: Notifier = self.shell.build(restored, self.now)
        self._under_way = 0
        self._effects(list(self.notifier.start(self.now)))

    def condition(self, name: str, active: bool = True, chamber: str = "left") -> None:
        body = Condition(
            at=self.now, source="test", chamber=chamber, name=name, active=active, since=self.now, detail="in words"
        )
        self._hand_in(Incoming(topic_for(SITE, body), body))

    def pass_time(self, span: timedelta, step: timedelta = timedelta(seconds=30)) -> None:
        """Ticks, and waits at each for every courier that is under way."""
        until = self.now + span
        while self.now < until:
            self.now += step
            self._effects(list(self.notifier.tick(self.now)))
            self._gather()

    def _gather(self) -> None:
        while self._under_way:
            results: list[Incoming] = []
            wait_until(lambda results=results: bool(results.extend(self.shell.poll(self.now)) or results), "a courier")
            self._under_way -= len(results)
            kills = self.kills
            for result in results:
                if self.kills > kills or self._dies():
                    return
                self._hand_in(result)

    def _let_couriers_end(self) -> None:
        """No thread outlives a process that is killed; here they end first, and nobody hears what they say."""
        while self._under_way > 0:
            gone: list[Incoming] = []
            wait_until(lambda gone=gone: bool(gone.extend(self.shell.poll(self.now)) or gone), "a courier")
            self._under_way -= len(gone)

    def _hand_in(self, incoming: Incoming) -> None:
        self._effects(list(self.notifier.receive(incoming, self.now)))

    def _effects(self, said: list[Outgoing]) -> None:
        self._kept = self.notifier.snapshot().model_dump_json()
        for outgoing in said:
            if not outgoing.topic.startswith(LOCAL):
                continue
            if self._dies():
                return
            self.shell.perform(outgoing)
            self._under_way += outgoing.topic.startswith(DISPATCH)
            self.beats += outgoing.topic.startswith(HEARTBEAT)

    def _dies(self) -> bool:
        if self._random.random() >= self._kill_share:
            return False
        self.kills += 1
        self._let_couriers_end()
        self.shell.close()
        self._start()
        return True


def plant_with(people: dict[str, Any], **notifier: Any) -> Plant:
    probe = {"beer": {"measures": "temperature", "from": {"simulated": True}}}
    blocks = {name: {"kind": "fridge", "probes": probe} for name in ("left", "right")}
    return Plant.model_validate({"site": {"name": SITE}, "chambers": blocks, "people": people, "notifier": notifier})
