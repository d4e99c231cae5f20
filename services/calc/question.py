"""A question of the trade as data: what it takes, what works it out, where that comes from and how far it holds."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from brewing import units
from brewing.errors import OutOfRange


class BadInput(ValueError):
    """What was written cannot be used; the text names the input, what is wrong and what would be right."""


@dataclass(frozen=True, slots=True)
class Input:
    """One thing that is asked for.

    `unit` is what the arithmetic takes, in the spelling of `brewing.units.read`; `default` is written as a person
    would write it, and None where there is none. An input with `choices` is one of these words and has no unit; one
    whose unit is `text` is taken as written. An `optional` input may be left out and is then None.
    """

    name: str
    unit: str
    help: str
    default: str | None = None
    choices: tuple[str, ...] = ()
    optional: bool = False
    such_as: str = ""

    @property
    def example(self) -> str:
        """How it may be written."""
        return self.default or self.such_as or (" | ".join(self.choices) or units.example(self.unit))

    def read(self, written: str) -> float | str:
        """The value in `unit`, or the chosen word. Raises BadInput."""
        if self.choices:
            if written in self.choices:
                return written
            raise BadInput(f"{self.name}: {written!r} is none of: {', '.join(self.choices)}")
        if self.unit == "text":
            return written
        try:
            return units.read(written, self.unit)
        except ValueError as error:
            raise BadInput(f"{self.name}: {error}") from error


@dataclass(frozen=True, slots=True)
class Figure:
    """One line of an answer; `digits` decimals are worth showing, `warning` is what a person must know of it."""

    name: str
    label: str
    value: float | str | bool | None
    unit: str = ""
    digits: int = 2
    warning: str = ""

    def shown(self) -> str:
        """The value as people read it, with its unit; None is `never`."""
        if self.value is None:
            return "never"
        if isinstance(self.value, bool):
            return "yes" if self.value else "no"
        if isinstance(self.value, str):
            return self.value
        return f"{self.value:,.{self.digits}f} {self.unit}".rstrip()


@dataclass(frozen=True, slots=True)
class Taken:
    """An input as it was used; `assumed` when nobody wrote it."""

    asked: Input
    written: str
    value: float | str | None
    assumed: bool


@dataclass(frozen=True, slots=True)
class Answer:
    """What was worked out, and from what."""

    question: "Question"
    taken: tuple[Taken, ...]
    figures: tuple[Figure, ...]

    @property
    def warnings(self) -> tuple[str, ...]:
        """What these very inputs give cause to warn of."""
        return tuple(figure.warning for figure in self.figures if figure.warning)


@dataclass(frozen=True, slots=True)
class Question:
    """`work` takes the inputs by name, each in its unit, and returns the figures of the answer."""

    name: str
    asks: str
    inputs: tuple[Input, ...]
    work: Callable[..., tuple[Figure, ...]]
    formula: str
    source: str
    holds: str
    caution: str = ""

    def answer(self, written: Mapping[str, str] | None = None) -> Answer:
        """Works the question out from what a person wrote, with defaults for the rest. Raises BadInput."""
        given = dict(written or {})
        taken = tuple(self._take(asked, given.pop(asked.name, None)) for asked in self.inputs)
        if given:
            raise BadInput(f"{self.name} asks for no {', '.join(sorted(given))}")
        try:
            figures = self.work(**{one.asked.name: one.value for one in taken})
        except ValueError as error:
            raise BadInput(_told(error, taken)) from error
        return Answer(self, taken, figures)

    def examples(self) -> dict[str, str]:
        """Something to write where there is no default, so that the question can be shown at work."""
        needed = (one for one in self.inputs if one.default is None and (one.such_as or not one.optional))
        return {one.name: one.example for one in needed}

    def _take(self, asked: Input, written: str | None) -> Taken:
        use = asked.default if written is None else written
        if use is not None:
            return Taken(asked, use, asked.read(use), assumed=written is None)
        if asked.optional:
            return Taken(asked, "not given", None, assumed=True)
        raise BadInput(f"{asked.name} is missing; write it like '{asked.example}'")


def _told(error: ValueError, taken: tuple[Taken, ...]) -> str:
    """The error in the words of the question, where the arithmetic has another name for what was written."""
    said, refused = str(error), error.value if isinstance(error, OutOfRange) else None
    if any(one.asked.name in said for one in taken):
        return said
    written = next((one for one in taken if refused is not None and one.value == refused), None)
    return f"{written.asked.name}: {said}" if written else said
