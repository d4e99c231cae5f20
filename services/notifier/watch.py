"""Who watches the services: a last will that says `lost`, or silence, is a condition of the whole site.

When every service falls silent at once without a last will, it is the broker that is lost, and only that is said.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from schemas.base import ServiceName
from schemas.conditions import ConditionKind, condition_name
from schemas.journal import Health, Wellness

PERIODS_MISSED = 3
PLANNED_ABSENCE = timedelta(minutes=5)
"""How long a service that said goodbye may stay away before it counts as lost."""

ESSENTIAL = frozenset({ServiceName.BRIDGE, ServiceName.SUPERVISOR, ServiceName.SCHEDULER, ServiceName.RECORDER})
"""Services that a site cannot do without; the others may be stopped for good."""

BROKER_LOST = condition_name(ConditionKind.BROKER_LOST)


class HealthWatch:
    """Remembers when each service was last heard. It watches those `expected`, and any other once it has spoken.

    The health of the watching service itself, `own`, says only that the broker lives; that it is lost is for others to
    say.
    """

    def __init__(
        self,
        expected: Iterable[ServiceName],
        period_s: float,
        now: datetime | None = None,
        own: ServiceName | None = None,
    ) -> None:
        self._own = own
        self._silence = timedelta(seconds=PERIODS_MISSED * period_s)
        self._heard: dict[ServiceName, datetime | None] = dict.fromkeys(expected, now)
        self._state: dict[ServiceName, Wellness] = {}
        self._looked: datetime | None = None

    @property
    def watched(self) -> tuple[ServiceName, ...]:
        """The services it knows, in order of name."""
        return tuple(sorted(self._heard))

    def hear(self, health: Health, now: datetime) -> None:
        """Takes one message in; the broker's message that somebody is lost counts as heard, but not as well."""
        self._heard[health.service] = now
        self._state[health.service] = health.state

    def judge(self, now: datetime) -> dict[str, bool]:
        """Each condition it can raise, and whether it holds now."""
        self._forgive_a_gap(now)
        silent = {service for service in self._heard if self._is_silent(service, now)}
        broker_lost = self._broker_is_lost(silent)
        judged = {BROKER_LOST: broker_lost}
        for service in self._heard:
            lost = service in silent and not broker_lost and service is not self._own
            judged[condition_name(ConditionKind.SERVICE_LOST, service)] = lost
        return judged

    def _forgive_a_gap(self, now: datetime) -> None:
        """After this service itself was away, or the clock was set, silence counts from now."""
        if self._looked is None or not timedelta(0) <= now - self._looked <= self._silence:
            self._heard = dict.fromkeys(self._heard, now)
        self._looked = now

    def _is_silent(self, service: ServiceName, now: datetime) -> bool:
        state, heard = self._state.get(service), self._heard[service]
        if state is Wellness.LOST:
            return True
        if state is Wellness.STOPPING:
            return service in ESSENTIAL and heard is not None and now - heard > PLANNED_ABSENCE
        return heard is not None and now - heard > self._silence

    def _broker_is_lost(self, silent: set[ServiceName]) -> bool:
        away = (Wellness.STOPPING, Wellness.LOST)
        present = {service for service in self._heard if self._state.get(service) not in away}
        return len(present) > 1 and present <= silent
