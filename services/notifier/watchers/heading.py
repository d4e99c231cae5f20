"""Beer that is still well and will not stay so: cooling or heating runs without pause, and it goes the wrong way."""

from collections import deque
from collections.abc import Iterable
from datetime import datetime, timedelta

from schemas.base import Message
from schemas.conditions import ConditionKind
from schemas.control import Activity, ChamberStatus, Setpoint
from schemas.plant import Plant
from schemas.topics import TopicKind, topic
from services.notifier.watchers.finding import Finding

WITHIN = timedelta(hours=4)
TREND_OVER = timedelta(minutes=60)
SAMPLE = timedelta(minutes=5)
FULL_FOR = timedelta(minutes=45)
"""A machine that has run so long without a pause gives all it has."""
LEAST_TREND_K_H = 0.05
BACK = 0.5
"""Share of the band within which it is surely well again."""
WRONG_WAY = {Activity.COOLING: 1.0, Activity.HEATING: -1.0}


class Course:
    """One chamber: its estimate every five minutes for an hour, and what it has been doing for how long."""

    def __init__(self) -> None:
        self.tolerance_k = 0.5
        self.moving = False
        self.status: ChamberStatus | None = None
        self.full_since: datetime | None = None
        self._samples: deque[tuple[datetime, float, float]] = deque()

    def take(self, status: ChamberStatus) -> None:
        """What the supervisor says of it."""
        before, self.status = self.status, status
        if before is None or before.doing is not status.doing or status.doing not in WRONG_WAY:
            self.full_since = status.at
        samples, at = self._samples, status.at
        if status.estimate is None or status.setpoint_c is None:
            samples.clear()
        elif not samples or not timedelta(0) <= at - samples[-1][0] < SAMPLE:
            if samples and abs(samples[-1][2] - status.setpoint_c) > 0.05:
                samples.clear()
            samples.append((at, status.estimate.beer_c, status.setpoint_c))
        while samples and not timedelta(0) <= at - samples[0][0] <= TREND_OVER + SAMPLE:
            samples.popleft()

    @property
    def trend_k_h(self) -> float | None:
        """Kelvin per hour over the last hour at one setpoint; None when that cannot be said."""
        if len(self._samples) < 2 or self._samples[-1][0] - self._samples[0][0] < TREND_OVER:
            return None
        hours = (self._samples[-1][0] - self._samples[0][0]) / timedelta(hours=1)
        return (self._samples[-1][1] - self._samples[0][1]) / hours

    def leaves_in(self) -> timedelta | None:
        """When the beer will be out of its band, all going on as it does; None when it will not be within hours."""
        status, trend = self.status, self.trend_k_h
        if status is None or trend is None or status.estimate is None or status.setpoint_c is None or self.moving:
            return None
        way = WRONG_WAY.get(status.doing)
        if way is None or self.full_since is None or status.at - self.full_since < FULL_FOR:
            return None
        off_k = way * (status.estimate.beer_c - status.setpoint_c)
        if way * trend < LEAST_TREND_K_H or not 0.0 < off_k < self.tolerance_k:
            return None
        left = timedelta(hours=(self.tolerance_k - off_k) / (way * trend))
        return left if left <= WITHIN else None

    @property
    def is_well(self) -> bool:
        """Whether it has come back well into its band, or lies beyond it, of which others tell."""
        status = self.status
        if status is None or status.estimate is None or status.setpoint_c is None:
            return True
        off_k = abs(status.estimate.beer_c - status.setpoint_c)
        trend = self.trend_k_h
        return off_k < BACK * self.tolerance_k or off_k > 2 * self.tolerance_k or (trend is not None and trend == 0.0)


class HeadingWatch:
    """Chambers that hold beer; a setpoint that moves is followed with a lag, and says nothing."""

    def __init__(self, plant: Plant) -> None:
        self._courses = {name: Course() for name, one in plant.chambers.items() if one.kind != "reservoir"}
        self._active: set[str] = set()
        self._looked: datetime | None = None
        site = plant.site.name
        self.listens = [
            topic(site, kind, name) for name in self._courses for kind in (TopicKind.STATUS, TopicKind.SETPOINT)
        ]

    def hear(self, message: Message, now: datetime) -> None:
        """A chamber's status, or its setpoint."""
        if isinstance(message, ChamberStatus):
            course = self._courses.get(message.chamber)
            if course is not None:
                course.take(message)
        elif isinstance(message, Setpoint):
            course = self._courses.get(message.chamber)
            if course is not None:
                course.tolerance_k = message.tolerance_k
                course.moving = message.rate_k_per_h != 0.0

    def judge(self, now: datetime) -> Iterable[Finding]:
        """Each chamber, once a minute."""
        if self._looked is not None and timedelta(0) <= now - self._looked < timedelta(minutes=1):
            return
        self._looked = now
        for name, course in self._courses.items():
            leaves = course.leaves_in()
            if leaves is not None:
                self._active.add(name)
                yield self._found(name, course, leaves)
            elif name not in self._active or course.is_well or course.moving:
                self._active.discard(name)
                yield Finding(name, ConditionKind.HEADING_OUT, False, "It is well within its band again.")

    def _found(self, name: str, course: Course, leaves: timedelta) -> Finding:
        status = course.status
        doing = status.doing.value if status is not None else ""
        hours = leaves / timedelta(hours=1)
        detail = f"With {doing} at full, the beer leaves its band in about {hours:.1f} h."
        value_c = status.estimate.beer_c if status is not None and status.estimate is not None else None
        return Finding(name, ConditionKind.HEADING_OUT, True, detail, value_c, None, "degC")
