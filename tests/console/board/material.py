"""Made-up pasts and plans to draw."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from schemas.batches import BatchPhase, BatchState, PlannedStep
from schemas.control import Setpoint
from services.console.board.curve import Curve, Numbers, Times, curve
from services.console.board.window import HOUR_MS, Window, milliseconds

NOON = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)
NOW_MS = milliseconds(NOON)


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """What history would answer."""

    edges_ms: Times
    min: Numbers
    mean: Numbers
    max: Numbers
    last: Numbers


def buckets(values: list[float], start_ms: int = 0, bucket_ms: int = HOUR_MS) -> Found:
    """One value a bucket; NaN is a gap."""
    column = np.array(values, dtype=float)
    edges = start_ms + bucket_ms * np.arange(len(values) + 1, dtype=np.int64)
    return Found(edges, column, column, column, column)


def line(values: list[float], window: Window) -> Curve:
    """Evenly over a window."""
    return curve(buckets(values, window.start_ms, window.span_ms // len(values)), len(values))


def step(name: str, begins_h: float | None, ends_h: float | None, to_c: float, **more: Any) -> PlannedStep:
    """Hours from NOON."""
    at = [None if hours is None else NOON + timedelta(hours=hours) for hours in (begins_h, ends_h)]
    fields = {"does": "hold", "from_c": to_c, "to_c": to_c, "begins": at[0], "ends": at[1]}
    return PlannedStep(name=name, **{**fields, **more})


def batch(*steps: PlannedStep, running: int | None = 0, phase: BatchPhase = BatchPhase.RUNNING) -> BatchState:
    """A beer on its way."""
    return BatchState(
        at=NOON,
        source="scheduler",
        batch="41-oat-pale",
        title="Oat pale",
        chamber="ale-fridge",
        profile="pale",
        phase=phase,
        started=NOON,
        step=running,
        steps=steps,
    )


def setpoint(celsius: float, **more: Any) -> Setpoint:
    """What is asked of the ale fridge."""
    return Setpoint(at=NOON, source="scheduler", chamber="ale-fridge", temperature_c=celsius, **more)
