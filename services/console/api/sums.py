"""The trade's arithmetic: each question of the table, and its answer."""

from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Body
from pydantic import BaseModel, Field

from services.calc.page import as_data
from services.calc.question import BadInput, Question
from services.calc.questions import QUESTIONS
from services.console.api.trouble import told
from services.console.sources import NotUsable, Unknown

if TYPE_CHECKING:
    from services.console.app import Desk

BY_NAME: dict[str, Question] = {one.name: one for one in QUESTIONS}
Written = Annotated[dict[str, Annotated[str, Field(max_length=200)]], Body(max_length=50)]


class InputShown(BaseModel):
    """One thing that is asked for; without `default` and not `optional` it must be written."""

    name: str
    unit: str
    help: str
    default: str | None
    example: str
    choices: list[str]
    optional: bool


class QuestionShown(BaseModel):
    """A question, what it takes, and what its answer rests on."""

    name: str
    asks: str
    inputs: list[InputShown]
    formula: str
    source: str
    holds: str
    caution: str


class AnswerShown(BaseModel):
    """What was worked out, and from what."""

    question: str
    asks: str
    inputs: dict[str, dict[str, Any]]
    answer: dict[str, dict[str, Any]]
    warnings: list[str]
    formula: str
    source: str
    holds: str
    caution: str


def sums(_desk: "Desk") -> APIRouter:
    """Needs nothing but the questions."""
    router = APIRouter(tags=["calculators"], prefix="/calculators", responses=told())

    @router.get("")
    def questions() -> list[QuestionShown]:
        """All questions."""
        return [_shown(one) for one in QUESTIONS]

    @router.get("/{question}", responses=told(404))
    def question(question: str) -> QuestionShown:
        """One of them."""
        return _shown(_found(question))

    @router.post("/{question}", responses=told(404))
    def work(question: str, written: Written) -> AnswerShown:
        """The answer to what is written, with units as people write them: `{"pressure": "12 psi"}`."""
        try:
            return AnswerShown(**as_data(_found(question).answer(written)))
        except BadInput as error:
            raise NotUsable(str(error)) from error

    return router


def _found(name: str) -> Question:
    if name not in BY_NAME:
        raise Unknown(f"there is no question {name!r}; there are: {', '.join(BY_NAME)}")
    return BY_NAME[name]


def _shown(question: Question) -> QuestionShown:
    return QuestionShown(
        name=question.name,
        asks=question.asks,
        inputs=[
            InputShown(
                name=one.name,
                unit=one.unit,
                help=one.help,
                default=one.default,
                example=one.example,
                choices=list(one.choices),
                optional=one.optional,
            )
            for one in question.inputs
        ],
        formula=question.formula,
        source=question.source,
        holds=question.holds,
        caution=question.caution,
    )
