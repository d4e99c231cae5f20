"""What an output did between its reports: each level holds until the next is told."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from services.recorder.pages import DAY_MS, MINUTE_MS
from services.recorder.rows import Series, milliseconds
from services.recorder.store import Source, Summed
from services.recorder.summaries import Milliseconds, Values

HOUR_MS = 3_600_000


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Each level and when it began, up to an end. An unknown level counts as off."""

    begins_ms: Milliseconds
    level: Values
    end_ms: int

    def full_hours(self) -> float:
        """Hours on; half an hour at full counts as an hour at half."""
        lasting = np.diff(self.begins_ms, append=np.int64(self.end_ms))
        return float(np.sum(lasting * self.level)) / HOUR_MS

    def starts(self) -> int:
        """How often it went from off to on."""
        on = self.level > 0
        return int(np.count_nonzero(on[1:] & ~on[:-1]))


def levels_of(source: Source, series: Series, start: datetime, end: datetime) -> Levels:
    """From its reports; for days whose reports were dropped, from the last level of each minute."""
    start_ms, end_ms = milliseconds(start), milliseconds(end)
    before = source.last_before(series, start)
    raw = source.raw(series, start, end)
    at_ms, level = raw.at_ms, raw.value
    if isinstance(source, Summed):
        minutes = source.summaries(series, MINUTE_MS, start_ms, end_ms)
        gone = ~np.isin(minutes.at_ms // DAY_MS, at_ms // DAY_MS)
        at_ms = np.concatenate((minutes.at_ms[gone], at_ms))
        order = np.argsort(at_ms, kind="stable")
        at_ms, level = at_ms[order], np.concatenate((minutes.last[gone], level))[order]
    first = 0.0 if before is None or before.value is None else before.value
    begins = np.concatenate((np.array([start_ms], dtype=np.int64), at_ms))
    return Levels(begins, np.nan_to_num(np.concatenate(([first], level))), end_ms)
