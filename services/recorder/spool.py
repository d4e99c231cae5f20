"""The spool: rows on disk until the store has them. What `write` returned from is sent, if late, and if twice.

Segments are files of framed records; the last stays until it is full, though all of it was sent. When there are too
many, or they are too old, the oldest are thinned to minutes first, and only when nothing is left to thin are the oldest
dropped; both are counted and told.
"""

import threading
from collections import Counter, deque
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from pydantic import Field

from schemas.base import Model, Positive
from services.recorder.appends import append
from services.recorder.backlog import Waiting
from services.recorder.batches import Batch, Unreadable, from_bytes, thinned, to_bytes, together
from services.recorder.frames import Frame, damaged_bytes, framed, frames, torn_at
from services.recorder.rows import Annotation, Sample, milliseconds, moment
from services.recorder.segments import (
    CURSOR,
    DAMAGED_BYTES,
    DROPPED_ROWS,
    REFUSED,
    REFUSED_ROWS,
    THIN,
    THINNED_SEGMENTS,
    WHOLE,
    Happened,
    cursor_in,
    happened_in,
    keep_happened,
    segments_in,
)

ROWS_AT_ONCE = 5000
REMEMBERED = 40
"""Batches kept in memory as well, so that a store that keeps up is sent them without reading the disk."""
DAY_MS = 86_400_000


class SpoolLimits(Model):
    """How much may wait."""

    most_bytes: Positive = Field(default=2e9, description="Seven days of twelve chambers need about a tenth of it.")
    most_days: Positive = 60
    segment_bytes: Positive = 1e6


@dataclass(frozen=True, slots=True)
class Piece:
    """What is oldest, and where in its segment it begins and ends."""

    segment: Path
    begins: int
    ends: int
    at_ms: int
    batch: Batch


