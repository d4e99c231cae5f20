"""A question of the trade as a form: fields in the reader's own units, and what comes out as lines to read."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from brewing import units
from services.calc.question import Answer, BadInput, Figure, Input, Question
from services.console.units import Units

Shown = Mapping[str, str]
"""In which unit a reader wants to see what is kept in another, as `{"degC": "degF"}`; what is not named stays."""

METRIC: Shown = {"degC": "degC", "K step": "K", "Pa gauge": "bar", "Pa absolute": "bar", "L": "L"}
STARTS = {"final_gravity": "1.010", "final": "6.2 degP"}
"""What stands in a field at first where its question has no default and a unit's example would make no sense."""
SIGNS = {
    "degP": "°P",
    "m**3": "m³",
    "kg/m**3": "kg/m³",
    "degC": "°C",
    "degF": "°F",
    "percent": "%",
    "mm": "mm",
    "m**3/s": "m³/s",
    "mPa*s": "mPa s",
}
"""How a unit's name is drawn, where it differs."""

_BARE = re.compile(r"^\s*[+-]?\d*[.,]?\d+(?:[eE][+-]?\d+)?\s*$")
_QUANTITY = re.compile(r"^\s*([+-]?[\d.]+(?:[eE][+-]?\d+)?)\s*(\S.*)?$")
_UNITLESS = ("1", "SG", "text", "")
_AS_IT_IS = ("offset_c",)
"""Figures in degC that are terms of a formula in degC, and no temperatures."""


@dataclass(frozen=True, slots=True)
class Blank:
    """One field of a form; `value` stands in it at first, `unit` beside it is meant when only a number is written."""

    name: str
    label: str
    help: str
    value: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    optional: bool = False

    @property
    def sign(self) -> str:
        """The unit as it is drawn."""
        return SIGNS.get(self.unit, self.unit)

    def written(self, typed: str) -> str:
        """What was typed, as a question takes it: a bare number has this field's unit, and a comma is a point."""
        if self.choices or not _BARE.match(typed):
            return typed.strip()
        return f"{typed.strip().replace(',', '.')} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class Line:
    """One line of an answer, with the same in other units behind it."""

    name: str
    label: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came out, or (`problem`, of the field `at` where one is to blame) why nothing did."""

    lines: tuple[Line, ...] = ()
    warnings: tuple[str, ...] = ()
    problem: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class Form:
    """All fields of a question."""

    question: Question
    shown: Shown = field(default_factory=lambda: METRIC)

    @property
    def blanks(self) -> tuple[Blank, ...]:
        """The fields in the question's order."""
        examples = self.question.examples()
        return tuple(_blank(one, examples.get(one.name, ""), self.shown) for one in self.question.inputs)

    def typed(self) -> dict[str, str]:
        """What stands in the fields at first."""
        return {blank.name: blank.value for blank in self.blanks}

    def work(self, typed: Mapping[str, str]) -> Outcome:
        """The answer to what was typed, or why there is none; nothing is raised."""
        try:
            answer = self.answer(typed)
        except BadInput as error:
            at, said = _placed(str(error), self.question)
            return Outcome(problem=said, at=at)
        return Outcome(_lines(answer.figures, self.shown), answer.warnings)

    def answer(self, typed: Mapping[str, str]) -> Answer:
        """The same with its figures as numbers. Raises BadInput."""
        return self.question.answer(self.as_written(typed))

    def as_written(self, typed: Mapping[str, str]) -> dict[str, str]:
        """What was typed, with its units; fields left empty are left out where they may be."""
        found = {blank.name: blank.written(typed.get(blank.name, "")) for blank in self.blanks}
        may_be_empty = {blank.name for blank in self.blanks if blank.optional}
        return {name: said for name, said in found.items() if said or name not in may_be_empty}


