"""Runs benchmarks: `python -m benchmarks [NAME ...] [--json]`; the exit status is 1 when a goal does not hold."""

import argparse
import importlib
import json
import pkgutil
import sys
from collections.abc import Iterable, Iterator
from dataclasses import asdict

from rich.console import Console
from rich.table import Table

import benchmarks
from benchmarks.rows import Row

NOT_BENCHMARKS = {"__main__", "rows", "bare", "stand"}


def main() -> int:
    """Runs those named, or all, one after the other."""
    known = names()
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument(
        "name", nargs="*", choices=[*known, []], help=f"one of {', '.join(known)}; all when none is named"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a row")
    arguments = parser.parse_args()
    rows = list(measured(arguments.name or known, arguments.json))
    if not arguments.json:
        Console().print(table(rows))
    return 1 if any(row.holds is False for row in rows) else 0


def names() -> list[str]:
    """Every module here that has a NAME and a `run` of its own."""
    found = [module.name for module in pkgutil.iter_modules(benchmarks.__path__) if module.name not in NOT_BENCHMARKS]
    modules = {name: importlib.import_module(f"benchmarks.{name}") for name in found}
    return sorted(name for name, module in modules.items() if hasattr(module, "run") and hasattr(module, "NAME"))


def measured(wanted: Iterable[str], as_json: bool) -> Iterator[Row]:
    """Rows as they come; with `as_json`, each is printed at once."""
    for name in wanted:
        print(f"{name} ...", file=sys.stderr, flush=True)
        for row in importlib.import_module(f"benchmarks.{name}").run():
            if as_json:
                print(json.dumps(asdict(row)), flush=True)
            yield row


def table(rows: Iterable[Row]) -> Table:
    """For people."""
    made = Table("benchmark", "figure", "value", "unit", "baseline", "ratio", "goal", "holds")
    for row in rows:
        holds = {True: "yes", False: "NO", None: ""}[row.holds]
        made.add_row(
            row.benchmark,
            row.figure,
            f"{row.value:.4g}",
            row.unit,
            _number(row.baseline),
            _number(row.ratio),
            row.goal,
            holds,
        )
    return made


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.4g}"


if __name__ == "__main__":
    sys.exit(main())
