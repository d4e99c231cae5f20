"""Every question of the trade becomes a form; what is typed is worked out, or refused beside its field."""

import pytest

from brewing import units
from services.calc.question import Question
from services.calc.questions import QUESTIONS
from services.console.desk.forms import METRIC, Form, in_unit
from tests.reference.tables import rows

BY_NAME = {question.name: question for question in QUESTIONS}
CUSTOMARY = {"degC": "degF", "K step": "degF", "Pa gauge": "psi", "Pa absolute": "psi", "L": "gal"}


def form(name: str, shown: dict[str, str] | None = None) -> Form:
    return Form(BY_NAME[name], METRIC if shown is None else shown)


def first(name: str, label: str, shown: dict[str, str] | None = None, **typed: str) -> str:
    made = form(name, shown)
    outcome = made.work({**made.typed(), **typed})
    return next(line.values[0] for line in outcome.lines if line.label == label)


@pytest.mark.parametrize("shown", [METRIC, CUSTOMARY], ids=["metric", "customary"])
@pytest.mark.parametrize("question", QUESTIONS, ids=lambda one: one.name)
def test_a_form_as_it_opens_has_an_answer(question: Question, shown: dict[str, str]) -> None:
    made = Form(question, shown)
    outcome = made.work(made.typed())
    assert (outcome.problem, bool(outcome.lines)) == ("", True)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda one: one.name)
def test_the_same_question_in_other_units_has_the_same_answer(question: Question) -> None:
    metric, customary = Form(question, METRIC), Form(question, CUSTOMARY)
    pairs = zip(metric.answer(metric.typed()).figures, customary.answer(customary.typed()).figures, strict=True)
    for one, other in pairs:
        same = pytest.approx(one.value, rel=2e-2, abs=2e-2) if isinstance(one.value, float) else one.value
        assert other.value == same, one.name


def test_a_bare_number_has_the_unit_beside_the_field() -> None:
    assert first("serving-pressure", "which is", CUSTOMARY, temperature="39.2") == first(
        "serving-pressure", "which is", CUSTOMARY, temperature="4 degC"
    )


def test_a_decimal_comma_is_a_decimal_point() -> None:
    assert first("serving-pressure", "set the regulator to", volumes="2,5") == first(
        "serving-pressure", "set the regulator to", volumes="2.5 vol"
    )


def test_pressures_come_first_in_the_readers_unit() -> None:
    assert first("serving-pressure", "set the regulator to", CUSTOMARY) == "11.8 psi gauge"
    assert first("serving-pressure", "set the regulator to") == "0.81 bar gauge"


@pytest.mark.parametrize(
    ("typed", "at", "says"),
    [
        ({"temperature": "warm"}, "temperature", "no quantity"),
        ({"temperature": "4 psi"}, "temperature", "cannot be read"),
        ({"volumes": ""}, "volumes", "no quantity"),
        ({"temperature": "90"}, "temperature", ""),
        ({"volumes": "-3"}, "volumes", ""),
    ],
)
def test_nonsense_is_refused_beside_its_field(typed: dict[str, str], at: str, says: str) -> None:
    made = form("serving-pressure")
    outcome = made.work({**made.typed(), **typed})
    assert (outcome.at, outcome.lines) == (at, ())
    assert says in outcome.problem


def test_a_field_that_may_be_left_empty_is_left_out() -> None:
    made = form("keg-contents")
    assert "poured" not in made.as_written(made.typed())


def test_a_caution_of_these_inputs_is_told() -> None:
    made = form("coolant")
    outcome = made.work({**made.typed(), "glycol": "ethylene_glycol"})
    assert any("poison" in warning.lower() or "toxic" in warning.lower() for warning in outcome.warnings)


def test_a_term_of_a_formula_is_no_temperature() -> None:
    assert first("two-point", "offset", CUSTOMARY).endswith("°C")


def test_differences_of_temperature_have_no_zero_point() -> None:
    assert in_unit(5.0, "K", CUSTOMARY) == (pytest.approx(9.0), "degF")
    assert in_unit(5.0, "degC", CUSTOMARY) == (pytest.approx(units.convert(5.0, "degC", "degF")), "degF")


@pytest.mark.parametrize(
    "row",
    [row for row in rows("glycol") if row.quantity == "freezing point of propylene glycol-water" and row.allowed],
    ids=lambda row: row.id,
)
def test_the_form_gives_the_freezing_points_of_published_tables(row) -> None:
    """Each row of the table names its source: Melinder 2010, ASHRAE Handbook, Lange."""
    typed = {"fraction": f"{row.inputs['w_mass_fraction'] * 100:g}", "temperature": "20"}
    shown = first("coolant", "freezes at", **typed)
    assert float(shown.removesuffix(" °C")) == pytest.approx(float(row.expected), abs=row.allowed + 0.05)
