"""The one shape that every benchmark prints."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One measured figure; `goal` is written as people read it (`<= 3`), `holds` is None where there is none."""

    benchmark: str
    figure: str
    value: float
    unit: str
    baseline: float | None = None
    ratio: float | None = None
    goal: str = ""
    holds: bool | None = None


def at_most(
    benchmark: str,
    figure: str,
    value: float,
    unit: str,
    goal: float,
    baseline: float | None = None,
    ratio: float | None = None,
) -> Row:
    """A figure that must not pass its goal; NaN never holds."""
    return Row(benchmark, figure, value, unit, baseline, ratio, f"<= {goal:g}", value <= goal)


def at_least(
    benchmark: str,
    figure: str,
    value: float,
    unit: str,
    goal: float,
    baseline: float | None = None,
    ratio: float | None = None,
) -> Row:
    """A figure that must reach its goal; NaN never holds."""
    return Row(benchmark, figure, value, unit, baseline, ratio, f">= {goal:g}", value >= goal)


def between(benchmark: str, figure: str, value: float, unit: str, low: float, high: float) -> Row:
    """A figure that must lie in a band, ends included."""
    return Row(benchmark, figure, value, unit, None, None, f"{low:g} to {high:g}", low <= value <= high)
