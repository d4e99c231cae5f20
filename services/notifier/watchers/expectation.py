"""A pump that moves nothing, found by what the model of its vessel expected of its runs.

The supervisor's estimate follows every run of the pump with the model of the vessel. Where nothing flows the beer stays
warmer than that, run after run. What it is warmer by is summed minute by minute beyond a slack (a cumulative sum: Page
1954), from two hours after it has come to its setpoint on; a beer that is being moved is not mixed, and says nothing.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from schemas.base import Message
from schemas.conditions import ConditionKind, condition_name
from schemas.control import Activity, ChamberStatus
from schemas.plant import Drive, Plant, Point
from schemas.telemetry import Quality, TemperatureReading
from schemas.topics import TopicKind, topic
from services.notifier.watchers.finding import Finding, Key, reading_topics

MINUTE = timedelta(minutes=1)
STANDS_FOR = timedelta(hours=2)
ARRIVED_K = 0.5
SLACK_K = 0.3
BOUND_K_MIN = 15.0
PUMPED_FOR = 10
"""Minutes of pumping that the beer must have shrugged off."""


class Expectation:
    """One vessel on a bath."""

    def __init__(self, pump: str) -> None:
        self.pump = pump
        self.beer_c: float | None = None
        self.excess_k = 0.0
        self.fails = False
        self._status: ChamberStatus | None = None
        self._stands_since: datetime | None = None
        self._sum_k_min = 0.0
        self._pumped = 0

    def hear(self, status: ChamberStatus) -> None:
        """What the supervisor expects, and asks for."""
        before, self._status = self._status, status
        setpoint_c = status.setpoint_c
        if (
            before is None
            or before.setpoint_c is None
            or setpoint_c is None
            or abs(setpoint_c - before.setpoint_c) > 0.05
        ):
            self._stands_since = None
        if self._stands_since is None and status.estimate is not None and setpoint_c is not None:
            arrived = abs(status.estimate.beer_c - setpoint_c) <= ARRIVED_K
            self._stands_since = status.at if arrived else None

    def look(self, now: datetime) -> None:
        """Another minute."""
        status, since = self._status, self._stands_since
        stands = since is not None and now - since >= STANDS_FOR
        if not stands or status is None or status.estimate is None or self.beer_c is None:
            self._sum_k_min, self._pumped, self.fails = 0.0, 0, False
            return
        self.excess_k = self.beer_c - status.estimate.beer_c
        self._sum_k_min = min(2.0 * BOUND_K_MIN, max(0.0, self._sum_k_min + self.excess_k - SLACK_K))
        self._pumped = 0 if self._sum_k_min == 0.0 else self._pumped + (status.doing is Activity.COOLING)
        grown = self._sum_k_min >= BOUND_K_MIN and self._pumped >= PUMPED_FOR
        self.fails = grown or (self.fails and self._sum_k_min > 0.0)


class ExpectationWatch:
    """Vessels with a pump and a probe in the beer."""

    def __init__(self, plant: Plant) -> None:
        self._vessels: dict[str, Expectation] = {}
        self._probes: set[Key] = set()
        for name, chamber in plant.chambers.items():
            pump, probe = chamber.output_that(Drive.PUMP), chamber.probe_at(Point.BEER)
            if chamber.kind == "jacketed" and pump is not None and probe is not None:
                self._vessels[name] = Expectation(pump)
                self._probes.add((name, probe))
        site = plant.site.name
        self.listens = [
            *reading_topics(plant, self._probes),
            *(topic(site, TopicKind.STATUS, name) for name in self._vessels),
        ]
        self._looked: datetime | None = None

    def hear(self, message: Message, now: datetime) -> None:
        """The beer's temperature, or what is believed of it."""
        if isinstance(message, TemperatureReading):
            if (message.chamber, message.probe) in self._probes:
                good = message.quality is Quality.GOOD
                self._vessels[message.chamber].beer_c = message.temperature_c if good else None
        elif isinstance(message, ChamberStatus) and message.chamber in self._vessels:
            self._vessels[message.chamber].hear(message)

    def judge(self, now: datetime) -> Iterable[Finding]:
        """Each vessel, once a minute."""
        if self._looked is not None and timedelta(0) <= now - self._looked < MINUTE:
            return
        self._looked = now
        for name, vessel in self._vessels.items():
            vessel.look(now)
            detail = f"The beer is {vessel.excess_k:.1f} K warmer than the runs of its pump should have left it."
            alarm = condition_name(ConditionKind.PUMP_WITHOUT_FLOW, vessel.pump)
            yield Finding(name, alarm, vessel.fails, detail, vessel.excess_k, SLACK_K, "K")
