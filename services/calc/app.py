"""`coldside calc`: one subcommand a question, each made from its row of the table."""

import inspect
import json
import sys
from collections.abc import Callable
from typing import Annotated, Any

import typer
from rich.console import Console

from services.calc.page import as_data, as_page
from services.calc.question import BadInput, Input, Question
from services.calc.questions import QUESTIONS

app = typer.Typer(
    help="The trade's arithmetic: quantities carry units, as in '12 psi', '66 degF', '5 gal', '12.4 degP'.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
)


def _command(question: Question) -> Callable[..., None]:
    def ask(*, json_output: bool, **written: str | None) -> None:
        try:
            answer = question.answer({name: value for name, value in written.items() if value is not None})
        except BadInput as error:
            typer.echo(f"coldside calc {question.name}: {error}", err=True)
            raise typer.Exit(2) from error
        if json_output:
            typer.echo(json.dumps(as_data(answer), indent=2))
        else:
            Console(file=sys.stdout).print(as_page(answer))

    ask.__doc__ = _help(question)
    ask.__signature__ = _signature(question)  # type: ignore[attr-defined]
    return ask


def _help(question: Question) -> str:
    parts = (question.asks, f"Formula: {question.formula}.", f"Source: {question.source}.", f"Holds: {question.holds}.")
    return "\n\n".join((*parts, f"Caution: {question.caution}") if question.caution else parts)


def _signature(question: Question) -> inspect.Signature:
    parameters = [_parameter(one.name, Annotated[str | None, _option(one)], None) for one in question.inputs]
    as_json = Annotated[bool, typer.Option("--json", help="Print the answer as JSON.")]
    return inspect.Signature([*parameters, _parameter("json_output", as_json, False)])


def _parameter(name: str, annotation: Any, default: Any) -> inspect.Parameter:
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation)


def _option(one: Input) -> Any:
    left_out = f"default {one.default}" if one.default else "may be left out" if one.optional else "required"
    example = "" if one.default else f", such as '{one.example}'"
    return typer.Option(f"--{one.name.replace('_', '-')}", help=f"{one.help} ({left_out}{example})", metavar="TEXT")


for _question in QUESTIONS:
    app.command(_question.name, short_help=_question.asks)(_command(_question))
