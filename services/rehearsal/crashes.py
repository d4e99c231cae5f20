"""Crashes in a rehearsal, and baths that have to carry two of them at once."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import combinations

from schemas.plant import Drive, Jacketed, Plant
from services.rehearsal.answer import Course, Point
from services.simulator.mapping import DEFAULT_POWER_W

LEAST_FALL_K = 5.0
NEAR_K = 0.5
LEAST_TOGETHER = timedelta(hours=1)
BUSY = 0.8
"""Of the time that two crashes overlap, a chiller that runs so much has nothing to spare."""


@dataclass(frozen=True, slots=True)
class Crash:
    """A step that asks for much colder beer, until the beer is there (or the rehearsal ends)."""

    batch: str
    chamber: str
    step: int
    name: str
    from_c: float
    to_c: float
    begins: datetime
    arrives: datetime | None
    seen_until: datetime

    @property
    def ends(self) -> datetime:
        """When it no longer asks for cold."""
        return self.arrives or self.seen_until

    @property
    def lasts(self) -> timedelta:
        """From its begin to its end."""
        return self.ends - self.begins


@dataclass(frozen=True, slots=True)
class Together:
    """Two crashes on one bath that overlap while its chiller has nothing to spare; `first` begins first."""

    bath: str
    first: Crash
    second: Crash

    @property
    def begins(self) -> datetime:
        """Of the overlap."""
        return self.second.begins

    @property
    def ends(self) -> datetime:
        """Of the overlap."""
        return min(self.first.ends, self.second.ends)


def crashes(courses: Sequence[Course], curves: Mapping[str, Sequence[Point]]) -> list[Crash]:
    """All of them, in order of their begins."""
    found = [one for course in courses for one in _of_course(course, curves.get(course.chamber, ()))]
    return sorted(found, key=lambda one: one.begins)


def together(
    plant: Plant, found: Sequence[Crash], kwh: Mapping[str, Sequence[tuple[datetime, float]]]
) -> list[Together]:
    """Those that a bath may be unable to carry at once."""
    pairs = []
    for first, second in combinations(found, 2):
        bath = _shared_bath(plant, first.chamber, second.chamber)
        if bath is None or first.chamber == second.chamber:
            continue
        pair = Together(bath, first, second)
        if pair.ends - pair.begins >= LEAST_TOGETHER and _share_on(plant, pair, kwh.get(bath, ())) >= BUSY:
            pairs.append(pair)
    return pairs


def arrival(points: Sequence[Point], begins: datetime, to_c: float) -> datetime | None:
    """When the beer was there first."""
    return next((one.at for one in points if one.at > begins and one.beer_c <= to_c + NEAR_K), None)


def _of_course(course: Course, points: Sequence[Point]) -> Iterator[Crash]:
    for index, step in enumerate(course.steps):
        if step.from_c - step.to_c < LEAST_FALL_K:
            continue
        arrives = arrival(points, step.began, step.to_c)
        seen_until = points[-1].at if points else step.began
        yield Crash(
            batch=course.batch,
            chamber=course.chamber,
            step=index,
            name=step.name,
            from_c=step.from_c,
            to_c=step.to_c,
            begins=step.began,
            arrives=arrives,
            seen_until=seen_until,
        )


def _shared_bath(plant: Plant, one: str, other: str) -> str | None:
    pair = [plant.chambers[name] for name in (one, other)]
    baths = {chamber.cooled_by for chamber in pair if isinstance(chamber, Jacketed)}
    return baths.pop() if len(baths) == 1 and all(isinstance(chamber, Jacketed) for chamber in pair) else None


def _share_on(plant: Plant, pair: Together, kwh: Sequence[tuple[datetime, float]]) -> float:
    """Share of the overlap for which the bath's chiller ran, from what it used."""
    inside = [used for at, used in kwh if pair.begins <= at <= pair.ends]
    watts = sum(
        one.power_w or DEFAULT_POWER_W[Drive.COMPRESSOR]
        for one in plant.chambers[pair.bath].outputs.values()
        if one.drives is Drive.COMPRESSOR
    )
    hours = (pair.ends - pair.begins) / timedelta(hours=1)
    return (inside[-1] - inside[0]) * 1000.0 / (watts * hours) if len(inside) > 1 and watts else 0.0
