"""Calibration: what a probe reads, put right by one or two points."""

from collections.abc import Callable

from schemas.plant import Calibration, Measure


def correction(calibration: Calibration | None, measures: Measure) -> Callable[[float], float] | None:
    """One point shifts, two points shift and stretch; None when there is nothing to put right.

    Raises ValueError for points that fix no straight line; the plant file's checks find those before.
    """
    if calibration is None or measures is Measure.CONTACT:
        return None
    reads, true = calibration.reads, calibration.true
    if len(reads) != len(true) or len(set(reads)) != len(reads):
        raise ValueError(f"points {reads} against {true} fix no straight line; give one or two different pairs")
    slope = (true[1] - true[0]) / (reads[1] - reads[0]) if len(reads) == 2 else 1.0
    offset = true[0] - slope * reads[0]
    return lambda value: slope * value + offset
