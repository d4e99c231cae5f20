"""A beer probe that drifts in its well, found by the heat balance of beer that stands still.

Beer that keeps its temperature for a day takes from the air around it what it gives to it. So over whole hours the mean
of its probe and of the air's must agree, but for what yeast gives off: then the beer is the warmer one. Beer that seems
colder than its air all day is read too low; still, cold beer that seems warmer is read too high. Both are summed hour
by hour beyond a slack (a cumulative sum: Page 1954), and begun anew by anything that moves the beer. An hour in which a
door was opened, or a probe was not to be trusted, is passed over.

Innovations of the supervisor's estimate do not show it: control holds what the probe says, and a filter that hears no
other thermometer of the beer follows it within a hundredth of a kelvin an hour. Which of the two probes drifts cannot
be said; a vessel without an air probe cannot be judged at all, nor, upwards, a beer that ferments.
"""

from collections import deque
from collections.abc import Iterable
from datetime import datetime, timedelta
from statistics import fmean

from schemas.base import Message
from schemas.conditions import ConditionKind, condition_name
from schemas.control import Activity, ChamberStatus
from schemas.plant import Measure, Plant, Point
from schemas.telemetry import ContactReading, Quality, TemperatureReading
from schemas.topics import TopicKind, topic
from services.notifier.watchers.finding import Finding, Key, reading_topics

HOUR = timedelta(hours=1)
STANDS_FOR = timedelta(hours=18)
"""So long after the setpoint last moved: the air has gone back to what the beer needs."""
STEADY_K, OVER_HOURS = 0.15, 6
"""Beer that moves less than that in so many hours takes up no heat worth counting: 84 kJ/K at 0.025 K/h are 0.6 W."""
LOW_SLACK_K, HIGH_SLACK_K = 0.5, 0.3
"""What two probes may differ by, and where each hangs (common practice, no source); a fan warms the air a little."""
BOUND_K_H = 2.0
COLD_C = 5.0
"""Below it yeast gives off next to nothing (common practice, no source)."""
FEWEST = 12
"""Readings of each probe that make an hour."""


class Hour:
    """What is gathered within one hour."""

    def __init__(self, begins: datetime) -> None:
        self.begins = begins
        self.beer: list[float] = []
        self.air: list[float] = []
        self.disturbed = False


class Balance:
    """One chamber: hours of calm, and the two sums over them."""

    def __init__(self, probe: str, always_still: bool) -> None:
        self.probe = probe
        self.low_k_h = self.high_k_h = 0.0
        self.offset_k = 0.0
        self.drifts = False
        self._always_still = always_still
        self._hour: Hour | None = None
        self._beer: deque[float] = deque(maxlen=OVER_HOURS)
        self._setpoint_c: float | None = None
        self._stands_since: datetime | None = None
        self._heats = False

    def see(self, beer_c: float | None, air_c: float | None) -> None:
        """A good reading of either probe."""
        if self._hour is not None:
            for values, value in ((self._hour.beer, beer_c), (self._hour.air, air_c)):
                if value is not None:
                    values.append(value)

    def disturb(self) -> None:
        """Something moved the beer or its air: this hour says nothing."""
        if self._hour is not None:
            self._hour.disturbed = True

    def hear(self, status: ChamberStatus) -> None:
        """Where the setpoint is, and whether the heater runs."""
        setpoint_c = status.setpoint_c
        if setpoint_c is None or self._setpoint_c is None or abs(setpoint_c - self._setpoint_c) > 0.05:
            self._setpoint_c, self._stands_since = setpoint_c, status.at
        self._heats = self._heats or status.doing is Activity.HEATING
        if status.doing in (Activity.SAFE, Activity.LOCKED_OUT):
            self.disturb()

    def look(self, now: datetime) -> bool:
        """Whether an hour is over and its sums are news."""
        hour = self._hour
        if hour is not None and timedelta(0) <= now - hour.begins < HOUR:
            return False
        self._hour = Hour(now)
        heats, self._heats = self._heats, False
        if hour is None or now - hour.begins > 2 * HOUR:
            self._begin_anew()
            self._beer.clear()
        elif not hour.disturbed and min(len(hour.beer), len(hour.air)) >= FEWEST:
            self._weigh(hour, heats, now)
        return True

    def _weigh(self, hour: Hour, heats: bool, now: datetime) -> None:
        """An hour that says something: it counts where the beer has stood still for some."""
        self._beer.append(fmean(hour.beer))
        stands = self._stands_since is not None and now - self._stands_since >= STANDS_FOR
        if stands and len(self._beer) == OVER_HOURS and max(self._beer) - min(self._beer) <= STEADY_K:
            self._sum(self._beer[-1] - fmean(hour.air), heats)
        else:
            self._begin_anew()

    def _begin_anew(self) -> None:
        self.low_k_h = self.high_k_h = 0.0

    def _sum(self, offset_k: float, heats: bool) -> None:
        still = self._always_still or (self._setpoint_c is not None and self._setpoint_c <= COLD_C)
        self.offset_k = offset_k
        self.low_k_h = _summed(self.low_k_h, -offset_k - LOW_SLACK_K)
        self.high_k_h = _summed(self.high_k_h, offset_k - HIGH_SLACK_K) if still and not heats else 0.0
        most = max(self.low_k_h, self.high_k_h)
        self.drifts = most >= BOUND_K_H or (self.drifts and most > 0.0)


