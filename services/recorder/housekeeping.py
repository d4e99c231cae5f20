"""Keeps the embedded store small: packs days that are over, and drops each level when its time has passed."""

from pydantic import Field

from schemas.base import Model, Positive
from services.recorder.pages import DAY_MS, HOUR_MS, MINUTE_MS, QUARTER_MS, RAW, SPAN_DAYS
from services.recorder.shelf import File, Shelf

GRACE_MS = HOUR_MS
"""A day is packed so long after it is over, when latecomers have come."""


class Retention(Model):
    """How long each level is kept, in days; None means for ever. Annotations are always kept."""

    raw_days: Positive | None = Field(default=30, description="Every sample as it came.")
    minute_days: Positive | None = Field(default=730, description="Sums of one minute.")
    quarter_days: Positive | None = Field(default=3650, description="Sums of fifteen minutes.")
    hour_days: Positive | None = Field(default=None, description="Sums of one hour.")

    def kept_days(self, level: int) -> float | None:
        """For one level of pages."""
        table = {
            RAW: self.raw_days,
            MINUTE_MS: self.minute_days,
            QUARTER_MS: self.quarter_days,
            HOUR_MS: self.hour_days,
        }
        return table[level]


KEEP_LONG = Retention()

_OLDEST_FRESH = """
    SELECT id, oldest FROM (SELECT id, (SELECT MIN(at) FROM sample WHERE series = id) AS oldest FROM series)
    WHERE oldest < ? LIMIT 1
"""


def maintain(file: File, now_ms: int, policy: Retention) -> bool:
    """Packs one day of one series, or drops what is too old; False when there was nothing to do."""
    due = file.query(_OLDEST_FRESH, (_over_before(now_ms),))
    if due:
        series_id, at_ms = due[0]
        Shelf(file, series_id).pack(at_ms // DAY_MS)
        return True
    return any(_drop(file, level, now_ms, policy) for level in SPAN_DAYS)


def _drop(file: File, level: int, now_ms: int, policy: Retention) -> bool:
    days = policy.kept_days(level)
    if days is None:
        return False
    span_ms = SPAN_DAYS[level] * DAY_MS
    last = (now_ms - int(days * DAY_MS)) // span_ms - 1
    with file.transaction() as connection:
        return connection.execute("DELETE FROM page WHERE level = ? AND slot <= ?", (level, last)).rowcount > 0


def _over_before(now_ms: int) -> int:
    return (now_ms - GRACE_MS) // DAY_MS * DAY_MS
