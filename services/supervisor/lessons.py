"""What control learns while an output does not do as told is wrong: afterwards it goes on from what it knew before.

A heater that works against a welded compressor seems weak, a pump that moves nothing seems useless. A model that has
been taught so takes a sound machine for a broken one, for days.
"""

from collections import deque
from collections.abc import Mapping
from typing import Any

from schemas.conditions import ConditionKind
from services.supervisor.control import Controller

MISTEACHING = frozenset(
    {
        ConditionKind.RELAY_WELDED,
        ConditionKind.NOT_COOLING,
        ConditionKind.NOT_HEATING,
        ConditionKind.PUMP_WITHOUT_FLOW,
        ConditionKind.OUTPUT_NOT_FOLLOWING,
    }
)
"""Conditions under which the plant is not what the model is of."""
EVERY_S = 6.0 * 3600.0
KEPT = 3
"""The oldest of so many is from twelve hours or more before: longer than any of these faults takes to be noticed."""
DOUBTED_S = 24.0 * 3600.0


class Lessons:
    """Hand it every look; it keeps what has been learnt in sound times, and hands it back after a fault."""

    __slots__ = ("_kept", "_next_s", "_astray", "_doubted_until_s")

    def __init__(self) -> None:
        self._kept: deque[Mapping[str, Any]] = deque(maxlen=KEPT)
        self._next_s = self._doubted_until_s = float("-inf")
        self._astray = False

    def look(self, now_s: float, at_fault: bool, controller: Controller) -> Mapping[str, Any] | None:
        """What is to be put back, when a fault has just ended. `now_s` only ever grows."""
        if at_fault:
            self._astray, self._doubted_until_s = True, now_s + DOUBTED_S
        elif self._astray:
            self._astray, self._next_s = False, now_s + EVERY_S
            return self._before()
        elif now_s >= self._next_s:
            self._kept.append(controller.snapshot())
            self._next_s = now_s + EVERY_S
        return None

    def _before(self) -> Mapping[str, Any] | None:
        while len(self._kept) > 1:
            self._kept.pop()
        return self._kept[0] if self._kept else None

    def doubted(self, now_s: float) -> bool:
        """Whether forecasts from hours ago may come from a model that a fault has taught."""
        return now_s < self._doubted_until_s