def _summed(before: float, excess_k: float) -> float:
    return min(2.0 * BOUND_K_H, max(0.0, before + excess_k))


class BalanceWatch:
    """Chambers that are cooled by air, with a probe in the beer and one in the air."""

    def __init__(self, plant: Plant) -> None:
        self._balances: dict[str, Balance] = {}
        self._points: dict[Key, Point] = {}
        self._doors: set[Key] = set()
        for name, chamber in plant.chambers.items():
            beer, air = chamber.probe_at(Point.BEER), chamber.probe_at(Point.AIR)
            if beer is None or air is None or chamber.kind not in ("fridge", "kegerator"):
                continue
            self._balances[name] = Balance(beer, always_still=chamber.kind == "kegerator")
            self._points |= {(name, beer): Point.BEER, (name, air): Point.AIR}
            self._doors |= {(name, one) for one, probe in chamber.probes.items() if probe.measures is Measure.CONTACT}
        site = plant.site.name
        self.listens = [
            *reading_topics(plant, [*self._points, *self._doors]),
            *(topic(site, TopicKind.STATUS, name) for name in self._balances),
        ]

    def hear(self, message: Message, now: datetime) -> None:
        """A temperature, a door, or a chamber's status."""
        if isinstance(message, TemperatureReading):
            self._take(message)
        elif isinstance(message, ContactReading):
            if message.is_open and (message.chamber, message.probe) in self._doors:
                self._balances[message.chamber].disturb()
        elif isinstance(message, ChamberStatus) and message.chamber in self._balances:
            self._balances[message.chamber].hear(message)

    def _take(self, reading: TemperatureReading) -> None:
        point = self._points.get((reading.chamber, reading.probe))
        if point is None:
            return
        balance = self._balances[reading.chamber]
        if reading.quality is not Quality.GOOD or reading.temperature_c is None:
            balance.disturb()
        elif point is Point.BEER:
            balance.see(reading.temperature_c, None)
        else:
            balance.see(None, reading.temperature_c)

    def judge(self, now: datetime) -> Iterable[Finding]:
        """Each chamber whose hour is over."""
        for name, balance in self._balances.items():
            if balance.look(now):
                yield self._found(name, balance)

    def _found(self, name: str, balance: Balance) -> Finding:
        way = "colder" if balance.low_k_h >= balance.high_k_h else "warmer"
        detail = (
            f"For hours {balance.probe} has read {abs(balance.offset_k):.1f} K {way} than the air around it, and stood "
            "still: one of the two probes is wrong."
        )
        alarm = condition_name(ConditionKind.PROBE_DRIFTING, f"{balance.probe}-slow")
        return Finding(name, alarm, balance.drifts, detail, balance.offset_k, None, "K")
