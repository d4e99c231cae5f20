"""What a rehearsal answers with. docs/rehearsal.md describes its JSON, on which other programs rely."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any, Literal

from schemas.base import iso

MOST_POINTS = 1500
"""A longer curve is thinned when it is told to other programs."""


@dataclass(frozen=True, slots=True)
class Point:
    """One point of a curve."""

    at: datetime
    beer_c: float
    wanted_c: float | None


@dataclass(frozen=True, slots=True)
class StepTime:
    """When a step was under way; `ended` is None for the one still running at the end."""

    name: str
    began: datetime
    ended: datetime | None
    from_c: float = 0.0
    to_c: float = 0.0


@dataclass(frozen=True, slots=True)
class Course:
    """One batch: its steps as they went, and what it waits for when that is a person."""

    batch: str
    title: str
    chamber: str
    steps: tuple[StepTime, ...] = ()
    finished: bool = False
    waits_for: str = ""


@dataclass(frozen=True, slots=True)
class Stagger:
    """A delay that works, found by rehearsing it."""

    batch: str
    delay_h: float
    begins: datetime
    arrivals: Mapping[str, datetime]


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two that want more than there is. `where` is the reservoir or circuit, `parties` batches or chambers."""

    kind: Literal["reservoir", "circuit"]
    where: str
    parties: tuple[str, ...]
    begins: datetime
    ends: datetime
    detail: str
    proposal: Stagger | None = None


@dataclass(frozen=True, slots=True)
class Fired:
    """An interlock that would hold something back, other than those of ordinary days."""

    chamber: str
    id: str
    reason: str
    first: datetime


@dataclass(slots=True)
class Answer:
    """What would happen. `curve`, `steps`, `fired` and `finished` are of the chamber asked about, the rest of all.

    `frozen` is the largest share of any beer that would be ice; `identified` are chambers of which control has learnt.
    """

    curve: list[Point] = field(default_factory=list)
    steps: list[StepTime] = field(default_factory=list)
    fired: dict[str, str] = field(default_factory=dict)
    alarms: dict[str, str] = field(default_factory=dict)
    kwh: float = 0.0
    starts: int = 0
    frozen: float = 0.0
    finished: bool = False
    chamber: str = ""
    began: datetime | None = None
    ended: datetime | None = None
    curves: dict[str, list[Point]] = field(default_factory=dict)
    batches: list[Course] = field(default_factory=list)
    conflicts: list[Conflict] = field(default_factory=list)
    interlocks: list[Fired] = field(default_factory=list)
    kwh_of: dict[str, float] = field(default_factory=dict)
    cost: float | None = None
    identified: list[str] = field(default_factory=list)

    @property
    def verdict(self) -> str:
        """In plain words, the worst first."""
        if self.frozen > 0:
            return "Do not: some of the beer would freeze."
        if self.conflicts:
            return f"Careful: {' '.join(one.detail for one in self.conflicts)}"
        if self.fired:
            return f"Careful: {'; '.join(sorted(set(self.fired.values())))}"
        if self.alarms:
            return f"It would call you: {'; '.join(sorted(set(self.alarms.values())))}"
        waiting = [one.waits_for for one in self.batches if one.waits_for]
        if waiting:
            return f"It would wait for you: {'; '.join(waiting)}"
        return "It runs as written." if self.finished else "It runs as written as far as it was followed."


def plain(answer: Answer) -> dict[str, Any]:
    """As data for other programs: times in UTC ISO 8601, curves as [time, beer degC, wanted degC]."""
    told = _told(asdict(answer))
    told["curve"] = _curve(answer.curve)
    told["curves"] = {name: _curve(points) for name, points in answer.curves.items()}
    told["steps"] = [[one.name, iso(one.began), one.ended and iso(one.ended)] for one in answer.steps]
    return {**told, "verdict": answer.verdict}


def thinned(points: Sequence[Point]) -> Iterator[Point]:
    """At most so many of them, the last always among them."""
    stride = -(-len(points) // MOST_POINTS)
    yield from (one for index, one in enumerate(points) if (len(points) - 1 - index) % max(1, stride) == 0)


def _curve(points: Sequence[Point]) -> list[list[Any]]:
    return [[iso(one.at), round(one.beer_c, 3), one.wanted_c] for one in thinned(points)]


def _told(value: Any) -> Any:
    if isinstance(value, datetime):
        return iso(value)
    if isinstance(value, dict):
        return {key: _told(one) for key, one in value.items() if key not in ("curve", "curves")}
    if isinstance(value, Iterable) and not isinstance(value, str):
        return [_told(one) for one in value]
    return value