def shown_in(picked: Units) -> Shown:
    """The visitor's choice of units, as forms take it."""
    step = "degF" if picked.temperature == "degF" else "K"
    pressures = {"Pa gauge": picked.pressure, "Pa absolute": picked.pressure}
    return {"degC": picked.temperature, "K step": step, "L": picked.volume, **pressures}


def in_unit(value: float, unit: str, shown: Shown) -> tuple[float, str]:
    """A number in the unit that the reader wants, and that unit; figures carry names such as `degC` and `K`."""
    asked_for = _FIGURES.get(unit)
    wanted = shown.get(asked_for, unit) if asked_for else unit
    if wanted == unit:
        return value, unit
    if unit == "K":
        return value * 1.8, wanted
    return units.convert(value, unit, wanted), wanted


_FIGURES = {"degC": "degC", "K": "K step", "L": "L", "bar": "Pa absolute", "psi": "Pa absolute"}
"""Which choice of the reader's each unit of a figure follows."""


def _blank(asked: Input, example: str, shown: Shown) -> Blank:
    start = asked.default if asked.default is not None else STARTS.get(asked.name, example)
    label = asked.name.upper() if len(asked.name) <= 2 else asked.name.replace("_", " ").capitalize()
    if asked.choices or asked.unit in _UNITLESS:
        choices = tuple(str(one) for one in asked.choices)
        return Blank(asked.name, label, asked.help, str(start), choices=choices, optional=asked.optional)
    value, unit = _in_readers_unit(asked, start, shown)
    return Blank(asked.name, label, asked.help, value, unit, optional=asked.optional)


def _in_readers_unit(asked: Input, start: str, shown: Shown) -> tuple[str, str]:
    """The start value as a number, and the unit beside it."""
    found = _QUANTITY.match(start)
    unit = (found[2] if found else None) or asked.unit
    wanted = shown.get(asked.unit, unit)
    if not found or wanted == unit:
        return (found[1] if found else ""), _plain(wanted)
    number = asked.read(start)
    if isinstance(number, str):
        return number, wanted
    if asked.unit == "K step":
        return _short(number * 1.8 if wanted == "degF" else number), wanted
    return _short(units.convert(number, asked.unit.split()[0], wanted)), wanted


def _plain(unit: str) -> str:
    return "%" if unit == "percent" else unit


def _short(number: float) -> str:
    return f"{number:.4g}"


def _placed(said: str, question: Question) -> tuple[str, str]:
    """The field that is to blame, by its name in the text, and the text without that name in front."""
    names = sorted((one.name for one in question.inputs), key=len, reverse=True)
    for name in names:
        if said.startswith((f"{name}:", f"{name} ")):
            return name, said.removeprefix(name).lstrip(": ").strip() or said
    return next((name for name in names if re.search(rf"\b([a-z]+_)*{name}(_[a-z]+)*\b", said)), ""), said


def _lines(figures: Sequence[Figure], shown: Shown) -> tuple[Line, ...]:
    """A figure without a label of its own says the one before in other words."""
    found: list[Line] = []
    for figure in figures:
        text = _told(figure, shown)
        if figure.label or not found:
            found.append(Line(figure.name, figure.label or "it is", (text,)))
        else:
            found[-1] = Line(found[-1].name, found[-1].label, (*found[-1].values, text))
    return tuple(_readers_first(line, shown) for line in found)


def _told(figure: Figure, shown: Shown) -> str:
    if isinstance(figure.value, bool) or not isinstance(figure.value, int | float):
        return figure.shown()
    value, unit = in_unit(float(figure.value), figure.unit, {} if figure.name in _AS_IT_IS else shown)
    return f"{value:,.{figure.digits}f} {SIGNS.get(unit, unit)}".rstrip()


def _readers_first(line: Line, shown: Shown) -> Line:
    wanted = f" {shown.get('Pa gauge', 'bar')} "
    return Line(line.name, line.label, tuple(sorted(line.values, key=lambda text: wanted not in f"{text} ")))
