"""The table of questions: every one is whole, answers, and refuses bad input by name."""

import json
import math

import pytest

from services.calc.page import as_data
from services.calc.question import Answer, BadInput, Figure, Input, Question
from services.calc.questions import QUESTIONS

BY_NAME = {question.name: question for question in QUESTIONS}


def ask(name: str, **written: str) -> Answer:
    return BY_NAME[name].answer(written)


def value(answer: Answer, name: str) -> float:
    found = next(figure.value for figure in answer.figures if figure.name == name)
    assert isinstance(found, float)
    return found


def test_no_two_questions_share_a_name() -> None:
    assert len(BY_NAME) == len(QUESTIONS) > 35


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_a_question_answers_from_its_examples_in_finite_numbers(question: Question) -> None:
    data = as_data(question.answer(question.examples()))
    assert data["answer"]
    assert json.loads(json.dumps(data, allow_nan=False)) == data


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_a_question_is_one_sentence_with_formula_source_and_range(question: Question) -> None:
    assert question.asks.endswith("?")
    assert all((question.formula, question.source, question.holds))
    assert all(asked.help for asked in question.inputs)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_no_figure_of_an_answer_shares_its_name(question: Question) -> None:
    names = [figure.name for figure in question.answer(question.examples()).figures]
    assert len(names) == len(set(names))


NUMBERS = [
    (question, asked)
    for question in QUESTIONS
    for asked in question.inputs
    if not asked.choices and asked.unit not in ("text", "1")
]


@pytest.mark.parametrize(("question", "asked"), NUMBERS, ids=lambda one: one.name)
@pytest.mark.parametrize("written", ["nan", "7 furlongs", "", "1e999 L"])
def test_an_input_of_the_wrong_kind_is_refused_by_name(question: Question, asked: Input, written: str) -> None:
    with pytest.raises(BadInput) as caught:
        question.answer({**question.examples(), asked.name: written})
    assert asked.name in str(caught.value)


UNITS_WRITTEN = {"Pa gauge": "psi", "Pa absolute": "bar", "K step": "K", "SG": "", "degP": "degP", "percent": "%"}


@pytest.mark.parametrize(("question", "asked"), NUMBERS, ids=lambda one: one.name)
@pytest.mark.parametrize("number", ["-1e9", "-1", "0", "1e9"])
def test_an_absurd_number_is_refused_in_plain_words_or_gives_a_finite_answer(
    question: Question, asked: Input, number: str
) -> None:
    written = f"{number} {UNITS_WRITTEN.get(asked.unit, asked.unit)}"
    said = answered_or_refused(question, {**question.examples(), asked.name: written})
    assert "Infinity" not in said
    assert "math domain" not in said


def answered_or_refused(question: Question, written: dict[str, str]) -> str:
    try:
        return json.dumps(as_data(question.answer(written)))
    except BadInput as refused:
        return str(refused)


def test_a_missing_input_is_named_with_an_example() -> None:
    with pytest.raises(BadInput, match=r"final_gravity is missing; write it like '1\.050'"):
        ask("alcohol", original_gravity="1.050")


def test_an_input_that_nobody_asked_for_is_refused() -> None:
    with pytest.raises(BadInput, match="asks for no colour"):
        ask("alcohol", original_gravity="1.050", final_gravity="1.010", colour="pale")


def test_a_choice_that_is_none_is_refused_with_the_choices() -> None:
    with pytest.raises(BadInput, match="balling, tabarie, short"):
        ask("alcohol", original_gravity="1.050", final_gravity="1.010", method="guess")


def test_a_final_gravity_above_the_original_is_refused_with_the_range() -> None:
    with pytest.raises(BadInput, match=r"final_gravity is 1\.06, outside .* above the original gravity"):
        ask("alcohol", original_gravity="1.050", final_gravity="1.060")


def test_the_answer_knows_what_was_written_and_what_was_assumed() -> None:
    taken = {one.asked.name: one for one in ask("hydrometer", reading="1.048", temperature="66 degF").taken}
    assert taken["temperature"].written == "66 degF"
    assert taken["temperature"].value == pytest.approx(18.889, abs=1e-3)
    assert (taken["temperature"].assumed, taken["made_for"].assumed) == (False, True)


def test_plato_and_gravity_give_the_same_alcohol() -> None:
    by_gravity = ask("alcohol", original_gravity="1.050", final_gravity="1.010")
    by_plato = ask("alcohol", original_gravity="12.3876 degP", final_gravity="2.5608 degP")
    assert value(by_plato, "alcohol_by_volume") == pytest.approx(value(by_gravity, "alcohol_by_volume"), abs=1e-3)


