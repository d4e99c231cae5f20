"""Clocks: the only place that asks the operating system for the time.

A service's cores are handed `now`, which is what the wall says and may therefore step. How long something took, and
when the next tick is due, is taken from `elapsed`, which cannot.
"""

import time
from datetime import UTC, datetime, timedelta
from typing import Protocol

STEP_NOTICED_S = 1.0
"""A wall clock that gained or lost less than this since the last look, against the machine's counter, only drifts."""


class Clock(Protocol):
    """The time a service lives in."""

    def now(self) -> datetime:
        """Aware, UTC, whole milliseconds (never rounded up, so nothing is from the future)."""
        ...

    def elapsed(self) -> float:
        """Seconds of the service's time since some moment; never goes back, counts a suspended machine's sleep."""
        ...

    def in_real_seconds(self, seconds: float) -> float:
        """How long to wait in the real world for so many seconds of the service's time."""
        ...

    def step(self) -> timedelta:
        """How far the wall clock has been set forward (or back, negative) since the last call; zero when it was not."""
        ...


class SystemClock:
    """The machine's own."""

    def __init__(self) -> None:
        self._offset_s = time.time() - _counter()

    def now(self) -> datetime:
        """What the machine's wall clock says."""
        return in_milliseconds(datetime.now(UTC))

    def elapsed(self) -> float:
        """The machine's counter, in seconds since it was started."""
        return _counter()

    def in_real_seconds(self, seconds: float) -> float:
        """The same."""
        return seconds

    def step(self) -> timedelta:
        """Compares the wall against the counter."""
        offset_s = time.time() - _counter()
        gained_s = offset_s - self._offset_s
        self._offset_s = offset_s
        return timedelta(seconds=gained_s) if abs(gained_s) >= STEP_NOTICED_S else timedelta(0)


class ScaledClock:
    """Runs `factor` times as fast as the machine's clock, and showed `origin` when that showed `real_origin`.

    Processes that are given the same three agree about the time.
    """

    def __init__(self, factor: float, origin: datetime, real_origin: datetime) -> None:
        if not factor > 0:
            raise ValueError(f"a clock's factor must be over 0, got {factor}")
        self.factor = factor
        self._origin = origin
        self._real_origin = real_origin
        self._machine = SystemClock()

    def now(self) -> datetime:
        """The origin plus `factor` times what has passed on the wall since."""
        return in_milliseconds(self._origin + (self._machine.now() - self._real_origin) * self.factor)

    def elapsed(self) -> float:
        """The machine's counter times the factor."""
        return self._machine.elapsed() * self.factor

    def in_real_seconds(self, seconds: float) -> float:
        """So many seconds over the factor."""
        return seconds / self.factor

    def step(self) -> timedelta:
        """The machine's step times the factor."""
        return self._machine.step() * self.factor


class VirtualClock:
    """A clock that is moved by hand."""

    def __init__(self, start: datetime) -> None:
        self._now = in_milliseconds(start.astimezone(UTC))
        self._elapsed_s = 0.0
        self._stepped = timedelta(0)

    def now(self) -> datetime:
        """Where it was moved to."""
        return self._now

    def elapsed(self) -> float:
        """All that was advanced, in seconds."""
        return self._elapsed_s

    def in_real_seconds(self, seconds: float) -> float:
        """Nothing takes any time."""
        return 0.0 * seconds

    def step(self) -> timedelta:
        """What `set_by` did since the last call."""
        stepped, self._stepped = self._stepped, timedelta(0)
        return stepped

    def advance(self, by: timedelta) -> datetime:
        """Lets time pass; raises ValueError when asked to go back."""
        if by < timedelta(0):
            raise ValueError(f"time does not go back, asked to advance by {by}: set_by is for a wall clock that is set")
        self._now += by
        self._elapsed_s += by.total_seconds()
        return self._now

    def advance_to(self, moment: datetime) -> datetime:
        """Lets time pass until then; a moment gone by changes nothing."""
        return self.advance(max(timedelta(0), moment - self._now))

    def set_by(self, by: timedelta) -> datetime:
        """Sets the wall clock forward or back without time passing."""
        self._now += by
        self._stepped += by
        return self._now


def in_milliseconds(moment: datetime) -> datetime:
    """The same moment without what is finer than a millisecond."""
    return moment.replace(microsecond=moment.microsecond // 1000 * 1000)


def _counter() -> float:
    boot_time = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot_time is None else time.clock_gettime(boot_time)


def machine_seconds() -> float:
    """The machine's own counter, for time-outs of real connections and files, whatever a service's clock says."""
    return time.monotonic()
