"""Tables that the summary at the end of a test run shows."""

from collections import defaultdict
from collections.abc import Iterable, Sequence

SHOWN: dict[str, list[tuple[str, ...]]] = defaultdict(list)


def note(title: str, *cells: str) -> None:
    """Adds a row; the first of a title is its head."""
    SHOWN[title].append(cells)


def merge(title: str, rows: Iterable[Sequence[str]]) -> None:
    """Adds what another process has noted; its head is not said twice."""
    head, *others = (tuple(row) for row in rows)
    SHOWN[title] += others if SHOWN[title] else [head, *others]


def lines() -> list[str]:
    """All tables, with columns as wide as they need."""
    found = []
    for title, rows in SHOWN.items():
        widths = [max(len(row[place]) for row in rows if place < len(row)) for place in range(max(map(len, rows)))]
        found += ["", title]
        found += ["  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False)) for row in rows]
    return found
