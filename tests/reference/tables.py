"""Reads the reference tables beside it: values from outside the project, each with its source and tolerance."""

import csv
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent

_EQUATION_LEVEL = re.compile(r"equation-level(?: check: tol)? ([0-9.e-]*[0-9])", re.IGNORECASE)


@dataclass(frozen=True)
class Row:
    """One value; both tolerances are None where a convention or a range is stated, not a figure to assert."""

    id: str
    table: str
    quantity: str
    inputs: dict[str, Any]
    expected: float | str | bool
    unit: str
    tol_abs: float | None
    tol_rel: float | None
    tolerance_why: str
    source: str
    provenance: str
    notes: str

    @property
    def key(self) -> tuple[str, str]:
        """Table and quantity: what one evaluator answers."""
        return self.table, self.quantity

    @property
    def allowed(self) -> float | None:
        """The stated tolerance in the row's unit, the wider of the two; None for a convention and for words."""
        if not isinstance(self.expected, float) or (self.tol_abs is None and self.tol_rel is None):
            return None
        return max(self.tol_abs or 0.0, (self.tol_rel or 0.0) * abs(self.expected))

    @property
    def equation_level(self) -> float | None:
        """How near the same equation must come, where the row says so."""
        found = _EQUATION_LEVEL.search(f"{self.tolerance_why} {self.notes}")
        return float(found[1]) if found else None


def tables(folder: Path = FOLDER) -> tuple[str, ...]:
    """The names of the tables, without `.csv`."""
    return tuple(sorted(path.stem for path in folder.glob("*.csv")))


def rows(table: str, folder: Path = FOLDER) -> tuple[Row, ...]:
    """Every row of one table."""
    with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as lines:
        return tuple(_row(table, record) for record in csv.DictReader(lines))


def every_row(folder: Path = FOLDER) -> Iterator[Row]:
    """Every row of every table."""
    for table in tables(folder):
        yield from rows(table, folder)


def document(name: str) -> Any:
    """One of the JSON files, by its name without `.json`."""
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def _row(table: str, record: dict[str, str]) -> Row:
    return Row(
        id=record["id"],
        table=table,
        quantity=record["quantity"],
        inputs=json.loads(record["inputs"]),
        expected=_value(record["expected"]),
        unit=record["unit"],
        tol_abs=_tolerance(record["tol_abs"]),
        tol_rel=_tolerance(record["tol_rel"]),
        tolerance_why=record["tolerance_why"],
        source=record["source"],
        provenance=record["provenance"],
        notes=record["notes"],
    )


def _value(written: str) -> float | str | bool:
    if written in ("True", "False"):
        return written == "True"
    try:
        return float(written)
    except ValueError:
        return written


def _tolerance(written: str) -> float | None:
    return float(written) if written else None
