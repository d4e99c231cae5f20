"""A service's book on itself: what it counted, what went wrong last, and the message that says so."""

import logging
from collections import Counter
from datetime import datetime

from schemas.base import ServiceName
from schemas.journal import Health, Wellness
from schemas.topics import TopicKind, topic
from services.runtime.service import Outgoing

EVERY_S = 10.0
LOGGED_EVERY_S = 10.0
"""The same kind of trouble is logged at most so often; it is counted always."""
_LOG = logging.getLogger("coldside")


class HealthBook:
    """Kept by a host; `elapsed_s` is the service's own time, as its clock counts it."""

    def __init__(self, service: ServiceName, site: str, version: str, started: datetime) -> None:
        self.counts: Counter[str] = Counter()
        self.last_error = ""
        self.service = service
        self.queue_depth = 0
        self._topic = topic(site, TopicKind.HEALTH, service)
        self._version = version
        self._started = started
        self._said_at_s: float | None = None
        self._said_error = ""
        self._logged_at_s: dict[str, float] = {}

    def note(self, event: str, **facts: object) -> None:
        """Logs something that is as it should be."""
        _LOG.info(event, extra={"service": self.service.value, "facts": facts})

    def trouble(self, kind: str, text: str, elapsed_s: float, error: Exception | None = None) -> None:
        """Counts it, remembers it as the last error, and logs it unless the same kind was logged just now."""
        self.counts[kind] += 1
        self.last_error = text[:2000]
        if elapsed_s - self._logged_at_s.get(kind, -LOGGED_EVERY_S) >= LOGGED_EVERY_S:
            self._logged_at_s[kind] = elapsed_s
            facts = {"text": text, "count": self.counts[kind]}
            _LOG.error(kind, extra={"service": self.service.value, "facts": facts}, exc_info=error)

    def due(self, elapsed_s: float) -> bool:
        """Whether to say how it is: every 10 s, and within a second of a new kind of error."""
        if self._said_at_s is None:
            return True
        since_s = elapsed_s - self._said_at_s
        return since_s >= EVERY_S or (since_s >= 1.0 and self.last_error != self._said_error)

    def message(self, state: Wellness, now: datetime, elapsed_s: float, queue_depth: int) -> Outgoing:
        """How it is, retained."""
        self._said_at_s, self._said_error = elapsed_s, self.last_error
        self.queue_depth = queue_depth
        health = Health(
            at=now,
            source=self.service.value,
            service=self.service,
            state=state,
            version=self._version,
            started=self._started,
            uptime_s=max(0.0, (now - self._started).total_seconds()),
            queue_depth=queue_depth,
            last_error=self.last_error,
            counts=dict(self.counts),
        )
        return Outgoing(self._topic, health, retain=True)


def last_will(service: ServiceName, site: str, now: datetime) -> Outgoing:
    """What the broker says of a service that is gone without a goodbye."""
    lost = Health(at=now, source=service.value, service=service, state=Wellness.LOST)
    return Outgoing(topic(site, TopicKind.HEALTH, service), lost, retain=True)
