"""Marks on the time axis, on the site's clocks: days begin at their local midnight, whatever daylight saving does."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from services.console.board.window import DAY_MS, HOUR_MS, MINUTE_MS, Window, milliseconds

LABEL_PX = 62.0
"""How much room a label wants."""
_STEPS_MS = tuple(one * MINUTE_MS for one in (5, 10, 15, 30, 60, 120, 180, 360, 720))
_STEPS_DAYS = (1, 2, 3, 7, 14)


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark at a moment; `day` where a day begins. An empty label is a mark only."""

    at_ms: int
    label: str
    day: bool


def ticks(window: Window, zone: ZoneInfo, width_px: float) -> list[Tick]:
    """As many as have room, labels clear of each other. The present is told in a row of its own above."""
    room = max(2.0, width_px / LABEL_PX)
    step_ms = next((step for step in _STEPS_MS if window.span_ms / step <= room), None)
    return list(_days(window, zone, room) if step_ms is None else _hours(window, zone, step_ms))


def midnights(window: Window, zone: ZoneInfo) -> list[int]:
    """Every local midnight in a window; a day of 23 or 25 hours is one day."""
    day = window.start.astimezone(zone).date()
    found = []
    while (at := milliseconds(datetime(day.year, day.month, day.day, tzinfo=zone))) <= window.end_ms:
        if at >= window.start_ms:
            found.append(at)
        day += timedelta(days=1)
    return found


def _days(window: Window, zone: ZoneInfo, room: float) -> Iterator[Tick]:
    every = next((days for days in _STEPS_DAYS if window.span_ms / DAY_MS / days <= room), _STEPS_DAYS[-1])
    for at in midnights(window, zone):
        day = _local(at, zone)
        named = every == 1 or (day.weekday() == 0 if every >= 7 else day.toordinal() % every == 0)
        if every == 14:
            named = day.weekday() == 0 and day.isocalendar().week % 2 == 0
        yield Tick(at, _day_words(day, every) if named else "", True)


def _hours(window: Window, zone: ZoneInfo, step_ms: int) -> Iterator[Tick]:
    """Whole steps of the local clock, counted anew from each midnight: an hour lost or doubled shifts nothing after."""
    starts = midnights(Window(window.start_ms - 25 * HOUR_MS, window.end_ms), zone)
    for begin, end in zip(starts, [*starts[1:], window.end_ms + 1], strict=True):
        for at in range(begin, end, min(step_ms, HOUR_MS)):
            local = _local(at, zone)
            minutes = local.hour * 60 + local.minute
            if window.holds(at) and minutes % (step_ms // MINUTE_MS) == 0:
                yield Tick(at, _day_words(local, 1) if at == begin else f"{local:%H:%M}", at == begin)


def _day_words(day: datetime, every: int) -> str:
    return f"{day:%a} {day.day}" if every < 7 else f"{day.day} {day:%b}"


def _local(at_ms: int, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone)
