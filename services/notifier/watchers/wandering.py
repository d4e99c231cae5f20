"""A beer probe that moves as no mass of beer can: it has come out of its well, or has lost contact.

What the chamber can do to its beer is bounded by heat balance: at most `MOST_W_K` per kelvin between air and beer,
plus heater and yeast, over the beer's heat capacity. A probe in the air follows every run of the compressor instead,
down and up again. A slow drift of a probe in its well is for `balance` to find.
"""

from collections import deque
from collections.abc import Iterable
from datetime import datetime, timedelta

from schemas.base import Message
from schemas.conditions import ConditionKind, condition_name
from schemas.plant import ChamberBase, Drive, Plant, Point
from schemas.telemetry import Quality, TemperatureReading
from services.notifier.watchers.finding import Finding, Key, reading_topics

SAMPLE = timedelta(minutes=1)
SPAN = timedelta(minutes=10)
MEMORY = timedelta(hours=6)
SWINGS = 3
MOST_W_K, MOST_DIFFERENCE_K, YEAST_W_L = 12.0, 20.0, 2.0
"""Air to a carboy with a fan; air against beer at a crash's worst; the strongest fermentations (with a margin)."""
BEER_J_L_K = 4230.0
SMALLEST_SWING_K = 1.0
"""What 10 min may change at least before it counts, whatever the volume: a door, a hand, a stirring."""
CALM_AFTER = timedelta(hours=6)


def greatest_change_k(chamber: ChamberBase, span: timedelta = SPAN) -> float:
    """The most that this chamber can change its beer by in the span, K."""
    litres = chamber.contents.volume_l
    heater = chamber.output_that(Drive.HEATER)
    heat_w = chamber.outputs[heater].power_w if heater is not None else 0.0
    size: float = (litres / 20.0) ** (2.0 / 3.0)
    power_w = MOST_W_K * size * MOST_DIFFERENCE_K + max(heat_w, YEAST_W_L * litres)
    return float(power_w * span.total_seconds() / (BEER_J_L_K * litres))


class Wander:
    """One probe: a sample a minute, and the swings it made that no beer can make."""

    def __init__(self, limit_k: float) -> None:
        self.limit_k = max(SMALLEST_SWING_K, limit_k)
        self.swings: deque[tuple[datetime, float]] = deque()
        self._samples: deque[tuple[datetime, float]] = deque()

    def take(self, celsius: float, at: datetime) -> None:
        """One good reading; more than one a minute are passed over."""
        samples = self._samples
        if samples and timedelta(0) <= at - samples[-1][0] < SAMPLE:
            return
        samples.append((at, celsius))
        while samples and not timedelta(0) <= at - samples[0][0] <= SPAN:
            samples.popleft()
        change = celsius - samples[0][1]
        if abs(change) > self.limit_k:
            self._swing(at, change)
            samples.clear()
            samples.append((at, celsius))

    def _swing(self, at: datetime, change: float) -> None:
        """Counts only what goes the other way than the swing before: one long move is a probe that was moved."""
        if not self.swings or (self.swings[-1][1] > 0) != (change > 0):
            self.swings.append((at, change))

    def wanders(self, now: datetime) -> bool:
        """Whether it has gone to and fro often enough of late."""
        while self.swings and not timedelta(0) <= now - self.swings[0][0] < MEMORY:
            self.swings.popleft()
        return len(self.swings) >= SWINGS


class WanderWatch:
    """Beer probes of chambers that hold beer."""

    def __init__(self, plant: Plant) -> None:
        self._probes: dict[Key, Wander] = {}
        for name, chamber in plant.chambers.items():
            probe = chamber.probe_at(Point.BEER)
            if probe is not None and chamber.kind != "reservoir":
                self._probes[name, probe] = Wander(greatest_change_k(chamber))
        self.listens = reading_topics(plant, self._probes)
        self._looked: datetime | None = None

    def hear(self, message: Message, now: datetime) -> None:
        """A temperature."""
        if isinstance(message, TemperatureReading) and message.quality is Quality.GOOD:
            probe = self._probes.get((message.chamber, message.probe))
            if probe is not None and message.temperature_c is not None:
                probe.take(message.temperature_c, message.at)

    def judge(self, now: datetime) -> Iterable[Finding]:
        """Each probe, once a minute."""
        if self._looked is not None and timedelta(0) <= now - self._looked < SAMPLE:
            return
        self._looked = now
        for (chamber, probe), wander in self._probes.items():
            detail = f"{probe} swings by over {wander.limit_k:.1f} K within 10 min; this much beer cannot."
            name = condition_name(ConditionKind.PROBE_DRIFTING, probe)
            yield Finding(chamber, name, wander.wanders(now), detail)
