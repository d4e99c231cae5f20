"""Putting a temperature probe right: from what it shows and what is true, to the block for the plant file."""

from collections.abc import Sequence
from dataclasses import dataclass

from brewing import calibration
from brewing.calibration import Point
from brewing.errors import OutOfRange
from schemas.plant import Calibration

Pair = tuple[float, float]
"""What the probe shows now, and what is true; degC."""


@dataclass(frozen=True, slots=True)
class Advice:
    """`block` is what to paste; `problem` says why there is none. The rest is in kelvins."""

    block: str = ""
    problem: str = ""
    shift_k: float = 0.0
    slope: float = 1.0
    uncertainty_k: float = 0.0


def advise(probe: str, known: Calibration | None, pairs: Sequence[Pair]) -> Advice:
    """One pair shifts, two shift and stretch. What a probe shows was put right by `known`; that is undone first."""
    raw = [(as_read(shown, known), true) for shown, true in pairs]
    try:
        points = sorted(Point(read, true) for read, true in raw)
        found = calibration.one_point(points[0]) if len(points) == 1 else calibration.two_point(*points[:2])
        off = found.uncertainty(points[-1].read_c)
    except OutOfRange as error:
        return Advice(problem=str(error))
    return Advice(block(probe, [(one.read_c, one.true_c) for one in points]), "", found.offset_c, found.slope, off)


def as_read(shown_c: float, known: Calibration | None) -> float:
    """What the device itself says when a probe shows this."""
    if known is None:
        return shown_c
    slope = (known.true[1] - known.true[0]) / (known.reads[1] - known.reads[0]) if len(known.reads) == 2 else 1.0
    return (shown_c - known.true[0]) / slope + known.reads[0]


def block(probe: str, pairs: Sequence[Pair]) -> str:
    """The lines for the plant file."""
    reads, true = (", ".join(f"{pair[side]:.2f}" for pair in pairs) for side in (0, 1))
    return f"{probe}:\n  calibration: {{reads: [{reads}], true: [{true}]}}"
