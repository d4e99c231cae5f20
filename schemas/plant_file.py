"""Reads the plant file, so that whatever is wrong with it is said with its place and remedy."""

from pathlib import Path

from schemas.plant import Plant
from schemas.plant_checks import Finding, findings
from schemas.written import Document, Problem, WrittenError, build, read, read_file


class PlantFileError(WrittenError):
    """A plant file that cannot be used; nothing of it has been applied."""


def load(path: Path) -> Plant:
    """The plant that a file describes. Raises PlantFileError with every problem found."""
    return inspect(path)[0]


def loads(text: str, file: str = "plant.yaml") -> Plant:
    """The plant that a text describes. Raises PlantFileError with every problem found."""
    try:
        return _inspected(read(text, file))[0]
    except WrittenError as error:
        raise PlantFileError(error.problems) from error


def inspect(path: Path) -> tuple[Plant, tuple[Problem, ...]]:
    """The plant, and what in its file is unwise though allowed. Raises PlantFileError with every problem found."""
    try:
        return _inspected(read_file(path))
    except WrittenError as error:
        raise PlantFileError(error.problems) from error


def _inspected(document: Document) -> tuple[Plant, tuple[Problem, ...]]:
    plant = build(Plant, document)
    found = tuple(findings(plant))
    grave = [_at_its_place(document, one) for one in found if one.grave]
    if grave:
        raise WrittenError(grave)
    return plant, tuple(_at_its_place(document, one) for one in found)


def _at_its_place(document: Document, found: Finding) -> Problem:
    return Problem(document.place(found.field), found.problem, found.remedy)
