"""The spool's folder as it lies on disk: segments, how far they were sent, what became of rows. Only read."""

import json
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from services.recorder.backlog import Waiting
from services.recorder.batches import Batch, Unreadable, from_bytes
from services.recorder.frames import Frame, frames
from services.recorder.rows import moment

WHOLE, THIN, REFUSED = ".whole", ".thin", ".refused"
CURSOR, COUNTS = "cursor", "counts.json"
THINNED_SEGMENTS, DROPPED_ROWS, DAMAGED_BYTES, REFUSED_ROWS = (
    "thinned-segments",
    "dropped-rows",
    "damaged-bytes",
    "refused-rows",
)
COUNTED = (THINNED_SEGMENTS, DROPPED_ROWS, DAMAGED_BYTES, REFUSED_ROWS)
"""What may become of rows that are neither sent nor simply waiting."""


@dataclass(frozen=True, slots=True)
class Happened:
    """What became of rows since the folder was begun, and what was said of it last."""

    counts: Counter[str] = field(default_factory=Counter)
    problem: str = ""


def segments_in(folder: Path) -> list[Path]:
    """Oldest first."""
    return sorted(path for path in folder.iterdir() if path.suffix in (WHOLE, THIN))


def cursor_in(folder: Path) -> tuple[str, int]:
    """Which segment was being sent, and how many bytes at its beginning the store has."""
    with suppress(OSError, ValueError):
        name, _, place = (folder / CURSOR).read_text(encoding="utf-8").partition(" ")
        return name, int(place)
    return "", 0


def happened_in(folder: Path) -> Happened:
    """Nothing when nothing ever did."""
    with suppress(OSError, ValueError, LookupError, TypeError):
        told = json.loads((folder / COUNTS).read_text(encoding="utf-8"))
        return Happened(
            Counter({str(name): int(count) for name, count in told["counts"].items()}), str(told["problem"])
        )
    return Happened()


def keep_happened(folder: Path, happened: Happened) -> None:
    """On a full disk they may be lost: they are only told, nothing depends on them."""
    with suppress(OSError):
        text = json.dumps({"counts": happened.counts, "problem": happened.problem}, ensure_ascii=False)
        (folder / COUNTS).write_text(text, encoding="utf-8")


def waiting_in(folder: Path, now: datetime) -> Waiting:
    """What waits, as another process sees it; a record that is being written at the moment is left out."""
    rows, size, oldest = 0, 0, None
    name, sent = cursor_in(folder)
    for segment in segments_in(folder) if folder.exists() else ():
        with suppress(FileNotFoundError):  # sent meanwhile
            content = segment.read_bytes()
            begins = sent if segment.name == name else 0
            size += len(content) - begins
            for frame, batch in readable(content, begins):
                oldest = min(oldest or now, moment(frame.at_ms))
                rows += batch.rows
    return Waiting(rows, size, oldest, False, happened_in(folder).problem)


def readable(content: bytes, begins: int = 0) -> Iterator[tuple[Frame, Batch]]:
    """Whole records that are batches."""
    for frame in frames(content, begins):
        with suppress(Unreadable):
            yield frame, from_bytes(frame.body)