def test_a_customary_keg_of_lager_falls_in_the_customary_carbonation_band() -> None:
    """19 L keg, around 15 psi, a lager at fridge temperature: 2.4-3.0 volumes. Common practice, no source."""
    assert 2.4 < value(ask("dissolved-gas", gauge="15 psi", temperature="4 degC"), "volumes") < 3.0


def test_a_cold_fermentation_says_that_it_does_not_finish() -> None:
    answer = ask("ferment", temperature="5 degC", strain="ale")
    assert "does not finish" in answer.warnings[0]
    assert next(figure.shown() for figure in answer.figures if figure.name == "end_d") == "never"


def test_a_rest_in_the_programme_clears_a_lager_sooner() -> None:
    cold, rest = (
        value(ask("ferment", strain="lager", programme=programme), "clean_d")
        for programme in ("0=10 degC", "0=10 degC, 6=10 degC, 8=61 degF")
    )
    assert rest < cold - 1.0


def test_a_vessel_left_alone_grows_warmer_than_its_room() -> None:
    assert value(ask("ferment", exchange="1.5 W/K"), "warmest_c") > 19.5
    assert value(ask("ferment"), "warmest_c") == pytest.approx(18.0)


@pytest.mark.parametrize("programme", ["warm", "0=10", "3=10 degC, 1=12 degC", "0=nan degC", "0=90 degC"])
def test_a_programme_that_cannot_be_is_refused_with_an_example(programme: str) -> None:
    with pytest.raises(BadInput, match="programme: .*write it like '0=10 degC"):
        ask("ferment", programme=programme)


def test_a_stall_is_warned_of() -> None:
    read = ", ".join(f"{day / 4}=1.024" for day in range(20, 40))
    assert "above the expected" in ask("gravity-forecast", readings=read).warnings[0]


def test_readings_that_are_no_list_are_refused_with_an_example() -> None:
    with pytest.raises(BadInput, match="write it like '0=1.050, 1.5=1.041'"):
        ask("gravity-forecast", readings="1.050 then 1.040")


def test_yeast_mostly_dead_is_warned_of() -> None:
    assert "count the cells" in ask("living-cells", age="200 d").warnings[0]


def test_beer_in_the_ice_is_warned_of() -> None:
    answer = ask("slush-margin", temperature="-3 degC", original_gravity="1.050", final_gravity="1.010")
    assert "there may be ice" in answer.warnings[0]
    assert value(answer, "ice_percent") > 20.0


UNITS = [
    ("12 psi", "bar_gauge", 0.82737),
    ("12 psi", "bar_absolute", 1.84062),
    ("26.7 psia", "psi_gauge", 12.004),
    ("66 degF", "degC", 18.8889),
    ("5 gal", "L", 18.92706),
    ("1 impgal", "gal", 1.20095),
    ("2.5 vol", "g/L", 4.942),
    ("12.4 degP", "SG", 1.05005),
    ("1.050", "degP", 12.3876),
    ("1 kWh", "kJ", 3600.0),
]


@pytest.mark.parametrize(("quantity", "name", "expected"), UNITS)
def test_a_quantity_is_told_in_the_units_of_its_kind(quantity: str, name: str, expected: float) -> None:
    assert value(ask("in-other-units", quantity=quantity), name) == pytest.approx(expected, rel=1e-4)


def test_a_gauge_shows_less_absolute_pressure_in_the_mountains() -> None:
    low, high = (ask("in-other-units", quantity="12 psi", altitude=at) for at in ("0 m", "1609 m"))
    lost = value(low, "psi_absolute") - value(high, "psi_absolute")
    assert lost == pytest.approx(2.6, abs=0.1)


@pytest.mark.parametrize(
    ("figure", "shown"),
    [
        (Figure("a", "", 12.345, "L", 1), "12.3 L"),
        (Figure("a", "", 176_500.0, "cells", 0), "176,500 cells"),
        (Figure("a", "", None), "never"),
        (Figure("a", "", True), "yes"),
        (Figure("a", "", "how"), "how"),
    ],
)
def test_a_figure_is_shown_as_people_read_it(figure: Figure, shown: str) -> None:
    assert figure.shown() == shown


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_no_answer_hides_a_number_that_is_not_finite(question: Question) -> None:
    figures = question.answer(question.examples()).figures
    assert all(math.isfinite(one.value) for one in figures if isinstance(one.value, float))
