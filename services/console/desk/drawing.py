"""Small pictures as SVG: they take their colours from the page, so one picture serves both themes and paper."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape
from zoneinfo import ZoneInfo

from services.console.desk.curves import Curve

WIDTH, HEIGHT = 560, 300
LEFT, RIGHT, TOP, BOTTOM = 58, 14, 16, 46
Points = Sequence[tuple[datetime, float | None]]
STRIDES = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Scale:
    """From a quantity to a place along one side of the picture."""

    low: float
    high: float
    begin: float
    end: float

    def __call__(self, value: float) -> float:
        return self.begin + (value - self.low) / (self.high - self.low) * (self.end - self.begin)


def ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round numbers from `low` to `high`, roughly so many; both ends are kept out where they are not round."""
    if not high > low:
        return [low]
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    stride = next(power * step for step in STRIDES if power * step >= raw * 0.999)
    first = math.ceil(low / stride - 1e-9)
    return [
        round(stride * (first + count), 12) + 0.0 for count in range(int((high - first * stride) / stride + 1e-9) + 1)
    ]


def number(value: float) -> str:
    """A tick's figure, with a true minus sign."""
    text = f"{value:,.6g}" if abs(value) >= 1e-4 or not value else f"{value:.0e}"
    return text.replace("-", "−")


def curve_picture(curve: Curve, title: str) -> str:
    """An answer's curve with the place where it stands now."""
    xs, ys = [x for x, _ in curve.points], [y for _, y in curve.points]
    across = Scale(min(xs), max(xs), LEFT, WIDTH - RIGHT)
    low, high = _roomy(min(ys), max(ys))
    up = Scale(low, high, HEIGHT - BOTTOM, TOP)
    line = " ".join(f"{across(x):.1f},{up(y):.1f}" for x, y in curve.points)
    told = f"{curve.y.label} from {number(ys[0])} to {number(ys[-1])} {curve.y.unit}, along {curve.x.label}"
    parts = [
        *_rules(up, [number(value) for value in ticks(low, high)], ticks(low, high)),
        *_feet(across, ticks(across.low, across.high, 6), number),
        f'<polyline class="drawn" points="{line}"/>',
        *(_here(curve, across, up) if curve.here else ()),
        _words(LEFT, HEIGHT - 8, _named(curve.x.label, curve.x.unit), "axis"),
        _words(LEFT, TOP - 3, _named(curve.y.label, curve.y.unit), "axis"),
    ]
    return picture(parts, f"{title} {told}.", WIDTH, HEIGHT)


@dataclass(frozen=True, slots=True)
class Strip:
    """One step of a course along the time axis; `late` is the end of the range in which it is expected to end."""

    name: str
    begins: datetime
    ends: datetime
    from_c: float | None = None
    to_c: float | None = None
    done: bool = False
    earliest: datetime | None = None
    latest: datetime | None = None


@dataclass(frozen=True, slots=True)
class Course:
    """What a picture of a batch shows: steps, the beer's temperature so far, now."""

    strips: Sequence[Strip]
    beer: Points
    now: datetime | None
    degrees: Callable[[float], float]
    unit: str
    wanted: Points = ()
    """What was asked for, where that is known point by point; steps then need no temperatures."""


def course_pictures(course: Course, title: str, zone: ZoneInfo) -> str:
    """One for wide screens and one for phones; the page's style shows the one that fits."""
    wide, narrow = course_picture(course, title, zone), course_picture(course, title, zone, 420)
    return f'<div class="if-wide">{wide}</div><div class="if-narrow">{narrow}</div>'


