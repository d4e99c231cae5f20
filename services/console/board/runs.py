"""When outputs ran, as bars that can be seen however short a run is; and marks that stand too close, as one."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from services.console.board.window import BREADTH, Window

Run = tuple[int, int]
LEAST_BREADTH = 1.1
"""In drawing units: about a pixel and a half."""
BINS = 250
MOST_TOLD_APART, FEW = 160, 24
LEAST_HEIGHT = 1.5


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


def crowded(runs: Sequence[Run], pieces: Sequence[tuple[float, float]]) -> bool:
    """Whether so many run into each other as bars that they would look like one long run."""
    return len(runs) > MOST_TOLD_APART or (len(runs) > FEW and len(pieces) < 0.7 * len(runs))


def shares(runs: Iterable[Run], window: Window, bins: int = BINS) -> NDArray[np.float64]:
    """How much of each of so many equal stretches of the window an output was on: 0 to 1."""
    edges = np.linspace(window.start_ms, window.end_ms, bins + 1)
    on_until = np.zeros(bins + 1)
    for start_ms, end_ms in runs:
        on_until += np.clip(edges, start_ms, max(start_ms, end_ms)) - start_ms
    return np.diff(on_until) / (window.span_ms / bins)


def columns(on: NDArray[np.float64], bottom: float, height: float) -> str:
    """The shares as one SVG path of columns, for runs too many to be told apart."""
    breadth = BREADTH / len(on)
    return "".join(
        f"M{index * breadth:.1f} {bottom:g}v{-max(LEAST_HEIGHT, on[index] * height):.1f}h{breadth:.1f}V{bottom:g}Z"
        for index in np.flatnonzero(on > 0.0).tolist()
    )


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
