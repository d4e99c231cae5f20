"""The trade's questions by what they are about, in the order of a beer's way."""

from services.calc.question import Question
from services.calc.questions import TOPICS

TITLES = {
    "gravity": "Gravity and strength",
    "yeast": "Yeast",
    "fermentation": "Fermentation",
    "freezing": "Freezing",
    "carbonation": "Gas in beer",
    "draught": "Pouring",
    "cylinder": "Gas cylinder and room",
    "coolant": "Coolant",
    "thermal": "Heat, air and compressor",
    "probes": "Probes",
    "units": "Units",
}
"""A topic without a title here is shown under its module's name."""


def topics() -> list[tuple[str, tuple[Question, ...]]]:
    """Each topic's title with its questions."""
    named = [(module.__name__.rpartition(".")[2], module.QUESTIONS) for module in TOPICS]
    return [(TITLES.get(name, name.capitalize()), questions) for name, questions in named]


def find(name: str) -> Question | None:
    """The question of that name."""
    return next((one for _, questions in topics() for one in questions if one.name == name), None)


def beside(question: Question) -> tuple[Question, ...]:
    """All questions of the same topic."""
    return next(questions for _, questions in topics() if question in questions)
