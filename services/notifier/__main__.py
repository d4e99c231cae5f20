"""What the notifier is made of."""

from collections.abc import Iterable

from schemas.base import ServiceName
from schemas.plant import Plant
from services.notifier.core import HEALTH_PERIOD_S, Notifier, NotifierState
from services.notifier.log_courier import log_alarm
from services.notifier.watch import ESSENTIAL


def build(
    plant: Plant,
    restored: NotifierState | None = None,
    *,
    expected: Iterable[ServiceName] = ESSENTIAL,
    health_period_s: float = HEALTH_PERIOD_S,
) -> Notifier:
    """A notifier for life: it misses every service in `expected` from the start, and logs what it says.

    A rehearsal whose services send no health expects none.
    """
    return Notifier(plant, restored, expected=expected, health_period_s=health_period_s, announce=log_alarm)
