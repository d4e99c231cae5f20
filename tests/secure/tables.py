"""Tables that the summary at the end of a test run shows."""

from collections import defaultdict

SHOWN: dict[str, list[tuple[str, ...]]] = defaultdict(list)


def note(title: str, *cells: str) -> None:
    """Adds a row; the first of a title is its head."""
    SHOWN[title].append(cells)


def lines() -> list[str]:
    """All tables, with columns as wide as they need."""
    found = []
    for title, rows in SHOWN.items():
        widths = [max(len(row[place]) for row in rows if place < len(row)) for place in range(max(map(len, rows)))]
        found += ["", title]
        found += ["  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False)) for row in rows]
    return found
