"""Holds our own functions against the rows of the tables."""

import importlib
import pkgutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from tests.reference import evaluators, tables
from tests.reference.tables import Row

Value = float | str | bool

Evaluator = Callable[[Mapping[str, Any]], Value]

ELSEWHERE = {
    ("mqtt_topics", "*"): "topics are matched and refused by the contract's tests",
    ("ambient_temperature", "*"): "statistics of a public data set, which the simulator's weather reads",
    ("trade_facts", "cold crash temperature"): "words; cooling_thermal has the figure",
    ("trade_facts", "freezer glycol bath"): "words; cooling_thermal has the balance",
    ("trade_facts", "probe place"): "words; the supervisor controls on the beer's probe",
    ("trade_facts", "fans"): "words; the supervisor runs them",
}
"""What is no arithmetic, by table and quantity or "*", and what checks it."""
PRINTED_DIGITS = 0.005
"""Relative, for rows without a tolerance, printed to three digits; a module's TOLERANCES, absolute, go before it."""


@dataclass(frozen=True)
class Outcome:
    """A row with the value that we come to; `deviation` is None where the value is no number."""

    row: Row
    value: Value
    deviation: float | None
    allowed: float | None
    agrees: bool


@lru_cache(maxsize=1)
def known() -> dict[tuple[str, str], Evaluator]:
    """Every evaluator by table and quantity: a module is named after its table, or begins with the table's name."""
    return dict(_collected("EVALUATORS"))


@lru_cache(maxsize=1)
def habits() -> dict[tuple[str, str], tuple[float, float]]:
    """What a convention allows, for rows that state a customary figure and no tolerance."""
    return dict(_collected("HABITS"))


def reason_elsewhere(row: Row) -> str | None:
    """What checks a row that is no arithmetic; None where nothing does."""
    return ELSEWHERE.get(row.key) or ELSEWHERE.get((row.table, "*"))


def evaluate(row: Row) -> Outcome:
    """Works the row out with its evaluator. Raises KeyError where there is none."""
    value = known()[row.key](row.inputs)
    if not isinstance(row.expected, float):
        return Outcome(row, value, None, None, value == row.expected)
    deviation = float(value) - row.expected
    if row.allowed is None and row.key in habits():
        low, high = habits()[row.key]
        return Outcome(row, value, deviation, None, low <= float(value) <= high)
    allowed = _measured_difference(row) if row.allowed is None else row.allowed
    rounding = 1e-9 * max(1.0, abs(row.expected))
    return Outcome(row, value, deviation, allowed, abs(deviation) <= allowed + rounding)


def _measured_difference(row: Row) -> float:
    tolerances = dict(_collected("TOLERANCES"))
    return float(tolerances.get(row.key, PRINTED_DIGITS * abs(float(row.expected))))


def failing(folder: Path = tables.FOLDER) -> Iterator[str]:
    """What is wrong, a line for each row that deviates, breaks, or that nothing checks."""
    for row in tables.every_row(folder):
        if row.key in known():
            yield from _failure(row)
        elif reason_elsewhere(row) is None:
            yield f"{row.id}: nothing evaluates {row.quantity!r}"


def _failure(row: Row) -> Iterator[str]:
    try:
        outcome = evaluate(row)
    except Exception as error:  # a row that breaks is a row that fails
        yield f"{row.id}: {error!r}"
        return
    if not outcome.agrees:
        yield f"{row.id}: {row.quantity} {row.inputs} gives {outcome.value}, expected {row.expected} {row.unit}"


def _collected(name: str) -> Iterator[tuple[tuple[str, str], Any]]:
    for module in pkgutil.iter_modules(evaluators.__path__):
        found = importlib.import_module(f"{evaluators.__name__}.{module.name}")
        table = next(table for table in tables.tables() if module.name.startswith(table))
        for quantity, value in getattr(found, name, {}).items():
            yield (table, quantity), value
