"""`python -m tests.reference.check [FOLDER]`: tries every row of the tables in a folder; status 1 when one fails."""

import sys
from pathlib import Path

from tests.reference import evaluation, tables


def main(arguments: list[str]) -> int:
    """Prints a line for each failing row and how many were tried."""
    folder = Path(arguments[0]) if arguments else tables.FOLDER
    failures = list(evaluation.failing(folder))
    print(*failures, sep="\n", end="\n" if failures else "")
    print(f"{len(failures)} of {sum(1 for _ in tables.every_row(folder))} rows fail")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
