"""The stage: any cores on one in-memory bus, in virtual time, with kills and restarts where a script wants them."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from pydantic import BaseModel

from schemas.base import ServiceName
from schemas.contract import topic_for
from schemas.journal import Health, Wellness
from services.runtime.hooks import Flushing
from services.runtime.memory_bus import MemoryBus, Mishaps, Session
from services.runtime.service import Durability, Incoming, Outgoing, Service

Factory = Callable[[BaseModel | None], Service]
"""Builds a core, fresh or from its last snapshot."""
Witness = Callable[[Outgoing, datetime], None]


@dataclass(slots=True)
class Member:
    """One core on the stage. `kept` is the snapshot that a restart would find on disk."""

    name: ServiceName
    factory: Factory
    core: Service
    session: Session | None = None
    flush: Callable[[datetime], bool] | None = None
    kept: BaseModel | None = None


class Stage:
    """Runs cores from `start`, each ticking every `tick`; the same inputs give the same messages in the same order.

    `keep_every` is how often lazily durable cores are saved, as the host would; None when nobody is killed.
    `last_words` are what the broker publishes for a service besides its last will, from connections of its own.
    """

    def __init__(
        self,
        site: str,
        factories: Mapping[ServiceName, Factory],
        start: datetime,
        *,
        tick: timedelta = timedelta(seconds=10),
        mishaps: Mishaps | None = None,
        on_the_wire: bool = False,
        keep_every: timedelta | None = None,
        kept: Mapping[ServiceName, BaseModel] | None = None,
        last_words: Mapping[ServiceName, tuple[Outgoing, ...]] | None = None,
    ) -> None:
        self.now = start
        self.tick = tick
        self.bus = MemoryBus(on_the_wire=on_the_wire, mishaps=mishaps)
        self.witnesses: list[Witness] = []
        self.on_tick: list[Callable[[datetime], None]] = []
        self._site = site
        self._keep_every = keep_every
        self._kept_at = start
        self._last_words = last_words or {}
        kept = kept or {}
        self.members = {
            name: Member(name, factory, factory(kept.get(name)), kept=kept.get(name))
            for name, factory in factories.items()
        }
        for member in self.members.values():
            self._enter(member)
        self.bus.deliver(self.now)

    def run_until(self, moment: datetime) -> None:
        """Lets virtual time pass, tick by tick, up to a moment."""
        while self.now < moment:
            self.now += self.tick
            self.step()

    def step(self) -> None:
        """What happens at one tick: everybody in turn, and all that follows from it."""
        now, bus = self.now, self.bus
        for member in self.members.values():
            if member.session is not None:
                self.send(member.core.tick(now))
                bus.deliver(now)
                if member.flush is not None:
                    member.flush(now)
        for look in self.on_tick:
            look(now)
        if self._keep_every is not None and now - self._kept_at >= self._keep_every:
            self._keep_snapshots()

    def send(self, messages: Iterable[Outgoing]) -> None:
        """Publishes, as a service or as a person's request would."""
        for outgoing in messages:
            for witness in self.witnesses:
                witness(outgoing, self.now)
            self.bus.publish(outgoing)

    def ask(self, *messages: Outgoing) -> None:
        """Publishes and lets everybody react at once."""
        self.send(messages)
        self.bus.deliver(self.now)

    def kill(self, name: ServiceName) -> None:
        """Takes a service away without a word, as SIGKILL does; harmless when it is gone already."""
        member = self.members[name]
        if member.session is None:
            return
        if member.core.durability is Durability.BEFORE_EFFECTS:
            member.kept = member.core.snapshot()
        session, member.session = member.session, None
        self.bus.die(session)
        self.send(self._last_words.get(name, ()))
        self.bus.deliver(self.now)

    def revive(self, name: ServiceName, *, forgetful: bool = False) -> None:
        """Starts it again from what was on disk, or (forgetful) from nothing."""
        member = self.members[name]
        if member.session is not None:
            return
        member.core = member.factory(None if forgetful else member.kept)
        self._enter(member)
        self.bus.deliver(self.now)

    def alive(self, name: ServiceName) -> bool:
        """Whether a service runs at this moment."""
        return self.members[name].session is not None

    def step_clock(self, by: timedelta) -> None:
        """Sets everybody's wall clock, without time passing."""
        self.now += by

    def snapshots(self) -> dict[ServiceName, BaseModel]:
        """What every core would have on disk after a clean stop."""
        return {name: member.core.snapshot() for name, member in self.members.items()}

    def _enter(self, member: Member) -> None:
        core = member.core
        member.flush = core.flush if isinstance(core, Flushing) else None
        member.session = self.bus.join(
            member.name, self._handler(member), core.listens, persistent=True, will=self._will(member.name)
        )
        self.send(core.start(self.now))
        self.send(core.rejoin(self.now))

    def _handler(self, member: Member) -> Callable[[Incoming], None]:
        core, send = member.core, self.send

        def hear(incoming: Incoming) -> None:
            send(core.receive(incoming, self.now))

        return hear

    def _will(self, name: ServiceName) -> Outgoing:
        lost = Health(at=self.now, source=name, service=name, state=Wellness.LOST)
        return Outgoing(topic_for(self._site, lost), lost, retain=True)

    def _keep_snapshots(self) -> None:
        self._kept_at = self.now
        for member in self.members.values():
            if member.session is not None:
                member.kept = member.core.snapshot()
