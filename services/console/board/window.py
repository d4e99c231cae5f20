"""The stretch of time that the board shows, the same for every lane."""

from dataclasses import dataclass
from datetime import UTC, datetime

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
SHORTEST_MS = HOUR_MS
LONGEST_MS = 56 * DAY_MS
BREADTH = 1000.0
"""How broad every drawing is in its own units; the browser stretches it to the room there is."""
SPANS: tuple[tuple[str, int], ...] = (
    ("1 h", HOUR_MS),
    ("6 h", 6 * HOUR_MS),
    ("1 d", DAY_MS),
    ("3 d", 3 * DAY_MS),
    ("15 d", 15 * DAY_MS),
    ("8 w", LONGEST_MS),
)
USUAL_MS = 15 * DAY_MS
CLOSE_MS = 3 * DAY_MS
"""What is shown at first: of a site, and of one chamber."""
PAST_SHARE = 0.6
"""Of a window that follows the present, so much is past."""
FOLLOWS_WITHIN = (0.02, 0.98)


@dataclass(frozen=True, slots=True)
class Window:
    """From and to, in milliseconds since 1970; an hour at least and eight weeks at most."""

    start_ms: int
    end_ms: int

    @property
    def span_ms(self) -> int:
        """How long it is."""
        return self.end_ms - self.start_ms

    @property
    def start(self) -> datetime:
        """As a moment."""
        return datetime.fromtimestamp(self.start_ms / 1000, UTC)

    @property
    def end(self) -> datetime:
        """As a moment."""
        return datetime.fromtimestamp(self.end_ms / 1000, UTC)

    def x(self, at_ms: float) -> float:
        """Where a moment stands in a drawing; outside 0 to BREADTH when it is not in the window."""
        return (at_ms - self.start_ms) / self.span_ms * BREADTH

    def percent(self, at_ms: float) -> float:
        """The same in per cent, within the window."""
        return min(100.0, max(0.0, self.x(at_ms) / BREADTH * 100.0))

    def holds(self, at_ms: float) -> bool:
        """Whether a moment is in it."""
        return self.start_ms <= at_ms <= self.end_ms

    def follows(self, now_ms: int) -> bool:
        """Whether it shows the present, and so is to move on with it."""
        low, high = FOLLOWS_WITHIN
        return low <= (now_ms - self.start_ms) / self.span_ms <= high


def around(now_ms: int, span_ms: int = USUAL_MS) -> Window:
    """A window that shows the present at its usual place."""
    span = _allowed(span_ms)
    start = now_ms - round(span * PAST_SHARE)
    return Window(start, start + span)


def between(start_ms: float, end_ms: float) -> Window:
    """What somebody zoomed or dragged to, brought within what is allowed about its middle."""
    span = _allowed(end_ms - start_ms)
    start = round((start_ms + end_ms - span) / 2)
    return Window(start, start + span)


def spanning(window: Window, span_ms: int, now_ms: int) -> Window:
    """Another span: about the present when that is in view, else about the window's middle."""
    if window.holds(now_ms):
        return around(now_ms, span_ms)
    middle = (window.start_ms + window.end_ms) / 2
    return between(middle - span_ms / 2, middle + span_ms / 2)


def shifted(window: Window, by_ms: int) -> Window:
    """The same span, earlier or later."""
    return Window(window.start_ms + by_ms, window.end_ms + by_ms)


def milliseconds(at: datetime) -> int:
    """Milliseconds since 1970."""
    return round(at.timestamp() * 1000)


def _allowed(span_ms: float) -> int:
    return round(min(LONGEST_MS, max(SHORTEST_MS, span_ms)))
