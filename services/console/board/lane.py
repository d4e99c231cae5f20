"""One chamber's lane: the past as a line in its ribbon, what is wanted, what is expected, runs, marks and steps."""

from collections.abc import Iterable, Iterator
from html import escape

import numpy as np

from services.console.board import runs
from services.console.board.curve import Curve
from services.console.board.programme import Corner, value_at
from services.console.board.scale import Difference, Plain, Scale, plain
from services.console.board.scene import Lane, View
from services.console.board.strip import draw_marks, step_strip
from services.console.board.ticks import midnights
from services.console.board.trace import trace
from services.console.board.window import BREADTH, Window
from services.console.units import difference_mark, figure, mark_of, number, scale

HEIGHT = 92.0
TOP, BOTTOM = 11.0, 70.0
COLUMN = 8.0
ROWS = {"compressor": 77.0, "pump": 77.0, "valve": 77.0, "heater": 86.0}
"""At which height runs of each kind of output stand: cold above, warm beneath; a fan follows others, and has none."""


def draw(lane: Lane, view: View) -> str:
    """The lane's middle, as HTML: heights' labels, the drawing, marks, steps."""
    pen = _Pen(lane, view)
    shapes = "".join((*pen.ribbons(), *pen.limits(), *pen.lines(), *_bars(lane, view)))
    return (
        f'<div class="heights" aria-hidden="true">{pen.labels()}</div>'
        f'<div class="plot" role="img" aria-label="{escape(summary(lane, view))}" data-trace="{trace(lane, view)}">'
        f'<svg viewBox="0 0 {BREADTH:g} {HEIGHT:g}" preserveAspectRatio="none" aria-hidden="true">'
        f"{days(view, HEIGHT)}{shapes}</svg>{pen.limit_words()}{draw_marks(lane.marks, view)}{_bare(lane)}</div>"
        f"{step_strip(lane.steps, view)}"
    )


def summary(lane: Lane, view: View) -> str:
    """The picture in a sentence, for who does not see it."""
    if not len(lane.beer):
        return f"{lane.title}: nothing recorded in this stretch of time."
    low, high, mark = float(np.min(lane.beer.low)), float(np.max(lane.beer.high)), mark_of("temperature", view.units)
    shown = [figure(number("temperature", one, view.units), 1) for one in (low, high)]
    wanted = value_at(lane.ahead, view.now_ms) if lane.ahead else None
    asked = "" if wanted is None else f" Wanted now: {figure(number('temperature', wanted, view.units), 1)} {mark}."
    return f"{lane.title}: between {shown[0]} and {shown[1]} {mark} in this stretch of time.{asked}"


def _bare(lane: Lane) -> str:
    return "" if len(lane.beer) > 1 else '<span class="bare">nothing recorded in this stretch of time yet</span>'


def days(view: View, height: float) -> str:
    """A hairline at every midnight."""
    at = "".join(f"M{view.window.x(one):.1f} 0V{height:g}" for one in midnights(view.window, view.zone))
    return f'<path class="days" d="{at}"/>' if at else ""


def polyline(curve: Curve, window: Window, levels: Scale, gap_ms: int) -> str:
    """Through least and greatest of each point, the nearer one first; a gap is a gap."""
    return "".join("M" + "L".join(_points(piece, window, levels)) for piece in curve.stretches(gap_ms))


def area(upper: Iterable[tuple[float, float]], lower: Iterable[tuple[float, float]]) -> str:
    """What lies between two lines of points in drawing units."""
    outline = [*upper, *reversed(list(lower))]
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in outline) + "Z" if outline else ""


