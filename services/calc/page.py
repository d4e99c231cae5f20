"""An answer as people read it and as programs do."""

from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from services.calc.question import Answer, Taken


def as_data(answer: Answer) -> dict[str, Any]:
    """Plain values with their units: what `--json` prints."""
    question = answer.question
    return {
        "question": question.name,
        "asks": question.asks,
        "inputs": {one.asked.name: _input_data(one) for one in answer.taken},
        "answer": {figure.name: {"value": figure.value, "unit": figure.unit} for figure in answer.figures},
        "warnings": list(answer.warnings),
        "formula": question.formula,
        "source": question.source,
        "holds": question.holds,
        "caution": question.caution,
    }


def as_page(answer: Answer) -> RenderableType:
    """The answer first, then what it rests on."""
    question = answer.question
    warnings = [Text(f"! {warning}", style="bold") for warning in answer.warnings]
    return Group(
        Text(question.asks, style="bold"),
        _answers(answer),
        *warnings,
        Text("\nfrom", style="dim"),
        _inputs(answer),
        Text(""),
        _grounds(answer),
    )


def _answers(answer: Answer) -> Table:
    grid = _grid()
    for figure in answer.figures:
        grid.add_row(Text(figure.label), Text(figure.shown(), style="bold"))
    return grid


def _inputs(answer: Answer) -> Table:
    grid = _grid()
    for one in answer.taken:
        grid.add_row(Text(one.asked.name.replace("_", " ")), Text(one.written + (" (assumed)" if one.assumed else "")))
    return grid


def _grounds(answer: Answer) -> Table:
    question, grid = answer.question, _grid()
    rows = (("formula", question.formula), ("source", question.source), ("holds", question.holds))
    for label, said in (*rows, ("caution", question.caution)):
        if said:
            grid.add_row(Text(label, style="dim"), Text(said))
    return grid


def _grid() -> Table:
    grid = Table.grid(padding=(0, 2))
    grid.add_column(no_wrap=True)
    grid.add_column()
    return grid


def _input_data(one: Taken) -> dict[str, Any]:
    return {"written": one.written, "value": one.value, "unit": one.asked.unit, "assumed": one.assumed}
