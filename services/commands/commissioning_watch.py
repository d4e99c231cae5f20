"""What is heard of a guided first run on its way: its progress, the probes' courses, what outputs did, the result."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from schemas.base import Message
from schemas.control import ChamberStatus, GuidedRun
from schemas.journal import Health, JournalEntry, Wellness
from schemas.telemetry import Quality, Report, TemperatureReading

DONE, CUT_SHORT = "chamber-commissioned", "commissioning-cut-short"
NO_RESULT = "The guided first run is over, and its result was not heard. The journal has it, if there is one."


@dataclass(frozen=True, slots=True)
class Findings:
    """The result, as the journal has it."""

    who: str
    ended: datetime
    lines: tuple[str, ...]
    facts: Mapping[str, float | str | bool]

    @property
    def sound(self) -> bool:
        """Whether everything answered as it should."""
        verdicts = [value for name, value in self.facts.items() if name.endswith(".verdict")]
        return bool(verdicts) and all(verdict == "answered" for verdict in verdicts)

    def model(self) -> list[tuple[str, float, float, float]]:
        """Name, value, standard deviation, and the share learnt since nothing was known, of each parameter."""
        names = [
            name[len("model.") : -len(".sd")] for name in self.facts if name.startswith("model.") and ".sd" in name
        ]
        return [
            (name, self._number(name), self._number(f"{name}.sd"), self._number(f"{name}.learnt")) for name in names
        ]

    def _number(self, name: str) -> float:
        return float(self.facts.get(f"model.{name}", 0.0))


@dataclass(slots=True)
class Watched:
    """Hand it every message with `take`. `began` is when the supervisor accepted, None before.

    What comes before the acceptance may already be about this run: it is looked at once it is known when that began.
    """

    chamber: str
    began: datetime | None = None
    guided: GuidedRun | None = None
    findings: Findings | None = None
    cut_short: str = ""
    lost: bool = False
    over: bool = False
    curves: dict[str, list[tuple[datetime, float]]] = field(default_factory=dict)
    levels: dict[str, list[tuple[datetime, float]]] = field(default_factory=dict)
    early: list[Message] = field(default_factory=list)

    @property
    def told(self) -> bool:
        """Whether the end is known."""
        return self.findings is not None or bool(self.cut_short)

    def take(self, message: Message) -> None:
        """Takes in what concerns this chamber; anything else changes nothing."""
        if self.began is None:
            self.early.append(message)
            return
        take = _TAKES.get(type(message))
        if take is not None and getattr(message, "chamber", None) in (None, self.chamber):
            take(self, message)

    def begin(self, at: datetime) -> None:
        """The supervisor has accepted."""
        self.began = at
        for message in self.early:
            self.take(message)

    def temperatures(self) -> str:
        """The latest, for people."""
        return ", ".join(f"{probe} {course[-1][1]:.1f} degC" for probe, course in self.curves.items() if course)

    def lines(self) -> tuple[str, ...]:
        """What to tell at the end."""
        if self.findings is not None:
            return self.findings.lines
        return (self.cut_short or NO_RESULT,)

    def plain(self, report: str) -> dict[str, Any]:
        """For programs."""
        found = self.findings
        return {
            "chamber": self.chamber,
            "sound": found is not None and found.sound,
            "says": list(self.lines()),
            "facts": dict(found.facts) if found is not None else {},
            "report": report or None,
        }

    def _since(self, message: Message) -> bool:
        return self.began is not None and message.at >= self.began

    def _take_status(self, status: ChamberStatus) -> None:
        if self._since(status):
            self.guided = status.guided
            self.over = status.guided is None

    def _take_reading(self, reading: TemperatureReading) -> None:
        if reading.quality is Quality.GOOD and reading.temperature_c is not None:
            self.curves.setdefault(reading.probe, []).append((reading.at, reading.temperature_c))

    def _take_report(self, report: Report) -> None:
        if report.level is not None:
            self.levels.setdefault(report.output, []).append((report.at, report.level))

    def _take_health(self, health: Health) -> None:
        self.lost = health.state is Wellness.LOST

    def _take_entry(self, entry: JournalEntry) -> None:
        if entry.chamber != self.chamber or not self._since(entry):
            return
        if entry.event == DONE:
            self.findings = Findings(entry.who, entry.at, tuple(entry.why.splitlines()), dict(entry.facts))
        elif entry.event == CUT_SHORT:
            self.cut_short = f"The guided first run was cut short. {entry.why}"


_TAKES: Mapping[type[Message], Callable[[Watched, Any], None]] = {
    ChamberStatus: Watched._take_status,
    TemperatureReading: Watched._take_reading,
    Report: Watched._take_report,
    Health: Watched._take_health,
    JournalEntry: Watched._take_entry,
}
