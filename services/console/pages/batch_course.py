"""Where a batch stands: its picture from first to last step, its figures, what waits for a person, what may be done."""

from datetime import datetime, timedelta
from functools import partial

from nicegui import ui

from schemas.batches import BatchState
from schemas.requests import MoveBatch
from services.console.app import Desk
from services.console.desk import batch_words
from services.console.desk.answers import said
from services.console.desk.batch_words import Act
from services.console.desk.drawing import Course, course_pictures
from services.console.live import Change
from services.console.pages.fields import Choice, Told, press, words
from services.console.pages.frame import follow
from services.console.sources import Unavailable
from services.console.units import Units, mark_of, number

POINTS = 400
FRESH_S = 60.0
KEY = (
    "Dark: the beer. Ochre: what is asked for, dashed where it is still to be. "
    "A grey bar at the foot: where a step's end is expected, four times in five."
)
Beer = list[tuple[datetime, float | None]]


class Progress:
    """The upper half of a batch's page."""

    def __init__(self, desk: Desk, name: str, picked: Units) -> None:
        self.desk = desk
        self.name = name
        self.picked = picked
        self._beer: Beer = []
        self._acts: tuple[Act, ...] = ()
        self._written: BatchState | None = None

    @property
    def batch(self) -> BatchState:
        """As last told."""
        return self.desk.live.batches[self.name]

    def draw(self) -> None:
        """And anew on every word of it."""
        words(self.batch.title or self.name, "h1")
        self.line = words("", "p", "where")
        self.awaits = words("", "p", "awaits")
        self.picture = ui.html("", sanitize=False).classes("course")
        words(KEY, "p", "hint")
        self.trouble = words("", "p", "hint")
        self.figures = ui.element("dl").classes("figures")
        self.why = words("", "p", "hint")
        self.told = Told()
        self.buttons = ui.element("div").classes("presses buttons")
        self.sure = ui.element("div").classes("sure").props('role="alertdialog" aria-label="Are you sure?"')
        self.sure.set_visibility(False)
        self._write()
        follow(self.desk, self._on_change)
        ui.timer(0.05, self._look_back, once=True)
        ui.timer(FRESH_S, self._look_back)

    def _on_change(self, change: Change) -> None:
        if change.kind == "batches" and change.key == (self.name,):
            self._write()

    def _write(self) -> None:
        batch = self.batch
        if batch == self._written:
            return
        self._written = batch
        self.line.set_text(
            f"{batch.batch}, in {batch.chamber}, by '{batch.profile}': {batch_words.PHASES[batch.phase]}."
        )
        self.awaits.set_text(batch.awaits and f"▲ {batch.awaits}")
        self.why.set_text(" ".join(part for part in (batch.why, batch_words.trust_words(batch)) if part))
        self._write_figures(batch)
        self._write_picture()
        acts = batch_words.acts_for(batch)
        if acts != self._acts:
            self._write_buttons(acts)

    def _write_figures(self, batch: BatchState) -> None:
        facts = {
            "Original gravity": _shown(batch.original_gravity_sg, ".3f"),
            "Gravity": _shown(batch.gravity_sg, ".4f"),
            "Apparent attenuation": _shown(batch.attenuation_percent, ".0f", " %"),
            "Alcohol by volume": _shown(batch.alcohol_percent, ".1f", " %"),
            "Under way for": self._age(batch),
        }
        self.figures.clear()
        with self.figures:
            for label, value in facts.items():
                with ui.element("div"):
                    words(label, "dt")
                    words(value, "dd")

    def _age(self, batch: BatchState) -> str:
        if batch.started is None:
            return "–"
        ended = max((step.ends for step in batch.steps if step.done and step.ends), default=None)
        end = self.desk.clock.now() if batch.phase in batch_words.OPEN or ended is None else ended
        return batch_words.lasting(end - batch.started)

    def _write_picture(self) -> None:
        batch, now = self.batch, self.desk.clock.now()
        course = Course(
            strips=batch_words.strips_of(batch.steps, now),
            beer=self._beer,
            now=now if batch.phase in batch_words.OPEN else None,
            degrees=lambda celsius: number("temperature", celsius, self.picked),
            unit=mark_of("temperature", self.picked),
        )
        names = ", ".join(f"{step.name} at {number('temperature', step.to_c, self.picked):.1f}" for step in batch.steps)
        title = f"Course of {batch.title}: the beer so far, and what is wanted: {names} {course.unit}."
        self.picture.set_content(course_pictures(course, title, self.desk.live.plant.zone))

    async def _look_back(self) -> None:
        """The beer's own temperature since the batch began."""
        batch = self.batch
        if batch.started is None:
            return
        ended = max((step.ends for step in batch.steps if step.done and step.ends), default=None)
        end = self.desk.clock.now() if batch.phase in batch_words.OPEN or ended is None else ended
        try:
            self._beer = await self._recorded(batch, batch.started, max(end, batch.started + timedelta(minutes=5)))
            self.trouble.set_text("")
        except Unavailable as error:
            self.trouble.set_text(f"The past of the beer is not shown: {error}")
        self._write_picture()

    async def _recorded(self, batch: BatchState, start: datetime, end: datetime) -> Beer:
        chamber = self.desk.live.plant.chambers.get(batch.chamber)
        probe = "bath" if chamber is not None and chamber.kind == "reservoir" else "beer"
        series = await self.desk.history.series(batch.chamber, probe, start, end, POINTS)
        zone = self.desk.live.plant.zone
        middles = (series.edges_ms[:-1] + series.edges_ms[1:]) / 2
        pairs = zip(middles.tolist(), series.mean.tolist(), strict=True)
        return [(datetime.fromtimestamp(at / 1000, zone), None if mean != mean else mean) for at, mean in pairs]

    def _write_buttons(self, acts: tuple[Act, ...]) -> None:
        self._acts = acts
        self.buttons.clear()
        with self.buttons:
            for act in acts:
                kind = "grave" if act.text in ("Stop", "Give up") else "strong" if not act.sure else ""
                press(act.text, partial(self._begin, act), kind)
            if acts:
                self._moving()

    def _moving(self) -> None:
        others = [name for name in self.desk.live.plant.chambers if name != self.batch.chamber]
        if others:
            choice = Choice("Chamber to move to", {name: name for name in others}, classes="quiet inline")
            press("Move it there", lambda: self._ask(MoveBatch, "Moved.", chamber=choice.value))

    async def _begin(self, act: Act) -> None:
        """Asks at once, or first whether it is meant."""
        if not act.sure:
            await self._ask(act.kind, act.done)
            return
        self.sure.clear()
        self.sure.set_visibility(True)
        with self.sure:
            words(act.sure, "p")
            with ui.element("div").classes("presses"):
                press(act.text, partial(self._ask, act.kind, act.done), "strong", label=f"{act.text}: yes")
                press("No, leave it", lambda: self.sure.set_visibility(False), looks=True)

    async def _ask(self, kind: type, done: str, **fields: str) -> None:
        self.sure.set_visibility(False)
        await self.told.ask(self.desk.act(kind, batch=self.name, **fields), lambda answer: said(answer, done))


def _shown(value: float | None, form: str, unit: str = "") -> str:
    return "–" if value is None else f"{value:{form}}{unit}"
