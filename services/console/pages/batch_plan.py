"""The steps of a batch, past and planned; what is to come can be rewritten, moved, taken out and added to."""

from collections.abc import Callable
from functools import partial

from nicegui import ui

from schemas.batches import BatchState, PlannedStep
from schemas.profiles import Profile
from schemas.requests import Accepted, EditSteps, TellProgramme
from services.console.access import visitor
from services.console.app import Desk
from services.console.desk import batch_words
from services.console.desk.answers import Said, said
from services.console.desk.course import Course
from services.console.desk.drafts import draft_of, unfinished, words_of
from services.console.desk.forms import shown_in
from services.console.live import Change
from services.console.pages.fields import Told, press, words
from services.console.pages.frame import follow
from services.console.pages.step_form import StepForm
from services.console.units import Units, show_pressure, show_temperature

CHANGED = "Its steps have changed meanwhile, and are shown as they are now. Make your change once more."


class PlanEditor:
    """Shows the plan, or, once somebody has asked to change it, the steps as they would be."""

    def __init__(self, desk: Desk, name: str, picked: Units) -> None:
        self.desk = desk
        self.name = name
        self.picked = picked
        self.shown = shown_in(picked)
        self.course: Course | None = None
        self.form: StepForm | None = None
        self._dragged: int | None = None
        self._written: tuple[PlannedStep, ...] | None = None

    @property
    def batch(self) -> BatchState:
        """As last told."""
        return self.desk.live.batches[self.name]

    def draw(self) -> None:
        """The list, and beneath it what may be done with it."""
        with ui.element("section").classes("panel").props('aria-label="Steps"'):
            words("Steps", "h2")
            self.told = Told()
            self.problem = words("", "p", "answer refused").props('role="alert"')
            self.place = ui.element("ol").classes("steps")
            self.buttons = ui.element("div").classes("presses")
        self._show()
        follow(self.desk, self._on_change)

    def _on_change(self, change: Change) -> None:
        if change.kind == "batches" and change.key == (self.name,) and self.course is None:
            self._show()

    def _show(self) -> None:
        """The plan as the scheduler tells it."""
        if self._written == self.batch.steps:
            return
        self._written = self.batch.steps
        self.problem.set_text("")
        self.place.clear()
        with self.place:
            for index, step in enumerate(self.batch.steps):
                self._planned(index, step)
        self.buttons.clear()
        with self.buttons:
            if self.batch.phase in batch_words.OPEN and visitor().may_act:
                press("Change what is to come", self._begin)

    def _planned(self, index: int, step: PlannedStep) -> None:
        zone = self.desk.live.plant.zone
        runs = index == self.batch.step
        with ui.element("li").classes("step done" if step.done else "step runs" if runs else "step"):
            with ui.element("div").classes("what"):
                words(step.name, "h3")
                words("over" if step.done else "under way" if runs else "to come", "span", "phase")
                words(self._does(step), "span", "target")
            words(batch_words.times_of(step, zone), "p", "times")
            if step.ends_when and not step.done:
                words(f"Ends when {step.ends_when}.", "p", "where")
            if step.late:
                words("It began late: nobody was there when it was due.", "p", "where")
            if step.instruction:
                words(step.instruction, "p", "instruction")

    def _does(self, step: PlannedStep) -> str:
        target = show_temperature(step.to_c, self.picked)
        pressure = "" if step.pressure_bar is None else f", at {show_pressure(step.pressure_bar, self.picked)}"
        if step.does == "ramp" and step.from_c != step.to_c:
            return f"{show_temperature(step.from_c, self.picked)} to {target}{pressure}"
        return f"{'up to ' if step.does == 'free-rise' else ''}{target}{pressure}"

    async def _begin(self) -> None:
        """Asks the scheduler for the whole programme: the plan says only what it comes to."""
        self.told.clear()
        course = await self._asked()
        if course is not None:
            self.course = course
            self._edit()

    async def _asked(self) -> Course | None:
        answer = await self.desk.act(TellProgramme, batch=self.name)
        if not isinstance(answer, Accepted):
            self.told.say(said(answer))
            return None
        profile = Profile.model_validate_json(str(answer.facts["profile"]))
        return Course.of(profile.steps, int(answer.facts["open"]), self.batch.phase in batch_words.UNDER_WAY)

    def _edit(self) -> None:
        """The steps as they would be, each with what may be done with it."""
        course = self._course()
        self.problem.set_text(course.problem.capitalize() if course.changed and course.problem else "")
        self.place.clear()
        with self.place:
            for index in range(len(course.steps)):
                self._draft(course, index)
        self.buttons.clear()
        with self.buttons:
            send = press("Send the changes", self._send, "strong")
            if not course.changed or course.problem:
                send.props("disabled")
            press("Add a step at the end", lambda: self._open(len(self._course().steps)))
            press("Leave it as it was", self._leave, looks=True)

    def _draft(self, course: Course, index: int) -> None:
        step = course.steps[index]
        fixed = not course.editable(index)
        looks = "done" if fixed else "runs" if not course.loose(index) else "loose"
        row = ui.element("li").classes(f"step {looks}").props(f'data-step="{step.name}"')
        if course.loose(index):
            self._draggable(row, index)
        with row:
            with ui.element("div").classes("what"):
                words(step.name, "h3")
                words(words_of(draft_of(step, self.shown, self.desk.live.plant.zone)), "span", "target")
            if not fixed:
                self._row_presses(course, index)
            if self.form is not None and self.form.index == index:
                self.form.draw()
        if self.form is not None and self.form.index == index + 1 == len(course.steps):
            with self.place, ui.element("li").classes("step loose"):
                self.form.draw()

    def _row_presses(self, course: Course, index: int) -> None:
        name = course.steps[index].name
        with ui.element("div").classes("presses"):
            press("Rewrite", partial(self._open, index), "small", label=f"Rewrite {name}")
            if course.loose(index):
                press("Earlier", partial(self._move, index, index - 1), "small", label=f"{name} earlier")
                press("Later", partial(self._move, index, index + 1), "small", label=f"{name} later")
                press("Take out", partial(self._take_out, index), "small grave", label=f"Take out {name}")

    def _draggable(self, row: ui.element, index: int) -> None:
        row.props('draggable="true"')
        row.on("dragstart", partial(self._drag, index), args=[])
        row.on("dragover", js_handler="(event) => event.preventDefault()")
        row.on("drop", partial(self._drop, index), args=[], js_handler="(event) => { event.preventDefault(); emit(); }")

    def _drag(self, index: int) -> None:
        self._dragged = index

    def _drop(self, index: int) -> None:
        if self._dragged is not None:
            self._move(self._dragged, index)
        self._dragged = None

    def _move(self, index: int, to: int) -> None:
        self._change(lambda course: course.moved(index, to))

    def _take_out(self, index: int) -> None:
        self._change(lambda course: course.without(index))

    def _change(self, change: Callable[[Course], Course]) -> None:
        self.form = None
        self.course = change(self._course())
        self.told.clear()
        self._edit()

    def _open(self, index: int) -> None:
        """The form of one step, or of a new one."""
        course, zone = self._course(), self.desk.live.plant.zone
        is_new = index == len(course.steps)
        draft = unfinished(self.shown) if is_new else draft_of(course.steps[index], self.shown, zone)
        self.form = StepForm(index, draft, self.shown, zone, self._take_over, self._close)
        self._edit()

    def _take_over(self, form: StepForm) -> None:
        step = form.step
        if step is None:
            return
        is_new = form.index == len(self._course().steps)
        self._change(lambda course: course.inserted(form.index, step) if is_new else course.rewritten(form.index, step))

    def _close(self) -> None:
        self.form = None
        self._edit()

    async def _send(self) -> None:
        """Only where the programme is still what the change began from."""
        course = self._course()
        now = await self._asked()
        if now is None:
            return
        if (now.steps, now.open) != (course.known, course.open):
            self.course, self.form = now, None
            self._edit()
            self.told.say(Said("refused", CHANGED))
            return
        first, steps = course.replacement
        asking = self.desk.act(EditSteps, batch=self.name, first=first, steps=steps)
        answer = await self.told.ask(asking, lambda one: said(one, "The steps are changed."))
        if isinstance(answer, Accepted):
            self._leave()

    def _leave(self) -> None:
        self.course, self.form, self._written = None, None, None
        self._show()

    def _course(self) -> Course:
        if self.course is None:
            raise RuntimeError("nothing is being changed")
        return self.course