@dataclass(slots=True)
class Spool:
    """One folder. One process writes; a thread may send while another writes.

    `counts` is what became of rows since this process began; the folder keeps what did since its own beginning.
    """

    folder: Path
    limits: SpoolLimits = field(default_factory=SpoolLimits)
    counts: Counter[str] = field(default_factory=Counter)
    problem: str = ""
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _last: Path | None = None
    _recent: deque[Piece] = field(default_factory=lambda: deque(maxlen=REMEMBERED))
    _cursor: tuple[str, int] = ("", 0)
    _earlier: Counter[str] = field(default_factory=Counter)
    _rows: dict[Path, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        self._cursor, self._earlier = cursor_in(self.folder), happened_in(self.folder).counts
        for segment in self._segments():
            self._mend(segment)

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        """Appends one batch and waits for the disk. Raises DiskFull, and then nothing was written."""
        if not samples and not annotations:
            return
        at_ms = samples[0].at_ms if samples else annotations[0].at_ms
        batch = Batch(list(samples), list(annotations))
        record = framed(to_bytes(batch), at_ms)
        with self._lock:
            segment = self._segment_for(len(record))
            begins = append(segment, record)
            self._last = segment
            self._recent.append(Piece(segment, begins, begins + len(record), at_ms, batch))
            self._rows[segment] = self._rows.get(segment, 0) + len(samples) + len(annotations)

    def oldest(self, most_rows: int = ROWS_AT_ONCE) -> Piece | None:
        """What to send next, several batches of one segment together; None when everything was sent."""
        with self._lock:
            for segment in self._segments():
                begins = self._sent_of(segment)
                taken = self._remembered(segment, begins, most_rows) or self._read(segment, begins, most_rows)
                if taken:
                    whole = together([piece.batch for piece in taken])
                    return Piece(segment, taken[0].begins, taken[-1].ends, taken[0].at_ms, whole)
                if segment != self._last:
                    self._done_with(segment)
        return None

    def sent(self, piece: Piece) -> None:
        """The store has it. A crash right after may send it once more, which changes nothing there."""
        with self._lock:
            if not piece.segment.exists():
                return  # it was thinned or dropped meanwhile
            self._cursor = (piece.segment.name, piece.ends)
            self._rows[piece.segment] = self._rows.get(piece.segment, 0) - piece.batch.rows
            if piece.ends >= piece.segment.stat().st_size and piece.segment != self._last:
                self._done_with(piece.segment)
            with suppress(OSError):  # a full disk: after a restart some is sent again, which changes nothing
                (self.folder / CURSOR).write_text("{} {}".format(*self._cursor), encoding="utf-8")

    def set_aside(self, piece: Piece) -> Path:
        """Keeps what the store will never take in a file of its own, so that the rest can go on."""
        with self._lock:
            aside = self.folder / f"{piece.segment.stem}-{piece.begins}{REFUSED}"
            aside.write_bytes(piece.segment.read_bytes()[piece.begins : piece.ends])
            self._happened(REFUSED_ROWS, piece.batch.rows, f"{piece.batch.rows} rows were refused: see {aside.name}")
            self.sent(piece)
            return aside

    def backlog(self, now: datetime) -> Waiting:
        """What waits; the age is that of the oldest row."""
        with self._lock:
            first = self.oldest(1)
            segments = self._segments()
            size = sum(segment.stat().st_size - self._sent_of(segment) for segment in segments)
            rows = sum(self._rows.get(segment, 0) for segment in segments)
            since = moment(first.at_ms) if first else None
            return Waiting(rows, size, min(since, now) if since else None, False, self.problem)

    def keep_within_limits(self, now: datetime) -> None:
        """Thins, and then drops, the oldest segments until what waits is neither too much nor too old."""
        with self._lock:
            while (segments := self._segments()) and self._too_much(segments, now):
                whole = [segment for segment in segments if segment.suffix == WHOLE and segment != self._last]
                if whole:
                    self._thin(whole[0])
                elif segments[0] != self._last:
                    self._drop(segments[0])
                else:
                    return

    def _too_much(self, segments: list[Path], now: datetime) -> bool:
        if sum(segment.stat().st_size for segment in segments) > self.limits.most_bytes:
            return True
        oldest = next(frames(segments[0].read_bytes()), None)
        return oldest is not None and milliseconds(now) - oldest.at_ms > self.limits.most_days * DAY_MS

    def _thin(self, segment: Path) -> None:
        begins = self._sent_of(segment)
        whole = list(self._readable(segment.read_bytes(), begins))
        batch = thinned([batch for _, batch in whole])
        thin, fresh = segment.with_suffix(THIN), segment.with_suffix(".new")
        fresh.unlink(missing_ok=True)
        append(fresh, framed(to_bytes(batch), whole[0][0].at_ms if whole else 0))
        fresh.replace(thin)
        segment.unlink()
        self._rows.pop(segment, None)
        self._rows[thin] = batch.rows
        self._happened(THINNED_SEGMENTS, 1, "{} segments of the spool were thinned to minutes to make room")

    def _drop(self, segment: Path) -> None:
        rows = self._rows.get(segment, 0)
        self._done_with(segment)
        self._happened(DROPPED_ROWS, rows, "{} rows were dropped from the spool: it was full and the store away")

    def _happened(self, what: str, count: int, problem: str) -> None:
        """`problem` is said of the count, or stands for itself."""
        self.counts[what] += count
        self.problem = problem.replace("{}", str(self.counts[what]))
        keep_happened(self.folder, Happened(self._earlier + self.counts, self.problem))

    def _done_with(self, segment: Path) -> None:
        segment.unlink(missing_ok=True)
        self._rows.pop(segment, None)
        if segment == self._last:
            self._last = None

    def _sent_of(self, segment: Path) -> int:
        """How many bytes at its beginning the store has."""
        return self._cursor[1] if segment.name == self._cursor[0] else 0

    def _segments(self) -> list[Path]:
        return segments_in(self.folder)

    def _segment_for(self, size: int) -> Path:
        last = self._last
        if last is not None and last.exists() and last.stat().st_size + size <= self.limits.segment_bytes:
            return last
        numbers = [int(segment.stem) for segment in self._segments()] + [int(self._cursor[0].partition(".")[0] or 0)]
        return self.folder / f"{max(numbers) + 1:012d}{WHOLE}"

    def _mend(self, segment: Path) -> None:
        """Counts rows, and after a crash or damage keeps a copy of the file and only its whole records."""
        content = segment.read_bytes()
        self._rows[segment] = sum(batch.rows for _, batch in self._readable(content))
        lost = damaged_bytes(content)
        if not lost and torn_at(content) == len(content):
            return
        if lost:
            segment.with_name(f"{segment.name}.damaged").write_bytes(content)
            told = f"{segment.name}: {lost} bytes were damaged; a copy is kept as {segment.name}.damaged"
            self._happened(DAMAGED_BYTES, lost, told)
        fresh = segment.with_suffix(".new")
        fresh.unlink(missing_ok=True)
        append(fresh, b"".join(content[frame.begins : frame.ends] for frame in frames(content)))
        fresh.replace(segment)

    def _remembered(self, segment: Path, begins: int, most_rows: int) -> list[Piece]:
        """What was written just now need not be read back from the disk to be sent."""
        recent = self._recent
        while recent and (recent[0].segment, recent[0].begins) < (segment, begins):
            recent.popleft()
        if not recent or (recent[0].segment, recent[0].begins) != (segment, begins):
            return []
        return _up_to(most_rows, (piece for piece in recent if piece.segment == segment))

    def _read(self, segment: Path, begins: int, most_rows: int) -> list[Piece]:
        found = self._readable(_from(segment, begins))
        pieces = (Piece(segment, begins + one.begins, begins + one.ends, one.at_ms, batch) for one, batch in found)
        return _up_to(most_rows, pieces)

    def _readable(self, content: bytes, begins: int = 0) -> Iterator[tuple[Frame, Batch]]:
        """Whole records that are batches; others are counted as damaged and passed over."""
        for frame in frames(content, begins):
            try:
                yield frame, from_bytes(frame.body)
            except Unreadable as error:
                self._happened(DAMAGED_BYTES, len(frame.body), str(error))


def _up_to(most_rows: int, pieces: Iterable[Piece]) -> list[Piece]:
    taken, rows = [], 0
    for piece in pieces:
        taken.append(piece)
        rows += piece.batch.rows
        if rows >= most_rows:
            break
    return taken


def _from(path: Path, begins: int) -> bytes:
    with path.open("rb") as file:
        file.seek(begins)
        return file.read()
