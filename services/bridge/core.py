"""The bridge's core: raw device traffic becomes readings, commands become relay payloads under a dead man."""

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

from schemas.alarms import Condition
from schemas.base import Message, Model, ServiceName
from schemas.contract import retained, topic_for
from schemas.control import Command
from schemas.plant import Plant
from schemas.topics import TopicKind, every
from services.bridge.drivers.driver import Payload
from services.bridge.lease import QUARANTINE_S, Passage
from services.bridge.outputs import OutputChannel
from services.bridge.wiring import Wiring
from services.runtime.service import Durability, Incoming, Outgoing

SETTLE_S = 3.0
"""After the bridge itself switched something off, so long the supervisor has to learn of it before it is heeded."""
_SET_BACK = timedelta(seconds=-1)


class BridgeState(Model):
    """What must survive a restart. Levels and leases are not in it: what was commanded before is not obeyed after."""

    version: int = 1
    stated: tuple[Condition, ...] = ()


class Bridge:
    """Speaks for every probe and output of a plant. `counts` says what was wrong with what came in, by kind.

    `guards` says that the shell keeps a connection with a last will for each output that needs one, and reports on it.
    """

    name = ServiceName.BRIDGE
    durability = Durability.LAZILY
    State = BridgeState

    def __init__(self, plant: Plant, restored: BridgeState | None = None, *, guards: bool = False) -> None:
        self.counts: Counter[str] = Counter()
        self._guards = guards
        self._passage = Passage()
        self._driven_since_s: dict[str, float] = {}
        self._wiring = Wiring(plant, guards=guards, elapsed_s=0.0)
        if restored is not None:
            self._restore(restored)

    @property
    def listens(self) -> tuple[str, ...]:
        """Commands, and the topics of all devices."""
        return (every(self._wiring.site, TopicKind.COMMAND), *self._wiring.device_topics)

    @property
    def wiring(self) -> Wiring:
        """All channels, for the shell to guard and fetch; another one once the plant has changed."""
        return self._wiring

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """Every output is told to be off, and is unknown until it was."""
        elapsed_s = self._passage.look(now)
        for output in self._wiring.outputs.values():
            yield from self._sent(output.open(now, elapsed_s))

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """The last of everything. What was on is switched off: its relay may have heard a last will meanwhile."""
        elapsed_s = self._passage.look(now)
        for output in self._wiring.outputs.values():
            if output.on:
                output.lease.close(elapsed_s + SETTLE_S)
                yield from self._release(output, now, elapsed_s, "switched off: the broker was lost meanwhile", now)
            else:
                yield from self._sent(output.say_again(now, elapsed_s))
        for probe in self._wiring.probes.values():
            if probe.last is not None:
                yield Outgoing(probe.topic, probe.last, retain=True)
        yield from self._sent(finding.stated for finding in self._wiring.findings() if finding.stated is not None)

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """A device's payload, a command, or the shell's word on a guard."""
        if self._passage.was_set_back(now):
            return [*self.clock_stepped(_SET_BACK, now), *self.receive(incoming, now)]
        elapsed_s = self._passage.look(now)
        body = incoming.body
        if isinstance(body, bytes):
            return self._hear(incoming, body, now, elapsed_s)
        return list(self._obey(body, now, elapsed_s)) if isinstance(body, Command) else ()

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """Leases that ended, probes that fell silent, outputs that do not follow."""
        if self._passage.was_set_back(now):
            yield from self.clock_stepped(_SET_BACK, now)
        elapsed_s = self._passage.look(now)
        for output in self._wiring.outputs.values():
            if output.is_due(now, elapsed_s):
                yield from self._sent(output.look(now, elapsed_s, self.counts))
                self._note_drive(output.place.chamber, elapsed_s)
        for probe in self._wiring.probes.values():
            if probe.is_due(elapsed_s):
                yield from self._sent(probe.conditions(now, elapsed_s))

    def clock_stepped(self, by: timedelta, now: datetime) -> Iterable[Outgoing]:
        """No lease outlives a clock that was set: safe beats comfortable."""
        back = by < timedelta(0) or self._passage.was_set_back(now)
        self._passage.set(now)
        elapsed_s = self._passage.look(now)
        self.counts["clock_stepped"] += 1
        for output in self._wiring.outputs.values():
            if back:
                output.lease.close(elapsed_s + QUARANTINE_S)
            yield from self._release(output, now, elapsed_s, "switched off: the clock was set", None if back else now)

    def plant_changed(self, plant: Plant, now: datetime) -> Iterable[Outgoing]:
        """What is described as before goes on undisturbed; what went away is switched off and forgotten."""
        elapsed_s = self._passage.look(now)
        before = self._wiring
        self._wiring = after = Wiring(plant, guards=self._guards, elapsed_s=elapsed_s, before=before)
        for key, output in before.outputs.items():
            if after.outputs.get(key) is not output:
                yield from self._release(output, now, elapsed_s, "switched off: the plant file changed", now)
        for gone in sorted(before.retained_topics() - after.retained_topics()):
            yield Outgoing(gone, b"", retain=True)
        for key, output in after.outputs.items():
            if before.outputs.get(key) is not output:
                yield from self._sent(output.open(now, elapsed_s))

    def plant_refused(self, text: str, now: datetime) -> Iterable[Outgoing]:
        """The plant stays as it is; the notifier tells people."""
        self.counts["plant_file_refused"] += 1
        return ()

    def stop(self, now: datetime) -> Iterable[Outgoing]:
        """Switches everything off."""
        elapsed_s = self._passage.look(now)
        for output in self._wiring.outputs.values():
            yield from self._release(output, now, elapsed_s, "switched off: the bridge was stopped", now)

    def snapshot(self) -> BridgeState:
        """What was said of conditions."""
        return BridgeState(stated=tuple(one.stated for one in self._wiring.findings() if one.stated is not None))

    def _restore(self, state: BridgeState) -> None:
        stated = {f"{one.chamber}/{one.name}": one for one in state.stated}
        for finding in self._wiring.findings():
            finding.stated = stated.get(finding.key)

    def _hear(self, incoming: Incoming, body: bytes, now: datetime, elapsed_s: float) -> list[Outgoing]:
        name, wiring, payload = incoming.topic, self._wiring, Payload(body)
        outgoing: list[Outgoing] = []
        for probe in wiring.ears.get(name, ()):
            driven_since_s = self._driven_since_s.get(probe.place.chamber)
            reading = probe.take(payload, incoming.retained, now, elapsed_s, driven_since_s, self.counts)
            outgoing.append(Outgoing(probe.topic, reading, True))
        for output in wiring.states.get(name, ()):
            outgoing += self._sent(output.hear(payload, now, elapsed_s, self.counts))
        guarded = wiring.guards.get(name)
        if guarded is not None:
            outgoing += self._sent(guarded.guard_changed(body == b"up", now, elapsed_s))
            self._note_drive(guarded.place.chamber, elapsed_s)
        return outgoing

    def _obey(self, command: Command, now: datetime, elapsed_s: float) -> Iterator[Outgoing]:
        output = self._wiring.outputs.get(f"{command.chamber}/{command.output}")
        if output is None:
            self.counts["command_for_nothing_here"] += 1
            return
        yield from self._sent(output.command(command, now, elapsed_s, self.counts))
        self._note_drive(command.chamber, elapsed_s)

    def _release(
        self, output: OutputChannel, now: datetime, elapsed_s: float, why: str, refuse_before: datetime | None
    ) -> Iterator[Outgoing]:
        yield from self._sent(output.release(now, elapsed_s, why, refuse_before))
        self._note_drive(output.place.chamber, elapsed_s)

    def _note_drive(self, chamber: str, elapsed_s: float) -> None:
        """Since when a chamber's machines move heat without a break."""
        outputs = (one for one in self._wiring.outputs.values() if one.place.chamber == chamber)
        if any(one.on and one.moves_heat for one in outputs):
            self._driven_since_s.setdefault(chamber, elapsed_s)
        else:
            self._driven_since_s.pop(chamber, None)

    def _sent(self, said: Iterable[Message | Outgoing]) -> Iterator[Outgoing]:
        site = self._wiring.site
        for one in said:
            if isinstance(one, Outgoing):
                yield one
            else:
                yield Outgoing(topic_for(site, one), one, retained(one))
