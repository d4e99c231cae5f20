"""Time that only goes forward: what timers of machines count, whatever is done to the wall clock."""

from datetime import datetime, timedelta

_USUAL_S = 1.0
"""The service is called about this often; a gap of twice the usual one is doubted."""
_FORGET = 0.9


class Steady:
    """Seconds since the service was built. A gap unlike those before it counts only as long as they were.

    So a wall clock that is set forward ends no compressor's rest, and one that is set back freezes no timer.
    """

    __slots__ = ("elapsed_s", "_seen", "_usual_s")

    def __init__(self, now: datetime) -> None:
        self.elapsed_s = 0.0
        self._seen = now
        self._usual_s = _USUAL_S

    def reach(self, now: datetime) -> float:
        """The steady time at `now`; never less than before."""
        if now == self._seen:
            return self.elapsed_s
        gap_s = (now - self._seen).total_seconds()
        self._seen = now
        if gap_s <= 0.0:
            return self.elapsed_s
        if gap_s > 2.0 * self._usual_s:
            self.elapsed_s += self._usual_s
            self._usual_s *= 2.0
        else:
            self.elapsed_s += gap_s
            self._usual_s = max(_USUAL_S, gap_s, self._usual_s * _FORGET)
        return self.elapsed_s

    def stepped(self, by: timedelta) -> None:
        """The wall clock is known to have been set by so much since the last call."""
        self._seen += by
