"""What temperatures did lately: an hour by the minute, and what the last run of cooling or heating brought about."""

from collections import deque
from typing import NamedTuple

MINUTE_S = 60.0


class Minute(NamedTuple):
    """`felt_c` is the air, or the beer where there is no air probe; `heated_s` the heating time since the start."""

    felt_c: float | None
    beer_c: float | None
    heated_s: float


class Hour:
    """The last hour. A change is None until there are two readings so far apart."""

    __slots__ = ("_minutes", "_noted_s")

    def __init__(self) -> None:
        self._minutes: deque[Minute] = deque(maxlen=61)
        self._noted_s: float | None = None

    def note(self, now_s: float, felt_c: float | None, beer_c: float | None, heated_s: float) -> bool:
        """Takes one minute's readings in; returns whether a minute had passed since the last."""
        if self._noted_s is not None and now_s - self._noted_s < MINUTE_S:
            return False
        self._noted_s = now_s
        self._minutes.append(Minute(felt_c, beer_c, heated_s))
        return True

    def felt_change(self, minutes: int) -> float | None:
        """By how much the felt temperature rose, K."""
        if len(self._minutes) <= minutes:
            return None
        return _difference(self._minutes[-1].felt_c, self._minutes[-1 - minutes].felt_c)

    def beer_change(self, minutes: int) -> float | None:
        """By how much the beer got warmer, K."""
        if len(self._minutes) <= minutes:
            return None
        return _difference(self._minutes[-1].beer_c, self._minutes[-1 - minutes].beer_c)

    def heated_s(self) -> float:
        """For how much of the hour a heater was asked to run."""
        return self._minutes[-1].heated_s - self._minutes[0].heated_s if self._minutes else 0.0


class Effect:
    """What a side of control did to the felt temperature: `gain_k` in its run, `recovery_k` since the run's end.

    `sign` is -1 for cooling and 1 for heating.
    """

    __slots__ = ("gain_k", "recovery_k", "_sign", "_on", "_start", "_best")

    def __init__(self, sign: float) -> None:
        self.gain_k = self.recovery_k = 0.0
        self._sign = sign
        self._on = False
        self._start: float | None = None
        self._best = 0.0

    def note(self, on: bool, felt_c: float) -> None:
        """Takes in whether it runs, and the temperature now."""
        here = felt_c * self._sign
        if on is not self._on or self._start is None:
            self._on = on
            self._start = self._best = here
            self.recovery_k = 0.0
        elif here > self._best:
            self._best = here
        if on:
            self.gain_k = self._best - self._start
        else:
            self.recovery_k = self._best - here


def _difference(late: float | None, early: float | None) -> float | None:
    return None if late is None or early is None else late - early
