"""Time that only goes forward: what timers of machines count, whatever is done to the wall clock."""

from datetime import datetime, timedelta

_USUAL_S = 1.0
"""The service is called about this often; a gap of twice the usual one is doubted."""
_FORGET = 0.9


class Steady:
    """Seconds since the service was built. A gap unlike those before it does not count, unless the next is like it.

    `jumped`: the last one did not count. So a wall clock that is set forward ends no compressor's rest, and one that
    is set back freezes no timer.
    """

    __slots__ = ("elapsed_s", "jumped", "_seen", "_usual_s", "_doubted_s")

    def __init__(self, now: datetime) -> None:
        self.elapsed_s = 0.0
        self.jumped = False
        self._seen = now
        self._usual_s = _USUAL_S
        self._doubted_s = 0.0

    def reach(self, now: datetime) -> float:
        """The steady time at `now`; never less than before."""
        if now == self._seen:
            return self.elapsed_s
        gap_s = (now - self._seen).total_seconds()
        self._seen = now
        self.jumped = gap_s <= 0.0 or gap_s > 2.0 * max(self._usual_s, self._doubted_s)
        if gap_s <= 0.0:
            return self.elapsed_s
        if self.jumped:
            self._doubted_s = gap_s
            return self.elapsed_s
        self.elapsed_s += gap_s
        self._usual_s = max(_USUAL_S, gap_s, self._usual_s * _FORGET)
        self._doubted_s = 0.0
        return self.elapsed_s

    def stepped(self, by: timedelta) -> None:
        """The wall clock is known to have been set by so much since the last call."""
        self._seen += by
