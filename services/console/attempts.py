"""Holds guessing of passwords up: after a few failures the next attempt has to wait."""

from collections import deque
from dataclasses import dataclass, field

WITHIN_S = 900.0
FROM_ONE_PLACE = 10
FOR_ONE_NAME = 5
MOST_KEYS = 2000

Key = tuple[str, str]


@dataclass(slots=True)
class Attempts:
    """Failures of the last 15 minutes, for each pair of name and place, and for each place. Times are a clock's
    `elapsed` seconds."""

    _failures: dict[Key, deque[float]] = field(default_factory=dict)

    def wait_s(self, name: str, place: str, elapsed_s: float) -> float:
        """How long until the next attempt is looked at; 0 when it is now."""
        waits = [self._wait_s(key, most, elapsed_s) for key, most in _limits(name, place)]
        return max(waits)

    def failed(self, name: str, place: str, elapsed_s: float) -> None:
        """Counts one."""
        for key, most in _limits(name, place):
            self._failures.setdefault(key, deque(maxlen=most)).append(elapsed_s)
        while len(self._failures) > MOST_KEYS:
            del self._failures[next(iter(self._failures))]

    def succeeded(self, name: str, place: str) -> None:
        """Whoever knows the password has not been guessing at this account from this place."""
        self._failures.pop((name, place), None)

    def _wait_s(self, key: Key, most: int, elapsed_s: float) -> float:
        failures = self._failures.get(key, deque())
        if len(failures) < most:
            return 0.0
        return max(0.0, failures[0] + WITHIN_S - elapsed_s)


def _limits(name: str, place: str) -> tuple[tuple[Key, int], ...]:
    return ((name, place), FOR_ONE_NAME), (("", place), FROM_ONE_PLACE)
