"""`python -m tests.reference.sources`: writes `docs/sources.md` from the tables and from what we make of their rows."""

import importlib
import tomllib
from collections.abc import Iterable, Sequence
from itertools import groupby
from pathlib import Path

from tests.reference import evaluation, tables
from tests.reference.evaluation import Outcome

PAGE = Path(__file__).parents[2] / "docs" / "sources.md"
FORMULAS = Path(__file__).with_name("formulas.toml")

_HEAD = """# Where the arithmetic comes from

Written by `python -m tests.reference.sources` from the tables in `tests/reference/`; a test fails when it is stale.

Each line is one quantity: the formula as it is coded in `brewing/`, its source and provenance, how many rows agree,
and the largest deviation, with its share of the row's stated tolerance. *published*: read in a public copy; *library*:
computed with the library named; *common-practice*: a custom, no source; *memory*: known, not confirmed. A custom has
no tolerance: what is used here lies within its customary range. Rows of `cross agreement` compare methods.
"""


def formulas() -> dict[tuple[str, str], tuple[str, str]]:
    """Formula and function for each table and quantity."""
    written = tomllib.loads(FORMULAS.read_text(encoding="utf-8"))
    return {(table, quantity): (said[0], said[1]) for table, rows in written.items() for quantity, said in rows.items()}


def exists(function: str) -> bool:
    """Whether `module.name`, or `module`, is there in `brewing`."""
    module, _, name = function.partition(".")
    return not name or hasattr(importlib.import_module(f"brewing.{module}"), name)


def page() -> str:
    """The whole page."""
    outcomes = [evaluation.evaluate(row) for row in tables.every_row() if row.key in evaluation.known()]
    sections = groupby(outcomes, key=lambda outcome: outcome.row.table)
    return "\n".join([_HEAD, *(_section(table, list(of_table)) for table, of_table in sections), _elsewhere()])


def _section(table: str, outcomes: Sequence[Outcome]) -> str:
    quantities: dict[str, list[Outcome]] = {}
    for outcome in outcomes:
        quantities.setdefault(outcome.row.quantity, []).append(outcome)
    head = (
        f"## {table.replace('_', ' ')}\n",
        "| quantity | formula | function | source | provenance | rows | largest deviation |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    )
    return "\n".join((*head, *(_line(table, quantity, of_it) for quantity, of_it in quantities.items()), ""))


def _line(table: str, quantity: str, outcomes: Sequence[Outcome]) -> str:
    formula, function = formulas()[table, quantity]
    agreeing = sum(outcome.agrees for outcome in outcomes)
    sources = _each(outcome.row.source or "arithmetic" for outcome in outcomes)
    provenance = _each(outcome.row.provenance for outcome in outcomes)
    cells = (
        quantity,
        formula,
        f"`{function}`",
        "; ".join(sources),
        ", ".join(provenance),
        f"{agreeing} of {len(outcomes)}",
        _largest(outcomes),
    )
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _largest(outcomes: Sequence[Outcome]) -> str:
    measured = [outcome for outcome in outcomes if outcome.deviation is not None]
    if not measured:
        return "exact"
    worst = max(measured, key=_share)
    if worst.allowed is None:
        return f"custom: {float(worst.value):.4g} {worst.row.unit}, row {worst.row.expected:.4g}"
    size = abs(worst.deviation or 0.0)
    if size <= 1e-9 * max(1.0, abs(float(worst.row.expected))):
        return "none"
    return f"{size:.1e} {worst.row.unit}" + (f" ({_percent(_share(worst))} of tolerance)" if worst.allowed else "")


def _percent(share: float) -> str:
    return f"{share:.0%}" if share >= 0.01 else "under 1%"


def _share(outcome: Outcome) -> float:
    return abs(outcome.deviation or 0.0) / outcome.allowed if outcome.allowed else abs(outcome.deviation or 0.0)


def _each(values: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(values))


def _elsewhere() -> str:
    lines = (f"| {table} | {quantity} | {why} |" for (table, quantity), why in evaluation.ELSEWHERE.items())
    return "\n".join(("## Rows that are no arithmetic\n", "| table | quantity | |", "| --- | --- | --- |", *lines, ""))


if __name__ == "__main__":
    PAGE.parent.mkdir(exist_ok=True)
    PAGE.write_text(page(), encoding="utf-8")
