"""Stands between the recorder and a store elsewhere: rows are safe in the spool at once, and go on when they can."""

import json
import logging
import threading
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol

from services.recorder.backlog import Waiting
from services.recorder.batches import Batch
from services.recorder.housekeeping import GRACE_MS, KEEP_LONG, Retention
from services.recorder.influx_server import BatchRefused
from services.recorder.pages import DAY_MS, MINUTE_MS, SPAN_DAYS
from services.recorder.rows import EPOCH, Annotation, Sample, Series, milliseconds
from services.recorder.spool import ROWS_AT_ONCE, Piece, Spool
from services.recorder.steady import Steadiness
from services.recorder.store import Sink, StoreError
from services.recorder.summaries import Summaries
from services.runtime.clock import Clock
from services.runtime.durable import write_durably

LOG = logging.getLogger("coldside.recorder")
FIRST_PAUSE_S, LONGEST_PAUSE_S = 1.0, 60.0
LIMITS_EVERY = timedelta(minutes=1)
DROP_EVERY = timedelta(days=1)
LINGER_S = 0.02
"""Waited after rows have arrived, so that those that follow go in the same request; no longer once they fill one."""
DAYS_FILE = "days.json"


class Destination(Sink, Protocol):
    """A store elsewhere. It cannot be asked to do anything while it is away, so its upkeep is done from here."""

    def write_summaries(self, series: Series, level_ms: int, summaries: Summaries) -> None:
        """Roll-ups of one series."""
        ...

    def roll_up(self, series: Series, day: int) -> None:
        """Sums one day up."""
        ...

    def drop_before(self, level_ms: int, moment: datetime) -> None:
        """Forgets what is older, at one level."""
        ...


class Forwarder:
    """A sink whose rows are on disk when `write` returns. `step` and `keep_up` do the rest, in a thread or by hand."""

    def __init__(
        self,
        spool: Spool,
        store: Destination,
        policy: Retention = KEEP_LONG,
        steadiness: Steadiness | None = None,
    ) -> None:
        self.spool = spool
        self._store = store
        self._policy = policy
        self._problem = ""
        self._away = self._upkeep_failed = False
        self._at_once = ROWS_AT_ONCE
        self._arrived, self._plenty = threading.Event(), threading.Event()
        self._gathered = 0
        self._days = _DaysToSum(spool.folder / DAYS_FILE)
        self._limited: datetime | None = None
        self._dropped: datetime | None = None
        self._steadiness = steadiness or Steadiness()

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        """Into the spool. Raises DiskFull."""
        self.spool.write(samples, annotations)
        self._arrived.set()
        self._gathered += len(samples) + len(annotations)
        if self._gathered >= ROWS_AT_ONCE:
            self._plenty.set()

    @property
    def counts(self) -> Counter[str]:
        """The spool's."""
        return self.spool.counts

    def backlog(self, now: datetime) -> Waiting:
        """What the spool holds, and what the store last said."""
        waiting = self.spool.backlog(now)
        return replace(waiting, problem=self._problem or waiting.problem)

    def step(self) -> bool:
        """Sends what is oldest; False when there is nothing, or the store does not take it now."""
        piece = self.spool.oldest(self._at_once)
        if piece is None:
            return False
        try:
            self._send(piece.batch)
        except BatchRefused as error:
            self._refused(piece, error)
            return True
        except StoreError as error:
            self._problem, self._away = str(error), True
            return False
        self._away = False
        self._problem, self._at_once = "", ROWS_AT_ONCE
        self.spool.sent(piece)
        return True

    def keep_up(self, now: datetime) -> bool:
        """One piece of upkeep: the spool's limits, one day's roll-ups, or retention; False when nothing is left.

        While the store is away only the limits are kept. While the clock is doubted nothing is too old.
        """
        believed = self._steadiness.believes(now)
        if _due(self._limited, now, LIMITS_EVERY):
            self._limited = now
            self.spool.keep_within_limits(now if believed else EPOCH)
            return True
        if self._away:
            return False
        day = self._days.next_over(milliseconds(now) - GRACE_MS)
        if day is not None:
            self._store.roll_up(*day)
            self._days.done(*day)
            return True
        if believed and _due(self._dropped, now, DROP_EVERY):
            self._dropped = now
            self._drop(now)
        return False

    def run(self, stop: threading.Event, clock: Clock) -> None:
        """Until `stop` is set, or a second after. A store that fails is asked again after 1 s, 2 s, and up to a minute.

        Nothing ends it but `stop`: what goes wrong in an unforeseen way is logged, told, and tried again.
        """
        pause_s = FIRST_PAUSE_S
        while not stop.is_set():
            busy = self._turn(clock)
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S) if self._away or self._upkeep_failed else FIRST_PAUSE_S
            if not busy:
                (stop if self._away else self._arrived).wait(pause_s)
                self._plenty.wait(LINGER_S)
                self._gathered = 0
                self._plenty.clear()
                self._arrived.clear()

    def _turn(self, clock: Clock) -> bool:
        try:
            sent = self.step()
            busy = self.keep_up(clock.now())
            if self._upkeep_failed:
                self._problem, self._upkeep_failed = "", False
            return sent or busy
        except StoreError as error:
            self._problem, self._upkeep_failed = str(error), True
        except Exception as error:
            LOG.exception("forwarding failed in an unforeseen way")
            self._problem, self._upkeep_failed = f"forwarding failed: {error!r}", True
        return False

    def _refused(self, piece: Piece, error: BatchRefused) -> None:
        """Of several batches together the next try takes one alone, so that only what is wrong is set aside."""
        if self._at_once > 1:
            self._at_once = 1
        else:
            self._problem = f"set aside as {self.spool.set_aside(piece).name}: {error}"

    def _send(self, batch: Batch) -> None:
        self._days.note({(one.series, one.at_ms // DAY_MS) for one in batch.samples})
        for series, minutes in batch.rolled:
            self._store.write_summaries(series, MINUTE_MS, minutes)
            self._days.note({(series, int(at_ms) // DAY_MS) for at_ms in minutes.at_ms})
        self._store.write(batch.samples, batch.annotations)

    def _drop(self, now: datetime) -> None:
        for level in SPAN_DAYS:
            days = self._policy.kept_days(level)
            if days is not None:
                self._store.drop_before(level, now - timedelta(days=days))


class _DaysToSum:
    """Days of which the store has new samples and no roll-ups yet; on disk, since a day may outlive a process."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._days: set[tuple[Series, int]] = set()
        with suppress(OSError, ValueError, TypeError):
            self._days = {(Series(*names), day) for names, day in json.loads(path.read_text(encoding="utf-8"))}

    def note(self, days: set[tuple[Series, int]]) -> None:
        if not days <= self._days:
            self._days |= days
            self._save()

    def next_over(self, before_ms: int) -> tuple[Series, int] | None:
        return min(
            (one for one in self._days if (one[1] + 1) * DAY_MS <= before_ms), key=lambda one: one[1], default=None
        )

    def done(self, series: Series, day: int) -> None:
        self._days.discard((series, day))
        self._save()

    def _save(self) -> None:
        with suppress(OSError):  # a full disk: the roll-ups of a day may be made once more, or not at all
            write_durably(self._path, json.dumps(sorted(self._days)).encode())


def _due(last: datetime | None, now: datetime, every: timedelta) -> bool:
    """Also after the clock was set back."""
    return last is None or not timedelta(0) <= now - last < every
