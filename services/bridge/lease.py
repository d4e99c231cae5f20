"""The dead man: an output is on only by a command whose lease has not ended, whatever happens to the clock.

A lease ends at `at + lease_s`, by the wall clock and by the seconds that passed since, whichever is first. Once the
clock is caught being set, every lease ends: the host compares it with the machine's counter at every turn.
"""

from datetime import datetime, timedelta
from enum import StrEnum

STEP_NOTICED = timedelta(seconds=1)
FUTURE = timedelta(seconds=5)
QUARANTINE_S = 61.0
"""After a clock was set back, commands of before look new: none is taken until those under way have arrived.

A second more than a lease, so that one which takes as long as a lease to arrive still comes too early.
"""


class Refusal(StrEnum):
    """Why a command is not followed; health counts each by this name."""

    EXPIRED = "command_expired"
    FUTURE = "command_from_future"
    SUPERSEDED = "command_superseded"
    UNSETTLED = "command_while_unsettled"


class Passage:
    """Seconds that really passed, as far as the wall clock tells: a clock that is set moves it neither way."""

    __slots__ = ("_now", "_elapsed_s")

    def __init__(self) -> None:
        self._now: datetime | None = None
        self._elapsed_s = 0.0

    def look(self, now: datetime) -> float:
        """Seconds passed since some moment."""
        if self._now is not None and now > self._now:
            self._elapsed_s += (now - self._now).total_seconds()
        self._now = now
        return self._elapsed_s

    def was_set_back(self, now: datetime) -> bool:
        """Whether the wall shows an earlier time than at the last look, beyond what a drifting clock explains."""
        return self._now is not None and now + STEP_NOTICED < self._now

    def set(self, now: datetime) -> None:
        """The clock was set, and shows `now`: no time passed."""
        self._now = now


class Lease:
    """One output's. `newest` is when the newest command taken was given."""

    __slots__ = ("newest", "level", "ends_at", "_ends_s", "_closed_until_s")

    def __init__(self) -> None:
        self.newest: datetime | None = None
        self.level = 0.0
        self.ends_at: datetime | None = None
        self._ends_s = 0.0
        self._closed_until_s = float("-inf")

    def take(self, at: datetime, level: float, lease_s: float, now: datetime, elapsed_s: float) -> Refusal | None:
        """Follows a command given `at`, or says why not. Of two given at once the lower level counts."""
        refusal = self._refusal(at, level, lease_s, now, elapsed_s)
        if refusal is None:
            self.newest, self.level = at, level
            left_s = min(lease_s, (at - now).total_seconds() + lease_s)
            self._ends_s = elapsed_s + left_s
            self.ends_at = now + timedelta(seconds=left_s)
        return refusal

    def is_over(self, now: datetime, elapsed_s: float) -> bool:
        """Whether nothing allows the output to be on."""
        return self.ends_at is None or now >= self.ends_at or elapsed_s >= self._ends_s

    def end(self, refuse_before: datetime | None) -> None:
        """Ends at once. Commands given up to `refuse_before` are not taken any more; None forgets which came before."""
        self.level, self.ends_at, self.newest = 0.0, None, refuse_before

    def close(self, until_s: float) -> None:
        """Takes no command until so many seconds have passed on the count that `take` is given."""
        self._closed_until_s = max(self._closed_until_s, until_s)

    def _refusal(self, at: datetime, level: float, lease_s: float, now: datetime, elapsed_s: float) -> Refusal | None:
        if elapsed_s < self._closed_until_s:
            return Refusal.UNSETTLED
        if at > now + FUTURE:
            return Refusal.FUTURE
        if now >= at + timedelta(seconds=lease_s):
            return Refusal.EXPIRED
        if self.newest is not None and (at < self.newest or (at == self.newest and level >= self.level)):
            return Refusal.SUPERSEDED
        return None