class _Pen:
    """Draws one lane on its scale: the visitor's degrees, or kelvins from what is wanted."""

    def __init__(self, lane: Lane, view: View) -> None:
        self._lane, self._view = lane, view
        _, self._per, self._zero, _ = scale("temperature", view.units)
        self._levels = self._choose()

    def labels(self) -> str:
        """The scale's marks at their heights."""
        unit = difference_mark(self._view.units) if self._view.difference else ""
        spans = [
            f'<span style="top:{self._levels.y(at) / HEIGHT * 100:.1f}%">{words}</span>'
            for at, words in self._levels.marks()
        ]
        return "".join(spans) + (f'<i class="of">{unit}</i>' if unit else "")

    def ribbons(self) -> Iterator[str]:
        """What is tolerated about what was and is wanted, and the range of what is expected."""
        lane = self._lane
        for piece in lane.wanted.stretches(10**12):
            yield f'<path class="ribbon" d="{self._past_ribbon(piece)}"/>'
        corners = self._future_corners()
        if corners:
            upper, lower = ([self._at(at, c + side * lane.tolerance_k) for at, c in corners] for side in (1, -1))
            yield f'<path class="ribbon ahead" d="{area(upper, lower)}"/>'
        if lane.forecast and lane.forecast.at_ms:
            high = [self._at(*one) for one in zip(lane.forecast.at_ms, lane.forecast.high, strict=True)]
            low = [self._at(*one) for one in zip(lane.forecast.at_ms, lane.forecast.low, strict=True)]
            yield f'<path class="likely" d="{area(high, low)}"/>'

    def limits(self) -> Iterator[str]:
        """Dotted, where they are in view."""
        for _, y in self._limits():
            yield f'<path class="limit" d="M0 {y:.1f}H{BREADTH:g}"/>'

    def limit_words(self) -> str:
        """What they are, above each."""
        words = (f'<span class="limit-words" style="top:{y / HEIGHT * 100:.1f}%">{w}</span>' for w, y in self._limits())
        return "".join(words)

    def lines(self) -> Iterator[str]:
        """Wanted, then beer over it, then what is expected."""
        lane, view = self._lane, self._view
        stepped = "".join("M" + "L".join(self._steps(piece)) for piece in lane.wanted.stretches(10**12))
        yield f'<path class="wanted" d="{stepped}"/>'
        corners = [self._at(*one) for one in self._future_corners()]
        if corners:
            yield f'<path class="wanted ahead" d="M{"L".join(f"{x:.1f} {y:.1f}" for x, y in corners)}"/>'
        yield f'<path class="beer" d="{polyline(self._shown_beer(), view.window, self._levels, lane.gap_ms)}"/>'
        if lane.forecast and lane.forecast.at_ms:
            points = [self._at(*one) for one in zip(lane.forecast.at_ms, lane.forecast.likely, strict=True)]
            yield f'<path class="expected" d="M{"L".join(f"{x:.1f} {y:.1f}" for x, y in points)}"/>'

    def _limits(self) -> list[tuple[str, float]]:
        if self._view.difference:
            return []
        return [(escape(one.words), self._levels.y(one.value_c * self._per + self._zero)) for one in self._lane.limits]

    def _choose(self) -> Plain | Difference:
        if self._view.difference:
            return Difference(TOP, BOTTOM, self._per)
        return plain(self._all_values(), TOP, BOTTOM, 4.0 * self._per)

    def _all_values(self) -> Iterator[float]:
        lane = self._lane
        yield from (float(value) for curve in (lane.beer, lane.wanted) for value in self._extremes(curve))
        yield from (c * self._per + self._zero for _, c in self._future_corners())
        yield from (one.value_c * self._per + self._zero for one in lane.limits)
        if lane.forecast and lane.forecast.at_ms:
            ends = (min(lane.forecast.low), max(lane.forecast.high))
            yield from (c * self._per + self._zero for c in ends)

    def _extremes(self, curve: Curve) -> list[float]:
        if not len(curve):
            return []
        shown = curve.scaled(self._per, self._zero)
        return [float(np.min(shown.low)), float(np.max(shown.high))]

    def _shown_beer(self) -> Curve:
        if self._view.difference:
            return self._lane.beer.minus(self._lane.wanted)
        return self._lane.beer.scaled(self._per, self._zero)

    def _future_corners(self) -> list[Corner]:
        lane, window = self._lane, self._view.window
        start = max(self._view.now_ms, window.start_ms)
        if not lane.ahead or start >= window.end_ms:
            return []
        inner = [one for one in lane.ahead if start < one[0] < window.end_ms]
        return [(start, value_at(lane.ahead, start)), *inner, (window.end_ms, value_at(lane.ahead, window.end_ms))]

    def _at(self, at_ms: int, celsius: float) -> tuple[float, float]:
        """A point of the future."""
        x = min(BREADTH, max(0.0, self._view.window.x(at_ms)))
        if self._view.difference:
            return x, self._levels.y(celsius - value_at(self._lane.ahead, at_ms) if self._lane.ahead else 0.0)
        return x, self._levels.y(celsius * self._per + self._zero)

    def _past_at(self, at_ms: int, wanted_c: float, beside_k: float = 0.0) -> tuple[float, float]:
        value = beside_k if self._view.difference else (wanted_c + beside_k) * self._per + self._zero
        return max(0.0, self._view.window.x(at_ms)), self._levels.y(value)

    def _past_corners(self, piece: Curve) -> list[Corner]:
        """Only where it changes: a setpoint holds until the next is told, at the latest until now."""
        values, at = piece.last, piece.at_ms
        if not len(at):
            return []
        changed = np.flatnonzero(np.diff(values) != 0) + 1
        kept = sorted({0, *changed.tolist(), *(changed - 1).tolist(), len(at) - 1})
        until = min(self._view.now_ms, self._view.window.end_ms)
        corners = [(int(at[index]), float(values[index])) for index in kept]
        return [*corners, (max(until, corners[-1][0]), corners[-1][1])]

    def _steps(self, piece: Curve) -> Iterator[str]:
        for x, y in (self._past_at(*one) for one in self._past_corners(piece)):
            yield f"{x:.1f} {y:.1f}"

    def _past_ribbon(self, piece: Curve) -> str:
        lane, corners = self._lane, self._past_corners(piece)
        widths = [lane.tolerance.value_at(at) or lane.tolerance_k for at, _ in corners]
        sides = ([self._past_at(*one, side * k) for one, k in zip(corners, widths, strict=True)] for side in (1, -1))
        return area(*sides)


def _points(piece: Curve, window: Window, levels: Scale) -> Iterator[str]:
    before: float | None = None
    for at, low, high in zip(piece.at_ms.tolist(), piece.low.tolist(), piece.high.tolist(), strict=True):
        x, ends = window.x(at), (levels.y(low), levels.y(high))
        if abs(ends[0] - ends[1]) < 0.4:
            before = (ends[0] + ends[1]) / 2
            yield f"{x:.1f} {before:.1f}"
            continue
        start = before if before is not None else ends[0]
        first, second = sorted(ends, key=lambda y: abs(y - start))
        before = second
        yield f"{x:.1f} {first:.1f}"
        yield f"{x:.1f} {second:.1f}"


def _bars(lane: Lane, view: View) -> Iterator[str]:
    for drives, ran in lane.ran.items():
        pieces = runs.bars(ran, view.window) if drives in ROWS else []
        if runs.crowded(ran, pieces):
            columns = runs.columns(runs.shares(ran, view.window), ROWS[drives] + COLUMN / 2, COLUMN)
            yield f'<path class="duty {drives}" d="{columns}"/>'
        elif pieces:
            yield f'<path class="run {drives}" d="{runs.path(pieces, ROWS[drives])}"/>'
