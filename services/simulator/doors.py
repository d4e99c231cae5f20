"""When people open doors: at waking hours, more often where beer is served."""

from collections.abc import Iterator
from datetime import datetime, timedelta, tzinfo
from random import Random

WAKING = range(8, 23)
PER_DAY = {"kegerator": 6.0, "fridge": 0.5}
"""Guesses for a household, no source."""
LEAST_S, MOST_S = 15.0, 90.0


def openings(random: Random, kind: str, after: datetime, zone: tzinfo) -> Iterator[tuple[datetime, datetime]]:
    """Opening and closing times without end, in UTC, for one door; none where the kind of chamber has no door."""
    per_day = PER_DAY.get(kind)
    moment = after
    while per_day is not None:
        moment += timedelta(days=random.expovariate(per_day * 24 / len(WAKING)))
        if moment.astimezone(zone).hour in WAKING:
            closes = moment + timedelta(seconds=random.uniform(LEAST_S, MOST_S))
            yield moment, closes
            moment = closes
