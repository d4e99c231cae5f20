"""What the console needs from elsewhere than the bus. Whoever composes it hands these in."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Literal, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from schemas.profiles import Profile

Form = Literal["html", "pdf"]


class Unavailable(Exception):
    """It cannot be had now; the text says to a person what is away, and what still works."""


class Unknown(LookupError):
    """There is no such thing; the text names what there is."""


class NotUsable(ValueError):
    """What was handed in cannot be used; the text names the place, what is wrong and what would be right."""


class SeriesName(NamedTuple):
    """A series that history has: `kind` is reading, report, command, setpoint, status or health."""

    chamber: str
    kind: str
    name: str
    unit: str


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """A stretch of history in buckets; `edges_ms` has one more entry than the others, NaN is a gap."""

    edges_ms: NDArray[np.int64]
    min: NDArray[np.float64]
    mean: NDArray[np.float64]
    max: NDArray[np.float64]
    last: NDArray[np.float64]
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Annotation:
    """Something said at one time: `kind` is journal, alarm, condition, batch, status, quality, health or plant."""

    id: str
    at_ms: int
    kind: str
    name: str
    chamber: str = ""
    batch: str = ""
    who: str = ""
    text: str = ""
    facts: dict[str, Any] = field(default_factory=dict)


class History(Protocol):
    """The recorded past. Every method raises Unavailable while there is no store, or it is away."""

    async def names(self) -> Sequence[SeriesName]:
        """Every series of this site."""
        ...

    async def series(self, chamber: str, item: str, start: datetime, end: datetime, count: int) -> Series:
        """`count` buckets of one series. `item` is a probe's or an output's name; or `setpoint`, `tolerance`, `demand`,
        `beer-estimate`, `heat-estimate`, or `load` (chamber `site`). What history has nothing of is one long gap.

        Setpoints and outputs' levels hold until the next is told: such gaps are filled.
        """
        ...

    async def annotations(
        self, start: datetime, end: datetime, chamber: str | None = None, kind: str | None = None
    ) -> list[Annotation]:
        """What was said in a stretch of time, in order; None means any."""
        ...

    async def runs(self, chamber: str, output: str, start: datetime, end: datetime) -> list[tuple[int, int]]:
        """When an output was on: beginnings and ends in milliseconds since 1970, cut to the stretch."""
        ...

    async def earlier_batches(self) -> Sequence[Annotation]:
        """The last that was said of each batch, newest first: `facts` has the fields of a BatchState."""
        ...


class Reports(Protocol):
    """Batch reports."""

    async def report(self, batch: str, form: Form) -> bytes:
        """The page, or the same as PDF. Raises Unknown, and Unavailable."""
        ...


class Profiles(Protocol):
    """The profiles that come along and those of this site."""

    def names(self) -> list[str]:
        """What there is."""
        ...

    def text(self, name: str) -> str:
        """As it is written, in YAML. Raises Unknown."""
        ...

    def read(self, text: str) -> Profile:
        """The profile that a text describes. Raises NotUsable with every problem's line."""
        ...


class Rehearsals(Protocol):
    """What would happen."""

    async def rehearse(
        self, profile_text: str, chamber: str, original_gravity_sg: float | None = None, days: float = 28
    ) -> dict[str, Any]:
        """In a process of its own, for up to half a minute: `verdict`, `curve`, `steps`, `alarms`, `fired`, `kwh`, ...

        `curve` has [time, beer degC, wanted degC or null], `steps` [name, began, ended or null], times in ISO 8601.
        Raises NotUsable where the programme would be refused, and Unavailable.
        """
        ...


class Bundles(Protocol):
    """Files to take away."""

    async def backup(self) -> Path:
        """The recorded history as a file that `coldside history bring-back` takes; to be deleted by whoever asked.

        Raises Unavailable.
        """
        ...

    async def support(self) -> bytes:
        """A ZIP for whoever is asked for help: plant, versions, health, the ends of the logs; no secret in it."""
        ...


@dataclass(frozen=True, slots=True)
class Claim:
    """What the link in an alarm's message says: this person may acknowledge this occurrence, until then."""

    chamber: str
    name: str
    raised: datetime
    person: str
    expires: datetime


class Links(Protocol):
    """Reads what such a link claims, to show what it is about; only the notifier can tell whether it is good."""

    def read(self, token: str) -> Claim:
        """Raises NotUsable for one that is not whole."""
        ...


@dataclass(frozen=True, slots=True)
class Leaf:
    """One value that a device says: its topic, its path (JSONPath) where the payload is JSON, and what it said."""

    topic: str
    path: str | None
    examples: tuple[str, ...]
    times: int
    measures: str = ""
    """What it could measure, as far as its name and values tell; empty for what is hardly a probe."""


class Ears(Protocol):
    """Listens to what devices say on the broker, only while it is asked to."""

    async def listen(self, topics: str, seconds: float) -> list[Leaf]:
        """Likely probes first. Raises NotUsable for what is no topic filter, and Unavailable without a broker."""
        ...


class Deaf:
    """Ears of a console that was set up without any."""

    async def listen(self, topics: str, seconds: float) -> list[Leaf]:
        """Raises Unavailable."""
        raise Unavailable(f"This console was set up without a way to listen to '{topics}'.")
