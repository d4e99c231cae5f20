"""Every question of the trade as a form whose answer follows what is typed, with a curve where one helps."""

import asyncio
from dataclasses import dataclass, field
from functools import partial

from nicegui import ui

from services.calc.question import Question
from services.console.app import Desk
from services.console.desk import topics
from services.console.desk.curves import TELLING, curve, sweepable
from services.console.desk.drawing import curve_picture
from services.console.desk.forms import Blank, Form, Outcome, Shown, shown_in
from services.console.pages.fields import Choice, Field, Line, looks, words
from services.console.pages.frame import frame, units

NO_CURVE = "none"


def register(desk: Desk) -> None:
    """The list of questions, and a page for each."""

    @ui.page("/calculators")
    def index() -> None:
        looks()
        with frame(desk, "Calculators", "calculators"):
            words("What the trade works out", "h1")
            words("Answers follow as you type; sources, ranges and cautions stand beneath each.", "p", "hint")
            with ui.element("div").classes("topics"):
                for title, questions in topics.topics():
                    _topic(title, questions)

    @ui.page("/calculators/{name}")
    def one(name: str) -> None:
        looks()
        question = topics.find(name)
        with frame(desk, question.asks if question else "Calculators", "calculators"):
            if question is None:
                words(f"There is no question '{name}' here.", "h1")
                ui.link("All questions", "/calculators")
            else:
                Sum(question, shown_in(units())).draw()


def _topic(title: str, questions: tuple[Question, ...]) -> None:
    with ui.element("section").classes("topic"):
        words(title, "h2")
        with ui.element("ul").classes("questions"):
            for question in questions:
                with ui.element("li"):
                    ui.link(question.asks, f"/calculators/{question.name}")


@dataclass
class Sum:
    """One question on its page."""

    question: Question
    shown: Shown
    typed: dict[str, str] = field(default_factory=dict)
    along: str = ""
    _turn: int = 0

    def __post_init__(self) -> None:
        self.form = Form(self.question, self.shown)
        self.typed = self.form.typed()
        self.along = TELLING.get(self.question.name, (NO_CURVE, ""))[0]
        self.fields: dict[str, Field] = {}

    def draw(self) -> None:
        """Fields on the left, what comes out on the right, what it rests on beneath."""
        words(self.question.asks, "h1")
        with ui.element("div").classes("sum"):
            with ui.element("form").classes("given").props('aria-label="What is given" onsubmit="return false"'):
                for blank in self.form.blanks:
                    self.fields[blank.name] = self._field(blank)
            with ui.element("section").classes("found").props('aria-label="The answer"'):
                self.answer = ui.element("div").props('role="status" aria-live="polite"')
                self.picture = ui.html("", sanitize=False).classes("curve")
                self._curve_choice()
        self._grounds()
        self._others()
        self._show(self.form.work(self.typed))
        ui.timer(0.05, self._draw_curve, once=True)

    def _field(self, blank: Blank) -> Field:
        if blank.choices:
            options = {choice: choice.replace("_", " ") for choice in blank.choices}
            made: Field = Choice(blank.label, options, blank.value, help=blank.help)
        else:
            note = f"{blank.help}; may be left empty" if blank.optional else blank.help
            made = Line(blank.label, blank.value, help=note, unit=blank.sign)
        return made.on_change(partial(self._type, blank.name))

    async def _type(self, name: str, text: str) -> None:
        self.typed[name] = text
        self._show(self.form.work(self.typed))
        await self._draw_curve()

    def _show(self, outcome: Outcome) -> None:
        for name, one in self.fields.items():
            one.fault(outcome.problem if outcome.at == name else "")
        self.answer.clear()
        with self.answer:
            if outcome.problem:
                told = "The answer waits for the field above." if outcome.at else outcome.problem
                words(told, "p", "empty")
            _lines(outcome)
            for warning in outcome.warnings:
                words(warning, "p", "warning")

    async def _draw_curve(self) -> None:
        """On a thread, since some answers take a while; a curve that was overtaken is not shown."""
        self._turn += 1
        turn, typed = self._turn, dict(self.typed)
        if self.along == NO_CURVE:
            self.picture.set_content("")
            return
        found = await asyncio.to_thread(curve, self.form, typed, self.along)
        if turn == self._turn:
            self.picture.set_content(curve_picture(found, self.question.asks) if found else "")

    def _curve_choice(self) -> None:
        names = sweepable(self.form)
        if not names:
            return
        labels = {blank.name: f"along {blank.label.lower()}" for blank in self.form.blanks}
        options = {NO_CURVE: "none", **{name: labels[name] for name in names}}
        Choice("Curve", options, self.along, classes="quiet").on_change(self._run_along)

    async def _run_along(self, name: str) -> None:
        self.along = name
        await self._draw_curve()

    def _grounds(self) -> None:
        told = (
            ("Formula", self.question.formula), ("Source", self.question.source), ("Holds", self.question.holds),
            ("Caution", self.question.caution),
        )  # fmt: skip
        with ui.element("dl").classes("grounds"):
            for label, text in told:
                if text:
                    words(label, "dt", "grave" if label == "Caution" else "")
                    words(text, "dd", "grave" if label == "Caution" else "")

    def _others(self) -> None:
        with ui.element("nav").classes("panel others").props('aria-label="Related questions"'):
            words("Related", "h2")
            with ui.element("ul").classes("questions"):
                for one in topics.beside(self.question):
                    if one is not self.question:
                        with ui.element("li"):
                            ui.link(one.asks, f"/calculators/{one.name}")
                with ui.element("li"):
                    ui.link("All questions", "/calculators")


def _lines(outcome: Outcome) -> None:
    with ui.element("dl").classes("lines"):
        for place, line in enumerate(outcome.lines):
            with ui.element("div").classes("first" if not place else "").props(f'data-figure="{line.name}"'):
                words(line.label, "dt")
                with ui.element("dd"):
                    words(line.values[0], "span", "figure")
                    for other in line.values[1:]:
                        words(other, "span", "other")
