"""How an answer changes with one of its inputs: the points of a curve, worked out by the question itself."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from brewing import units
from services.calc.question import BadInput, Figure, Question
from services.console.desk.forms import SIGNS, Form, in_unit

POINTS = 41
LEAST = 3
"""Fewer points that can be worked out make no curve."""

TELLING: dict[str, tuple[str, str]] = {
    "alcohol": ("final_gravity", "alcohol_by_volume"),
    "attenuation": ("final_gravity", "apparent"),
    "energy": ("final_gravity", "kcal_per_100_ml"),
    "living-cells": ("age", "billion_living"),
    "ferment": ("temperature", "end_d"),
    "freezing-point": ("final_gravity", "safe_c"),
    "serving-pressure": ("temperature", "gauge"),
    "dissolved-gas": ("gauge", "volumes"),
    "residual-gas": ("highest_temperature", "volumes"),
    "carbonation-time": ("gauge", "latest_h"),
    "priming-sugar": ("volumes", "sugar_g"),
    "line-length": ("gauge", "length_m"),
    "line-flow": ("length", "flow_ml_s"),
    "first-pour": ("line", "freed_ml"),
    "gas-cylinder": ("temperature", "pressure_bar"),
    "coolant": ("fraction", "freezing_c"),
    "coolant-mix": ("bath", "by_mass"),
    "coolant-top-up": ("water", "freezing_c"),
    "crash-time": ("target", "time_h"),
    "bath-crash": ("target", "time_h"),
    "chamber-balance": ("ambient", "spare_w"),
    "condensation": ("humidity", "dew_point_c"),
    "compressor-cycle": ("deadband", "starts_per_h"),
    "boiling-point": ("altitude", "temperature_c"),
}
"""The input and the figure whose curve is worth seeing; other questions show one when somebody asks for it."""
SET_ASIDE: dict[tuple[str, str], dict[str, str]] = {("coolant", "freezing_c"): {"temperature": "20 degC"}}
"""Inputs that a figure does not depend on, and that would cut its curve short: no bath at -4 degC has 0 %."""

_AROUND = {"degC": (-15.0, 20.0), "SG": (-0.03, 0.03), "K step": (-2.0, 6.0), "altitude": (0.0, 3000.0)}
"""How far below and above its value an input is followed, by unit or name; others from a quarter to the double."""
_WHOLE = {"percent": (0.0, 100.0)}
_ABOVE_NOTHING = ("K step",)


@dataclass(frozen=True, slots=True)
class Axis:
    """What is drawn along one side, in the reader's unit."""

    name: str
    label: str
    unit: str


@dataclass(frozen=True, slots=True)
class Curve:
    """Points in order of `x`, and where the answer itself lies on it."""

    x: Axis
    y: Axis
    points: tuple[tuple[float, float], ...]
    here: tuple[float, float] | None


def sweepable(form: Form) -> tuple[str, ...]:
    """Inputs that a curve can run along, the most telling one first."""
    named = [one.name for one in form.question.inputs if not one.choices and one.unit != "text"]
    first = TELLING.get(form.question.name, ("", ""))[0]
    return tuple(sorted(named, key=lambda name: name != first))


def curve(form: Form, typed: Mapping[str, str], along: str = "", of: str = "") -> Curve | None:
    """The curve through what was typed; None where none is asked for, or there is none to draw."""
    question = form.question
    telling = TELLING.get(question.name, ("", ""))
    along, of = along or telling[0], of or (telling[1] if along in ("", telling[0]) else "")
    if not along:
        return None
    try:
        answer = form.answer(typed)
    except BadInput:
        return None
    here = next((one.value for one in answer.taken if one.asked.name == along), None)
    if not isinstance(here, int | float):
        return None
    figure = _figure(answer.figures, of, form)
    if figure is None:
        return None
    span = _span(question, along, float(here))
    values = sorted({*_spread(*span), float(here)})
    points = _points(form, typed, along, figure.name, values)
    if len(points) < LEAST:
        return None
    return _drawn(form, along, _labelled(figure, answer.figures), points, float(here))


def _labelled(figure: Figure, figures: tuple[Figure, ...]) -> Figure:
    """A figure that says the one before in another unit bears its label."""
    before = [one.label for one in figures[: figures.index(figure) + 1] if one.label]
    return replace(figure, label=before[-1] if before else "")


def _figure(figures: tuple[Figure, ...], of: str, form: Form) -> Figure | None:
    """The one wanted; a pressure, told twice, in the reader's unit."""
    numbers = [one for one in figures if isinstance(one.value, float | int) and not isinstance(one.value, bool)]
    pressure = f"{of}_{form.shown.get('Pa gauge', 'bar')}"
    return next((one for one in numbers if one.name in (of, pressure)), numbers[0] if numbers and not of else None)


def _span(question: Question, along: str, here: float) -> tuple[float, float]:
    unit = next(one.unit for one in question.inputs if one.name == along)
    if unit in _WHOLE:
        return _WHOLE[unit]
    around = _AROUND.get(along, _AROUND.get(unit))
    below, above = around or (-0.75 * abs(here), abs(here) or 1.0)
    low = here + below
    return (max(low, 0.05) if unit in _ABOVE_NOTHING else low), here + above


def _spread(low: float, high: float) -> list[float]:
    return [low + (high - low) * share / (POINTS - 1) for share in range(POINTS)]


def _points(
    form: Form, typed: Mapping[str, str], along: str, of: str, values: list[float]
) -> list[tuple[float, float]]:
    """Values at which the question has no answer are left out."""
    unit = next(one.unit for one in form.question.inputs if one.name == along)
    written = {**form.as_written(typed), **SET_ASIDE.get((form.question.name, of), {})}
    found: list[tuple[float, float]] = []
    for value in values:
        try:
            answer = form.question.answer({**written, along: f"{value!r} {_WRITTEN_AS.get(unit, unit)}".strip()})
        except BadInput:
            continue
        said = next((one.value for one in answer.figures if one.name == of), None)
        if isinstance(said, int | float):
            found.append((value, float(said)))
    return found


_WRITTEN_AS = {"1": "", "SG": "", "K step": "K", "Pa gauge": "Pa", "Pa absolute": "Pa", "percent": "percent"}


def _drawn(form: Form, along: str, figure: Figure, points: list[tuple[float, float]], here: float) -> Curve:
    asked = next(one for one in form.question.inputs if one.name == along)
    blank = next(one for one in form.blanks if one.name == along)
    shown = [(_to_blank(x, asked.unit, blank.unit), in_unit(y, figure.unit, form.shown)[0]) for x, y in points]
    at = next((both for both, (x, _) in zip(shown, points, strict=True) if x == here), None)
    y_unit = in_unit(0.0, figure.unit, form.shown)[1]
    return Curve(
        Axis(along, f"{blank.label}, {blank.help}", blank.sign),
        Axis(figure.name, figure.label, SIGNS.get(y_unit, y_unit)),
        tuple(shown),
        at,
    )


def _to_blank(value: float, unit: str, blank_unit: str) -> float:
    plain = unit.split()[0] if unit not in ("1", "SG") else ""
    if not plain or not blank_unit:
        return value
    if unit == "K step":
        return value * 1.8 if blank_unit == "degF" else value
    if blank_unit == "%":
        return value
    try:
        return units.convert(value, plain, blank_unit)
    except units.QuantityError:
        return value
