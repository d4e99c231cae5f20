"""A curve is worked out by its question, passes through the answer, and stays out of what has none."""

import pytest

from services.calc.questions import QUESTIONS
from services.console.desk.curves import TELLING, curve, sweepable
from services.console.desk.forms import METRIC, Form

BY_NAME = {question.name: question for question in QUESTIONS}
CUSTOMARY = {"degC": "degF", "K step": "degF", "Pa gauge": "psi", "Pa absolute": "psi", "L": "gal"}


def drawn(name: str, shown: dict[str, str] | None = None, *, along: str = "", **typed: str):
    form = Form(BY_NAME[name], METRIC if shown is None else shown)
    return curve(form, {**form.typed(), **typed}, along)


@pytest.mark.parametrize("name", sorted(TELLING))
def test_a_telling_curve_can_be_drawn_and_passes_through_the_answer(name: str) -> None:
    found = drawn(name)
    assert found is not None
    assert found.here in found.points
    assert [x for x, _ in found.points] == sorted({x for x, _ in found.points})


@pytest.mark.parametrize("name", sorted(TELLING))
def test_axes_of_a_curve_are_named(name: str) -> None:
    found = drawn(name)
    assert found is not None
    assert found.x.label
    assert found.y.label


def test_a_question_without_a_telling_curve_shows_one_when_asked() -> None:
    assert drawn("pitch") is None
    asked = drawn("pitch", along="volume")
    assert asked is not None
    assert asked.y.label == "living cells"


def test_glycols_freezing_curve_runs_from_water_to_the_end_of_the_table() -> None:
    found = drawn("coolant")
    assert found is not None
    assert (found.points[0][0], found.points[-1][0]) == (0.0, 60.0)
    assert found.points[0][1] == pytest.approx(0.0, abs=0.1)  # water freezes at 0 degC


def test_pressure_against_temperature_rises_and_is_in_the_readers_units() -> None:
    found = drawn("serving-pressure", CUSTOMARY)
    assert found is not None
    assert (found.x.unit, found.y.unit) == ("°F", "psi gauge")
    pressures = [y for _, y in found.points]
    assert pressures == sorted(pressures)


def test_nonsense_draws_nothing() -> None:
    assert drawn("serving-pressure", temperature="warm") is None


def test_what_is_no_number_has_no_curve() -> None:
    assert sweepable(Form(BY_NAME["onewire-reading"])) == ()
    assert drawn("onewire-reading") is None
