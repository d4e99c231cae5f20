"""When outputs ran, as bars that can be seen however short a run is; and marks that stand too close, as one."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from services.console.board.window import BREADTH, Window

Run = tuple[int, int]
LEAST_BREADTH = 1.1
"""In drawing units: about a pixel and a half."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened at one moment. `count` says for how many it stands."""

    at_ms: int
    kind: Literal["door", "alarm"]
    words: str
    count: int = 1


def bars(runs: Iterable[Run], window: Window) -> list[tuple[float, float]]:
    """From and to in drawing units, in order; what would touch is one, so that nothing is drawn twice."""
    found: list[tuple[float, float]] = []
    for start_ms, end_ms in sorted(runs):
        low, high = max(0.0, window.x(start_ms)), min(BREADTH, window.x(end_ms))
        if high < 0 or low > BREADTH or end_ms < start_ms:
            continue
        high = max(high, low + LEAST_BREADTH)
        if found and low - found[-1][1] < LEAST_BREADTH / 2:
            found[-1] = (found[-1][0], max(found[-1][1], high))
        else:
            found.append((low, high))
    return found


def path(pieces: Sequence[tuple[float, float]], y: float) -> str:
    """The bars as one SVG path along a height."""
    return "".join(f"M{low:.1f} {y:g}H{high:.1f}" for low, high in pieces)


def together(marks: Iterable[Mark], window: Window, room: float) -> list[Mark]:
    """Marks of one kind nearer than `room` drawing units become one, at the first's place; out of view, none."""
    found: list[Mark] = []
    for mark in sorted(marks, key=lambda one: (one.kind, one.at_ms)):
        if not window.holds(mark.at_ms):
            continue
        last = found[-1] if found else None
        if last and last.kind == mark.kind and window.x(mark.at_ms) - window.x(last.at_ms) < room:
            found[-1] = Mark(last.at_ms, last.kind, mark.words, last.count + 1)
        else:
            found.append(mark)
    return found