def course_picture(course: Course, title: str, zone: ZoneInfo, wide: int = 900) -> str:
    """Steps as an outline of what is wanted, the beer as a line, the future on tinted ground with its likely ends."""
    high = 300
    moments: list[datetime] = [
        *(at for one in course.strips for at in (one.begins, one.latest or one.ends)),
        *(at for at, _ in course.beer),
    ]
    if not moments:
        return ""
    across = Scale(
        min(moments).timestamp(), max(max(moments), min(moments) + timedelta(hours=1)).timestamp(), LEFT, wide - RIGHT
    )
    asked = [one for strip in course.strips for one in (strip.from_c, strip.to_c)]
    known = [*asked, *(one for _, one in (*course.beer, *course.wanted))]
    temps = [course.degrees(one) for one in known if one is not None]
    bottom, top = _roomy(min(temps), max(temps))
    up = Scale(bottom, top, high - BOTTOM, TOP + 14)
    parts = [
        *_future(course, across, high),
        *_rules(up, [number(one) for one in ticks(bottom, top)], ticks(bottom, top), wide),
        *_days(across, zone, high, wide),
        *(_likely_end(one, across, high) for one in course.strips if one.earliest and one.latest),
        *(_strip(one, across, up, course) for one in course.strips),
        *_line(course.wanted, "asked", course, across, up),
        *_line(course.beer, "drawn", course, across, up),
        *(_label(one, across) for one in course.strips),
        _words(4, TOP - 3, course.unit, "axis"),
    ]
    return picture(parts, title, wide, high)


def bars_picture(counts: Sequence[tuple[str, Sequence[tuple[str, int]]]], title: str) -> str:
    """A bar a day, in pieces of a kind each: `counts` has (day, ((kind, how many), ...)). The total stands on top."""
    wide, high = 560, 170
    most = max((sum(count for _, count in kinds) for _, kinds in counts), default=0)
    up = Scale(0, max(most, 4), high - 28, 18)
    width = (wide - LEFT - RIGHT) / max(len(counts), 1)
    parts = list(_rules(up, [number(one) for one in _wholes(up.high)], _wholes(up.high), wide))
    for place, (day, kinds) in enumerate(counts):
        parts.extend(_bar(LEFT + place * width, width, up, kinds))
        if len(counts) <= 10 or place % 5 == 0 or place == len(counts) - 1:
            parts.append(_words(LEFT + (place + 0.5) * width, high - 10, day, "tick middle"))
    return picture(parts, title, wide, high)


def picture(parts: Iterable[str], title: str, wide: int, high: int) -> str:
    """The whole of it; `title` is what somebody hears who cannot see it."""
    return (
        f'<svg class="picture" viewBox="0 0 {wide} {high}" role="img" aria-label="{escape(title, quote=True)}">'
        f"{''.join(parts)}</svg>"
    )


def _roomy(low: float, high: float) -> tuple[float, float]:
    room = (high - low) * 0.06 or max(abs(high) * 0.1, 0.5)
    floor = 0.0 if low >= 0 > low - room else low - room
    return floor, high + room


def _wholes(high: float) -> list[float]:
    return [one for one in ticks(0, high, 4) if one == int(one)]


def _rules(up: Scale, said: Sequence[str], values: Sequence[float], wide: int = WIDTH) -> Iterable[str]:
    for text, value in zip(said, values, strict=True):
        y = up(value)
        yield f'<line class="rule" x1="{LEFT}" x2="{wide - RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'
        yield _words(LEFT - 7, y + 4, text, "tick end")


def _feet(across: Scale, values: Sequence[float], say: Callable[[float], str]) -> Iterable[str]:
    for value in values:
        yield _words(across(value), HEIGHT - BOTTOM + 17, say(value), "tick middle")


def _here(curve: Curve, across: Scale, up: Scale) -> Iterable[str]:
    assert curve.here is not None
    x, y = across(curve.here[0]), up(curve.here[1])
    yield f'<line class="drop" x1="{x:.1f}" x2="{x:.1f}" y1="{y:.1f}" y2="{HEIGHT - BOTTOM}"/>'
    yield f'<circle class="here" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
    side, gap = ("end", -9) if x > WIDTH * 0.7 else ("begin", 9)
    falls = curve.points[-1][1] < curve.points[0][1]
    below = falls if side == "end" else not falls  # where the curve does not run
    said = f"{number(float(f'{curve.here[1]:.3g}'))} {curve.y.unit}"
    yield _words(x + gap, y + 19 if below else max(y - 9, TOP + 10), said, f"said {side}")


def _future(course: Course, across: Scale, high: int) -> Iterable[str]:
    if course.now is None or course.now.timestamp() >= across.high:
        return
    x = max(across(course.now.timestamp()), LEFT)
    yield f'<rect class="ahead" x="{x:.1f}" y="{TOP}" width="{across.end - x:.1f}" height="{high - BOTTOM - TOP}"/>'
    yield f'<line class="now" x1="{x:.1f}" x2="{x:.1f}" y1="{TOP}" y2="{high - BOTTOM}"/>'


