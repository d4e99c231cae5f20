"""Runs one core on a link: the only thing that knows both the core and the world.

One turn: read what is there, hand it to the core, make its state durable where it must be, send what it answered,
acknowledge what came. Nothing that arrives, and nothing a core does with it, ends the loop.
"""

import threading
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from pydantic import BaseModel

from schemas.contract import Unreadable, decode
from schemas.control import Command
from schemas.journal import Wellness
from schemas.topics import parse
from services.runtime.clock import Clock, machine_seconds
from services.runtime.health import HealthBook
from services.runtime.hooks import Counting, Flushing, Keeping, Stopping, heed_plant, heed_step
from services.runtime.link import Delivery, Link
from services.runtime.outbox import Outbox
from services.runtime.plant_watch import PlantWatch
from services.runtime.receipts import Receipts
from services.runtime.service import Durability, Incoming, Outgoing, Service
from services.runtime.state import Saved, StateFile

TICK_EVERY_S = 1.0
SAVE_EVERY_S = 5.0
LONGEST_WAIT_S = 0.25
TAKEN_AT_ONCE = 200
WRITTEN_EVERY = 10
"""Inputs of one turn whose answers leave together."""
MOST_UNSETTLED = 800
"""Inputs taken and not acknowledged; beyond it no more are taken until some are. Brokers stop sending at 1,000."""
FLUSH_EVERY_S = 0.5
FLUSH_AT = 500
PARTING_S = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What a service adds to the loop.

    `poll` returns raw readings of devices that do not speak MQTT, under topics of its own; it is asked every turn and
    must not wait. `perform` may take a raw message away from MQTT by doing it and returning True. `watch` is looked at
    once a second. `close` is called last, when the core's last words are out.
    """

    poll: Callable[[datetime], Iterable[Incoming]] | None = None
    perform: Callable[[Outgoing], bool] | None = None
    watch: PlantWatch | None = None
    close: Callable[[], None] | None = None


class Host:
    """One service: call `run` in a thread of its own, or `begin`, `turn` and `end` by hand."""

    def __init__(
        self,
        core: Service,
        link: Link,
        clock: Clock,
        book: HealthBook,
        state: StateFile[Saved],
        options: Options | None = None,
        outbox: Outbox | None = None,
    ) -> None:
        self.book = book
        self._core = core
        self._link = link
        self._clock = clock
        self._state = state
        self._options = options or Options()
        self._outbox = outbox or Outbox()
        self._receipts = Receipts()
        self._held: list[int] = []
        self._held_since_s = 0.0
        self._greeted = 0
        self._last_tick_s = -TICK_EVERY_S
        self._last_save_s = machine_seconds()
        self._saved_snapshot: BaseModel | None = None
        self._said_of_link = ""
        self._filters: tuple[str, ...] = ()
        self._carried_counts: Counter[str] = Counter()
        self._stopping = core if isinstance(core, Stopping) else None
        self._flushing = core if isinstance(core, Flushing) else None
        self._counting = core if isinstance(core, Counting) else None
        self._keeping = core if isinstance(core, Keeping) else None
        self._lazily = core.durability is Durability.LAZILY

    def run(self, stop: threading.Event) -> None:
        """Until `stop` is set; then lets the core say its last words and leaves in good order."""
        self.begin()
        while not stop.is_set():
            self.turn(LONGEST_WAIT_S)
        self.end()

    def begin(self, patience_s: float = PARTING_S) -> None:
        """Waits a little for the broker, so that the core's first words are heard, and starts the core."""
        if self._state.trouble:
            self._trouble("state-unreadable", self._state.trouble)
        self._follow_filters()
        deadline = machine_seconds() + patience_s
        while not self._link.listening and machine_seconds() < deadline:
            self._link.turn(LONGEST_WAIT_S)
        self._settle(self._ask("start", partial(self._core.start, self._clock.now())), [])
        self.book.note("started", broker_connected=self._link.connected)

    def turn(self, longest_wait_s: float) -> None:
        """One round; waits at most so many real seconds for something to come."""
        self._link.turn(self._wait_s(longest_wait_s))
        now = self._clock.now()
        if self._link.connections != self._greeted and self._link.connected:
            self._settle(self._greet(now), [])
        if step := self._clock.step():
            self._settle(self._heed_clock(step, now), [])
        self._receive(now)
        if self._options.poll is not None:
            self._poll(self._options.poll, now)
        if self._clock.elapsed() - self._last_tick_s >= TICK_EVERY_S:
            self._tick(now)
        self._finish()

    def end(self) -> None:
        """The core's last words, its state, and a goodbye to the broker."""
        now = self._clock.now()
        if (stopping := self._stopping) is not None:
            self._settle(self._ask("stop", partial(stopping.stop, now)), [])
        self._flush(at_once=True)
        self._save()
        self._link.publish(self._health(Wellness.STOPPING, now))
        deadline = machine_seconds() + PARTING_S
        while self._link.connected and self._link.waiting and machine_seconds() < deadline:
            self._link.turn(0.05)
            self._link.take(TAKEN_AT_ONCE)
            self._finish()
        if self._options.close is not None:
            self._options.close()
        self._link.close()
        self.book.note("stopped")

    def _wait_s(self, longest_s: float) -> float:
        if self._link.untaken and not self._pressed():
            return 0.0
        to_tick_s = self._last_tick_s + TICK_EVERY_S - self._clock.elapsed()
        return max(0.0, min(longest_s, self._clock.in_real_seconds(to_tick_s)))

    def _greet(self, now: datetime) -> list[Outgoing]:
        """After every new connection: what was left unsent by an earlier life, all retained topics, and health."""
        self._greeted = self._link.connections
        self.book.counts["connections"] += 1
        self._outbox.send_again(self._link.publish)
        return [*self._ask("rejoin", partial(self._core.rejoin, now)), self._health(Wellness.RUNNING, now)]

    def _heed_clock(self, step: timedelta, now: datetime) -> Iterator[Outgoing]:
        self._trouble("clock-steps", f"the wall clock was set by {step.total_seconds():+.1f} s")
        return self._ask("clock-stepped", partial(heed_step, self._core, step, now))

    def _receive(self, now: datetime) -> None:
        """LAZILY: each input's answers leave before the next is looked at; otherwise after the state is safe."""
        if self._pressed():
            return
        deliveries = self._link.take(TAKEN_AT_ONCE)
        if not deliveries:
            return
        self.book.counts["received"] += len(deliveries)
        if self._lazily:
            for place, delivery in enumerate(deliveries, 1):
                self._settle(self._hand_over(delivery, now), [delivery.ticket])
                if place % WRITTEN_EVERY == 0:
                    self._link.flush()
        else:
            outputs = [one for delivery in deliveries for one in self._hand_over(delivery, now)]
            self._settle(outputs, [delivery.ticket for delivery in deliveries])

    def _pressed(self) -> bool:
        return len(self._receipts) + len(self._held) >= MOST_UNSETTLED

    def _hand_over(self, delivery: Delivery, now: datetime) -> Iterable[Outgoing]:
        body = delivery.body
        address = parse(delivery.topic)
        if isinstance(body, bytes) and address is not None:
            if not body:
                return ()
            try:
                body = decode(delivery.topic, body)
            except Unreadable as error:
                self._trouble(f"unreadable-{address.kind}", str(error))
                return ()
        incoming = Incoming(delivery.topic, body, delivery.retained)
        kind = "raw" if address is None else address.kind.value
        return self._ask(kind, partial(self._core.receive, incoming, now))

    def _poll(self, poll: Callable[[datetime], Iterable[Incoming]], now: datetime) -> None:
        try:
            polled = list(poll(now))
        except Exception as error:
            self._trouble("failed-poll", f"polling devices: {error!r}", error)
            return
        for incoming in polled:
            self._settle(self._ask("raw", partial(self._core.receive, incoming, now)), [])

    def _tick(self, now: datetime) -> None:
        self._last_tick_s = self._clock.elapsed()
        self._settle(self._ask("tick", partial(self._core.tick, now)), [])
        if self._options.watch is not None and (seen := self._options.watch.look()) is not None:
            self._settle(self._ask("plant", partial(heed_plant, self._core, seen, now)), [])
        self._follow_filters()
        self._heed_link()
        if self._link.connected and self.book.due(self._last_tick_s):
            self._link.publish(self._health(Wellness.RUNNING, now))

    def _heed_link(self) -> None:
        """A broker that cannot be reached, or refuses, can be told of nowhere but in the log."""
        if self._link.trouble and self._link.trouble != self._said_of_link:
            self._trouble("broker", self._link.trouble)
        self._said_of_link = self._link.trouble

    def _ask(self, what: str, question: Callable[[], Iterable[Outgoing]]) -> Iterator[Outgoing]:
        """Whatever a core raises costs that one message its answers from there on, and nothing else."""
        try:
            yield from question()
        except Exception as error:
            self._trouble(f"failed-{what}", f"{what}: {error!r}", error)

    def _settle(self, outputs: Iterable[Outgoing], tickets: list[int]) -> None:
        """Makes the effects of some inputs safe and visible; acknowledging them comes with `_finish`.

        LAZILY: each message leaves as the core says it, while it may still be working on the next.
        """
        numbers = self._send_as_said(outputs) if self._lazily else self._send_when_safe(list(outputs), tickets)
        if self._flushing is None:
            self._receipts.note(tickets, numbers)
        else:
            self._hold(tickets)

    def _send_as_said(self, outputs: Iterable[Outgoing]) -> list[int]:
        numbers: list[int] = []
        hurried = False
        for outgoing in outputs:
            numbers.append(self._send(outgoing))
            if not hurried and isinstance(outgoing.body, (bytes, Command)):
                hurried = True
                self._link.flush()
        return numbers

    def _send_when_safe(self, outputs: list[Outgoing], tickets: list[int]) -> list[int]:
        if not outputs and not tickets:
            return []
        keys = self._outbox.add(outputs)
        self._save()
        numbers = [self._send(outgoing) for outgoing in outputs]
        self._outbox.sent(keys, numbers)
        return numbers

    def _send(self, outgoing: Outgoing) -> int:
        perform = self._options.perform
        if perform is None or not isinstance(outgoing.body, bytes):
            return self._link.publish(outgoing)
        try:
            done = perform(outgoing)
        except Exception as error:
            self._trouble("failed-perform", f"{outgoing.topic}: {error!r}", error)
            return 0
        return 0 if done else self._link.publish(outgoing)

    def _finish(self) -> None:
        confirmed = self._link.confirmed()
        if confirmed:
            self._receipts.confirm(confirmed)
            self._outbox.confirm(confirmed)
        for ticket in self._receipts.settled():
            self._link.acknowledge(ticket)
        self._flush()
        self._link.flush()
        if machine_seconds() - self._last_save_s >= SAVE_EVERY_S:
            self._save()

    def _hold(self, tickets: list[int]) -> None:
        if tickets and not self._held:
            self._held_since_s = machine_seconds()
        self._held.extend(tickets)

    def _flush(self, at_once: bool = False) -> None:
        """Acknowledges what a core with a `flush` of its own has made safe itself."""
        if self._flushing is None or not self._held:
            return
        now_s = machine_seconds()
        if len(self._held) < FLUSH_AT and now_s - self._held_since_s < FLUSH_EVERY_S and not at_once:
            return
        self._held_since_s = now_s
        try:
            safe = self._flushing.flush(self._clock.now())
        except Exception as error:
            self._trouble("failed-flush", f"flush: {error!r}", error)
            return
        if safe:
            for ticket in self._held:
                self._link.acknowledge(ticket)
            self._held.clear()

    def _save(self) -> None:
        """A disk that refuses is reported; the service goes on, because a full card must not stop the cooling."""
        self._last_save_s = machine_seconds()
        snapshot = self._core.snapshot()
        if snapshot == self._saved_snapshot and not self._outbox.changed:
            return
        try:
            self._state.save(Saved(snapshot=snapshot.model_dump(mode="json"), unsent=self._outbox.unsent()))
        except OSError as error:
            self._trouble("state-not-saved", f"{self._state.path}: {error}", error)
            return
        self._saved_snapshot = snapshot
        self._outbox.changed = False

    def _follow_filters(self) -> None:
        filters = self._core.listens
        if filters != self._filters:
            self._filters = filters
            self._link.listen(filters)

    def _trouble(self, kind: str, text: str, error: Exception | None = None) -> None:
        self.book.trouble(kind, text, self._clock.elapsed(), error)

    def _health(self, state: Wellness, now: datetime) -> Outgoing:
        """Health carries what the link counted, too, and what troubles it."""
        counted = Counter(self._link.counts)
        if self._counting is not None:
            counted.update(self._counting.counts)
        self.book.counts.update(counted - self._carried_counts)
        self._carried_counts = counted
        kept_back, problem = self._keeping.kept_back() if self._keeping is not None else (0, "")
        self.book.last_error = self._link.trouble or problem or self.book.last_error
        depth = self._link.waiting + len(self._held) + kept_back
        return self.book.message(state, now, self._clock.elapsed(), depth)
