"""The recorder's core: everything in, rows out to the store, conditions when the store does not keep up."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, get_args

from schemas.alarms import Alarm, Condition
from schemas.base import SITE_WIDE, Instant, Message, Model, ServiceName
from schemas.batches import BatchState
from schemas.conditions import ConditionKind
from schemas.contract import retained, topic_for
from schemas.control import ChamberStatus, Command, Setpoint
from schemas.journal import Health, JournalEntry, Wellness
from schemas.plant import Plant
from schemas.requests import Accepted, WriteNote
from schemas.telemetry import VALUE_FIELDS, Quality, Reading, Report
from schemas.topics import everything
from services.recorder import translation
from services.recorder.backlog import Backlog, Upkeep, Waiting
from services.recorder.loads import CircuitLoads
from services.recorder.rows import EPOCH, GRADES, MILLISECOND, Annotation, Origin, Sample, Series, SeriesKind
from services.recorder.steady import Steadiness
from services.recorder.store import DiskFull, Sink, StoreError
from services.runtime.service import Durability, Incoming, Outgoing

REPEATED_EVERY_MS = 300_000
"""A command renewed or a health unchanged is kept at most so often; every change is kept."""
BEHIND_AFTER = timedelta(minutes=2)
UPKEEP_EVERY = timedelta(minutes=5)
SEEN_EVERY = timedelta(minutes=10)
FORECAST_EVERY = timedelta(hours=1)
"""A batch whose step and phase are as before is kept at most so often, for its forecast."""

STORE_BEHIND, DISK_FULL = ConditionKind.STORE_BEHIND, ConditionKind.DISK_FULL


class RecorderState(Model):
    """What must survive a restart: which conditions it raised, and whether the clock is believed."""

    version: int = 1
    raised: tuple[str, ...] = ()
    seen: Instant | None = None
    steady_from: Instant | None = None


class Recorder:
    """Puts what it hears into rows; only after `flush` handed them to the sink may what was heard be acknowledged."""

    name = ServiceName.RECORDER
    durability = Durability.LAZILY
    State = RecorderState

    def __init__(
        self,
        plant: Plant,
        restored: RecorderState | None = None,
        *,
        sink: Sink,
        origin: Origin = Origin.LIFE,
        trouble: str = "",
    ) -> None:
        """`trouble` is what had to be done to open the store, for the journal."""
        state = restored or RecorderState()
        self.plant = plant
        self._site = plant.site.name
        self._sink = sink
        self._origin = origin.value
        self._loads = CircuitLoads(plant)
        self._samples: list[Sample] = []
        self._annotations: list[Annotation] = []
        self._series: dict[tuple[str, str], Series] = {}
        self._probes: dict[str, tuple[Series, Quality, str]] = {}
        self._said: dict[object, object] = {}
        self._kept: dict[Series, tuple[float | None, int]] = {}
        self._raised: dict[str, Condition | None] = dict.fromkeys(state.raised)
        self._trouble = trouble
        self._failing_since: datetime | None = None
        self._problem: StoreError | None = None
        self._next_upkeep = EPOCH
        self._steadiness = Steadiness(state.seen, state.steady_from)
        self._waiting = Waiting()
        self._handlers: dict[type[Message], Callable[[str, Any], None]] = {
            **dict.fromkeys(get_args(Reading), self._take_reading),
            Report: self._take_report,
            Command: self._take_command,
            Setpoint: self._take_setpoint,
            ChamberStatus: self._take_status,
            BatchState: self._take_batch,
            Health: self._take_health,
            Alarm: lambda _, alarm: self._annotate(translation.of_alarm(self._site, alarm)),
            Condition: lambda _, condition: self._annotate(translation.of_condition(self._site, condition)),
            JournalEntry: lambda _, entry: self._annotate(translation.of_journal(self._site, entry)),
        }

    @property
    def listens(self) -> tuple[str, ...]:
        """All that is said on the site."""
        return (everything(self._site),)

    @property
    def pending(self) -> int:
        """How many rows wait for the next flush."""
        return len(self._samples) + len(self._annotations)

    @property
    def counts(self) -> Counter[str]:
        """What became of rows that did not simply reach the store: thinned, dropped, damaged, refused."""
        return self._sink.counts if isinstance(self._sink, Backlog) else Counter()

    def kept_back(self) -> tuple[int, str]:
        """Rows that the store does not have yet, as of the last tick, and why."""
        return self._waiting.rows + self.pending, str(self._problem or self._waiting.problem)

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """Writes the plant down, and says what had to be done to open the store."""
        self._write_plant_down(now)
        if not self._trouble:
            return ()
        entry = JournalEntry(
            at=now, source=self.name, id=f"{self.name}-store-{int(now.timestamp())}", event="store-begun-anew",
            who=self.name, why=self._trouble[:2000],
        )  # fmt: skip
        return [Outgoing(topic_for(self._site, entry, self.name), entry)]

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """The conditions it has raised, as they stand."""
        return [self._send(condition or self._condition(name, False, now)) for name, condition in self._raised.items()]

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """Turns one message into rows; other services' requests, replies and devices' own traffic leave none."""
        handler = self._handlers.get(type(incoming.body))  # type: ignore[arg-type]
        if handler is not None:
            handler(incoming.topic, incoming.body)
        elif isinstance(incoming.body, WriteNote):
            return self._write_note(incoming.body, now)
        return ()

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """Hands rows on, and says when the store is behind or full, or no longer."""
        self.flush(now)
        self._keep_house(now)
        waiting = self._waiting = self._sink.backlog(now) if isinstance(self._sink, Backlog) else Waiting()
        since = [moment for moment in (self._failing_since, waiting.oldest) if moment is not None]
        behind = bool(since) and now - min(since) > BEHIND_AFTER
        full = waiting.full or isinstance(self._problem, DiskFull)
        detail = str(self._problem or waiting.problem)
        return [*self._tell(STORE_BEHIND, behind, now, detail), *self._tell(DISK_FULL, full, now, detail)]

    def flush(self, now: datetime) -> bool:
        """Whether everything heard so far is on disk; what could not be written is kept for the next time."""
        if not self._samples and not self._annotations:
            return True
        try:
            self._sink.write(self._samples, self._annotations)
        except StoreError as error:
            self._problem = error
            self._failing_since = self._failing_since or now
            return False
        self._samples.clear()
        self._annotations.clear()
        self._problem = self._failing_since = None
        return True

    def stop(self, now: datetime) -> Iterable[Outgoing]:
        """A last flush."""
        self.flush(now)
        return ()

    def snapshot(self) -> RecorderState:
        """Small: history itself is in the store."""
        seen = self._steadiness.seen
        looked = seen and seen - (seen - EPOCH) % SEEN_EVERY  # so that it need not be saved every second
        return RecorderState(raised=tuple(self._raised), seen=looked, steady_from=self._steadiness.steady_from)

    def plant_changed(self, plant: Plant, now: datetime) -> Iterable[Outgoing]:
        """Writes the new plant down, so that reports know what each output drew at the time."""
        self.plant, self._loads = plant, CircuitLoads(plant)
        self._write_plant_down(now)
        return ()

    def _keep_house(self, now: datetime) -> None:
        """One small piece a tick while there is something to do, else a look every few minutes."""
        waits = timedelta(0) < self._next_upkeep - now <= UPKEEP_EVERY
        if not self._steadiness.believes(now) or not isinstance(self._sink, Upkeep) or self._failing_since or waits:
            return
        try:
            busy = self._sink.maintain(now)
        except StoreError as error:
            self._problem, busy = error, False
        self._next_upkeep = now if busy else now + UPKEEP_EVERY

    def _write_note(self, request: WriteNote, now: datetime) -> Iterable[Outgoing]:
        """Idempotent by its id, which is the journal line's; the line comes back to be kept like any other."""
        entry = translation.entry_of(request, self.name)
        reply = Accepted(at=now, source=self.name, id=request.id)
        return [
            Outgoing(topic_for(self._site, entry, self.name), entry),
            Outgoing(topic_for(self._site, reply, request.client, request.id), reply),
        ]

    def _take_reading(self, topic: str, reading: Any) -> None:
        known = self._probes.get(topic)
        quality = reading.quality
        if known is None or known[1] is not quality:
            known = self._meet(topic, reading)
        value = getattr(reading, known[2])
        at_ms = (reading.at - EPOCH) // MILLISECOND
        self._samples.append(Sample(known[0], at_ms, None if value is None else float(value), GRADES[quality]))

    def _meet(self, topic: str, reading: Any) -> tuple[Series, Quality, str]:
        """A probe's first reading, or the first of another quality, which is told in words, too."""
        unit = translation.UNIT_OF_MEASURE[reading.measures]
        series = Series(self._site, reading.chamber, SeriesKind.READING.value, reading.probe, unit, self._origin)
        self._annotate(translation.of_quality(self._site, reading))
        known = self._probes[topic] = (series, reading.quality, VALUE_FIELDS[reading.measures])
        return known

    def _take_report(self, topic: str, report: Report) -> None:
        self._keep(topic, report, SeriesKind.REPORT, report.output, report.level, translation.LEVEL)
        for circuit, amperes in self._loads.after(report):
            name = f"{circuit}-{translation.LOAD}"
            series = self._series.get(("", name)) or self._begin("", name, SITE_WIDE, SeriesKind.STATUS, name, "A")
            self._samples.append(Sample(series, (report.at - EPOCH) // MILLISECOND, amperes))

    def _take_command(self, topic: str, command: Command) -> None:
        self._keep(topic, command, SeriesKind.COMMAND, command.output, command.level, translation.LEVEL, thin=True)

    def _take_setpoint(self, topic: str, setpoint: Setpoint) -> None:
        self._keep(topic, setpoint, SeriesKind.SETPOINT, translation.SETPOINT, setpoint.temperature_c, "degC")
        self._keep(topic, setpoint, SeriesKind.SETPOINT, translation.TOLERANCE, setpoint.tolerance_k, "K", thin=True)

    def _take_status(self, topic: str, status: ChamberStatus) -> None:
        self._keep(topic, status, SeriesKind.STATUS, translation.DEMAND, status.demand, "", thin=True)
        estimate = status.estimate
        if estimate is not None:
            self._keep(topic, status, SeriesKind.STATUS, translation.BEER_ESTIMATE, estimate.beer_c, "degC")
            if estimate.heat_w is not None:
                self._keep(topic, status, SeriesKind.STATUS, translation.HEAT_ESTIMATE, estimate.heat_w, "W")
        if self._changed(topic, (status.doing, tuple(interlock.id for interlock in status.interlocks))):
            self._annotate(translation.of_status(self._site, status))

    def _take_batch(self, topic: str, state: BatchState) -> None:
        hour = (state.at - EPOCH) // FORECAST_EVERY
        if self._changed(topic, (state.phase, state.step, state.gravity_sg, hour)):
            self._annotate(translation.of_batch(self._site, state))

    def _take_health(self, topic: str, health: Health) -> None:
        name, running = health.service.value, float(health.state is Wellness.RUNNING)
        self._keep(topic, health, SeriesKind.HEALTH, f"{name}-{translation.RUNNING}", running, "", thin=True)
        depth = float(health.queue_depth)
        self._keep(topic, health, SeriesKind.HEALTH, f"{name}-{translation.QUEUE}", depth, "", thin=True)
        if self._changed(topic, (health.state, health.last_error, health.version)):
            self._annotate(translation.of_health(self._site, health))

    def _keep(
        self,
        topic: str,
        message: Any,
        kind: SeriesKind,
        name: str,
        value: float | None,
        unit: str,
        *,
        thin: bool = False,
    ) -> None:
        series = self._series.get((topic, name))
        if series is None:
            series = self._begin(topic, name, getattr(message, "chamber", SITE_WIDE), kind, name, unit)
        at_ms = (message.at - EPOCH) // MILLISECOND
        if thin and not self._news(series, value, at_ms):
            return
        self._samples.append(Sample(series, at_ms, value))

    def _news(self, series: Series, value: float | None, at_ms: int) -> bool:
        before = self._kept.get(series)
        if before is not None and before[0] == value and 0 <= at_ms - before[1] < REPEATED_EVERY_MS:
            return False
        self._kept[series] = (value, at_ms)
        return True

    def _begin(self, topic: str, field: str, chamber: str, kind: SeriesKind, name: str, unit: str) -> Series:
        series = Series(self._site, chamber, kind.value, name, unit, self._origin)
        self._series[topic, field] = series
        return series

    def _changed(self, topic: str, said: object) -> bool:
        if self._said.get(topic) == said:
            return False
        self._said[topic] = said
        return True

    def _annotate(self, annotation: Annotation) -> None:
        own = annotation if self._origin == annotation.origin else replace(annotation, origin=self._origin)
        self._annotations.append(own)

    def _write_plant_down(self, now: datetime) -> None:
        self._annotate(translation.of_plant(self.plant, now))

    def _tell(self, name: str, active: bool, now: datetime, detail: str) -> list[Outgoing]:
        before = self._raised.get(name)
        if active == (before is not None and before.active) and not (name in self._raised and before is None):
            return []
        condition = self._raised[name] = self._condition(name, active, now, detail)
        return [self._send(condition)]

    def _condition(self, name: str, active: bool, now: datetime, detail: str = "") -> Condition:
        said = detail[:2000] or ("" if active else "All that was heard is kept.")
        return Condition(at=now, source=self.name, chamber=SITE_WIDE, name=name, active=active, since=now, detail=said)

    def _send(self, message: Message) -> Outgoing:
        return Outgoing(topic_for(self._site, message), message, retain=retained(message))
