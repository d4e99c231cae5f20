"""The command line: what is printed, what is refused, and with which status."""

import json
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from services.calc.app import app
from services.calc.question import Question
from services.calc.questions import QUESTIONS

RUN = CliRunner()
GRAVITIES = ["--original-gravity", "12.4 degP", "--final-gravity", "1.010"]


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_nothing_in_a_question_is_taken_for_markup(question: Question) -> None:
    texts = (question.asks, question.formula, question.source, question.holds, question.caution)
    assert not any("[" in text for text in (*texts, *(asked.help for asked in question.inputs)))


def test_every_question_has_its_subcommand() -> None:
    said = RUN.invoke(app, ["--help"], terminal_width=200)
    assert said.exit_code == 0
    assert all(question.name in said.output for question in QUESTIONS)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_help_names_the_inputs_with_their_defaults_and_the_source(question: Question) -> None:
    said = RUN.invoke(app, [question.name, "--help"], terminal_width=400)
    assert said.exit_code == 0
    assert "Source:" in said.output
    assert all(f"--{asked.name.replace('_', '-')}" in said.output for asked in question.inputs)


def test_the_page_shows_answer_inputs_formula_source_range_and_caution() -> None:
    said = RUN.invoke(app, ["alcohol", *GRAVITIES])
    assert said.exit_code == 0
    for part in ("5.32 %", "12.4 degP", "balling (assumed)", "formula", "source", "holds", "caution", "Balling 1865"):
        assert part in said.output


def test_json_carries_the_same_as_data() -> None:
    said = RUN.invoke(app, ["alcohol", *GRAVITIES, "--json"])
    data = json.loads(said.output)
    assert data["answer"]["alcohol_by_volume"]["value"] == pytest.approx(5.32, abs=0.01)
    assert data["answer"]["alcohol_by_volume"]["unit"] == "%"
    assert data["inputs"]["method"]["assumed"] is True


def test_warnings_stand_between_the_answer_and_its_grounds() -> None:
    said = RUN.invoke(app, ["ferment", "--temperature", "5 degC"])
    assert said.output.index("! at this temperature") < said.output.index("formula")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["alcohol"], "original_gravity is missing"),
        (["alcohol", "--original-gravity", "1.05", "--final-gravity", "1.06"], "above the original gravity"),
        (["freezing-point", "--original-gravity", "12 psi", "--final-gravity", "1.01"], "neither a specific gravity"),
        (["pitch", "--volume", "19", "--original-gravity", "1.05"], "has no unit"),
    ],
)
def test_bad_input_is_refused_in_one_line_with_status_two(arguments: list[str], said: str) -> None:
    result = RUN.invoke(app, arguments)
    assert result.exit_code == 2
    assert said in result.stderr
    assert result.stderr.count("\n") == 1


def test_the_questions_load_without_the_heavy_libraries() -> None:
    asked = (
        "import sys, services.calc.questions; print({'pint', 'numpy', 'scipy', 'CoolProp', 'rich'} & set(sys.modules))"
    )
    said = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "set()"