def _days(across: Scale, zone: ZoneInfo, high: int, wide: int) -> Iterable[str]:
    begin, end = (datetime.fromtimestamp(one, zone) for one in (across.low, across.high))
    days = max((end - begin).days, 0)
    every = max(1, round(days / (wide / 130)))
    day = begin.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    if days < 2:
        yield from (
            _words(across(at.timestamp()), high - BOTTOM + 17, f"{at:%a %H:%M}", "tick middle")
            for at in _hours(begin, end, wide)
        )
        return
    while day <= end:
        x = across(day.timestamp())
        yield f'<line class="day" x1="{x:.1f}" x2="{x:.1f}" y1="{high - BOTTOM}" y2="{high - BOTTOM + 5}"/>'
        yield _words(x, high - BOTTOM + 18, f"{day:%a %d %b}".replace(" 0", " "), "tick middle")
        day += timedelta(days=every)


def _hours(begin: datetime, end: datetime, wide: int) -> Iterable[datetime]:
    every = max(1, round((end - begin).total_seconds() / 3600 / (wide / 130)))
    at = begin.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
    while at <= end:
        yield at
        at += timedelta(hours=every)


def _likely_end(one: Strip, across: Scale, high: int) -> str:
    assert one.earliest is not None
    assert one.latest is not None
    x, to = across(one.earliest.timestamp()), across(one.latest.timestamp())
    title = f"{escape(one.name)} is expected to end in this range, four times in five"
    return (
        f'<rect class="range" x="{x:.1f}" y="{high - BOTTOM - 8}" width="{max(to - x, 2):.1f}" height="8">'
        f"<title>{title}</title></rect>"
    )


def _strip(one: Strip, across: Scale, up: Scale, course: Course) -> str:
    if one.from_c is None or one.to_c is None:
        return ""
    x, to = across(one.begins.timestamp()), across(one.ends.timestamp())
    y, then = up(course.degrees(one.from_c)), up(course.degrees(one.to_c))
    return f'<polyline class="asked{"" if one.done else " planned"}" points="{x:.1f},{y:.1f} {to:.1f},{then:.1f}"/>'


def _line(points: Points, looks: str, course: Course, across: Scale, up: Scale) -> Iterable[str]:
    """In pieces, where something is missing between."""
    run: list[str] = []
    for at, value in points:
        if value is not None:
            run.append(f"{across(at.timestamp()):.1f},{up(course.degrees(value)):.1f}")
        elif run:
            yield f'<polyline class="{looks}" points="{" ".join(run)}"/>'
            run = []
    if run:
        yield f'<polyline class="{looks}" points="{" ".join(run)}"/>'


def _label(one: Strip, across: Scale) -> str:
    x, to = across(one.begins.timestamp()), across(one.ends.timestamp())
    fits = max(int((to - x) / 7), 0)
    name = one.name if len(one.name) <= fits else f"{one.name[: fits - 1]}…" if fits > 3 else ""
    edge = f'<line class="edge" x1="{x:.1f}" x2="{x:.1f}" y1="{TOP}" y2="{TOP + 12}"/>'
    return edge + (_words(x + 4, TOP + 10, name, "step") if name else "")


def _bar(x: float, width: float, up: Scale, kinds: Sequence[tuple[str, int]]) -> Iterable[str]:
    base = 0
    left, wide = x + width * 0.14, width * 0.72
    for kind, count in kinds:
        if count:
            top, foot = up(base + count), up(base)
            place = f'x="{left:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{foot - top:.1f}"'
            yield f'<rect class="bar {kind}" {place}><title>{count} {escape(kind)}</title></rect>'
            base += count
    if base:
        yield _words(x + width / 2, up(base) - 4, str(base), "said middle")


def _named(label: str, unit: str) -> str:
    return f"{label} ({unit})" if unit else label


def _words(x: float, y: float, text: str, classes: str) -> str:
    return f'<text class="{classes}" x="{x:.1f}" y="{y:.1f}">{escape(text)}</text>'
