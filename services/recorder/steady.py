"""Whether the wall clock can be believed when it says that something is too old to be kept."""

from datetime import datetime, timedelta

from services.recorder.rows import EPOCH

JUMP = timedelta(hours=1)
DOUBTED_FOR = timedelta(days=1)


class Steadiness:
    """The clock is doubted for a day after it jumped, or after a long pause: it may be wrong, and set right soon."""

    def __init__(self, seen: datetime | None = None, steady_from: datetime | None = None) -> None:
        """`seen` is when somebody looked last, perhaps in an earlier life, and `steady_from` what came of it."""
        self.seen = seen
        self.steady_from = steady_from or EPOCH

    def believes(self, now: datetime) -> bool:
        """To be asked more often than once an hour."""
        if self.seen is not None and abs(now - self.seen) > JUMP:
            self.steady_from = now + DOUBTED_FOR
        self.seen = now
        return now >= self.steady_from
