"""The journal as lines to read, from history and from what was just heard; and what people type beside it."""

import csv
import io
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from schemas.journal import JournalEntry
from services.console.sources import Annotation

TASTED = frozenset({"note-written", "beer-tasted"})
COLUMNS = ("at", "who", "event", "chamber", "batch", "why", "facts")


@dataclass(frozen=True, slots=True)
class Entry:
    """One line: when (to the millisecond), who, what, where, why."""

    id: str
    at: datetime
    who: str
    event: str
    why: str
    chamber: str = ""
    batch: str = ""
    facts: Mapping[str, Any] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """`Batch started`."""
        return self.event.replace("-", " ").capitalize()

    @property
    def alarm(self) -> str:
        """The alarm that it is about; empty for anything else."""
        return str(self.facts.get("alarm", "")).replace("-", " ")


@dataclass(frozen=True, slots=True)
class Sieve:
    """Which lines are wanted; an empty field wants all. `text` may stand anywhere in what is shown."""

    who: str = ""
    event: str = ""
    chamber: str = ""
    batch: str = ""
    text: str = ""

    def passes(self, entry: Entry) -> bool:
        """Whether a line is wanted."""
        exact = (
            (self.who, entry.who),
            (self.event, entry.event),
            (self.chamber, entry.chamber),
            (self.batch, entry.batch),
        )
        shown = f"{entry.who} {entry.title} {entry.chamber} {entry.batch} {entry.alarm} {entry.why}".lower()
        return all(wanted in ("", found) for wanted, found in exact) and self.text.lower() in shown


def entries(past: Iterable[Annotation], heard: Iterable[JournalEntry] = ()) -> list[Entry]:
    """Lines from history and from the bus, each once, newest first; of one moment the last written first."""
    found = {entry.id: entry for entry in (*map(_recorded, past), *map(_heard, heard))}
    return sorted(found.values(), key=lambda one: one.at)[::-1]


def gravities(found: Iterable[Entry]) -> list[tuple[Entry, bool]]:
    """Measurements by hand, and whether each still counts."""
    lines = list(found)
    struck = {one.facts.get("entry") for one in lines if one.event == "gravity-struck"}
    return [(one, one.facts.get("entry") not in struck) for one in lines if one.event == "gravity-logged"]


def notes(found: Iterable[Entry]) -> list[Entry]:
    """What was said of a beer."""
    return [one for one in found if one.event in TASTED]


def scores(entry: Entry) -> str:
    """`aroma 7, overall 8`."""
    return ", ".join(f"{name} {value:g}" for name, value in entry.facts.items() if isinstance(value, int | float))


def as_csv(found: Iterable[Entry]) -> str:
    """RFC 4180, with a head; text that a spreadsheet would take for a formula is made plain."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for one in found:
        writer.writerow(_plain(value if isinstance(value, str) else json.dumps(value)) for value in _row(one).values())
    return out.getvalue()


def as_json_lines(found: Iterable[Entry]) -> str:
    """One JSON object a line."""
    return "".join(f"{json.dumps(_row(one), ensure_ascii=False)}\n" for one in found)


def number_in(written: str, low: float, high: float) -> float:
    """What somebody read off, with a point or a comma. Raises ValueError with what would be right."""
    try:
        value = float(written.strip().replace(",", "."))
    except ValueError:
        raise ValueError(f"{written.strip()!r} is no number; write it like '{(low + high) / 2:.4g}'") from None
    if not low <= value <= high:
        raise ValueError(f"{value:g} lies outside {low:g} to {high:g}")
    return value


def local_moment(written: str, zone: ZoneInfo) -> datetime | None:
    """A date and time on the site's clocks, None where nothing is written. Raises ValueError."""
    if not written.strip():
        return None
    try:
        at = datetime.fromisoformat(written.strip())
    except ValueError:
        raise ValueError(f"{written!r} is no date and time; write it like '2030-05-03 18:00'") from None
    return at.replace(tzinfo=zone) if at.tzinfo is None else at


def _recorded(one: Annotation) -> Entry:
    at = datetime.fromtimestamp(one.at_ms / 1000, UTC)
    return Entry(one.id, at, one.who, one.name, one.text, one.chamber, one.batch, one.facts)


def _heard(one: JournalEntry) -> Entry:
    return Entry(
        f"journal/{one.id}", one.at, one.who, one.event, one.why, one.chamber or "", one.batch or "", one.facts
    )


def _row(one: Entry) -> dict[str, Any]:
    return {
        "at": one.at.astimezone(UTC).isoformat(timespec="milliseconds"),
        "who": one.who,
        "event": one.event,
        "chamber": one.chamber,
        "batch": one.batch,
        "why": one.why,
        "facts": dict(one.facts),
    }


def _plain(text: str) -> str:
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
