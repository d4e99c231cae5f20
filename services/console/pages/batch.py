"""All batches, and how one is started; each batch with its course, its steps, its gravity, and what was said of it."""

from nicegui import ui

from schemas.batches import BatchState
from services.console.access import visitor
from services.console.app import Desk
from services.console.desk import batch_words
from services.console.live import Change
from services.console.pages.batch_course import Progress
from services.console.pages.batch_log import GravityEntry, Log, Remarks
from services.console.pages.batch_plan import PlanEditor
from services.console.pages.batch_start import StartForm
from services.console.pages.fields import looks, readonly_note, words
from services.console.pages.frame import follow, frame, units
from services.console.units import Units, show_temperature

ENDED_SHOWN = 6


def register(desk: Desk) -> None:
    """The list, and a page for each batch."""

    @ui.page("/batch")
    def index() -> None:
        looks()
        with frame(desk, "Batches", "batch"):
            words("Batches", "h1")
            readonly_note()
            Shelf(desk, units()).draw()
            if visitor().may_act:
                StartForm(desk, units()).draw()

    @ui.page("/batch/{name}")
    def one(name: str) -> None:
        looks()
        with frame(desk, name, "batch"):
            OneBatch(desk, name, units()).draw()


class Shelf:
    """Every batch in a line, those under way first."""

    def __init__(self, desk: Desk, picked: Units) -> None:
        self.desk = desk
        self.picked = picked

    def draw(self) -> None:
        """And again whenever a batch changes."""
        self.place = ui.element("div")
        self._write()
        follow(self.desk, self._on_change)

    def _on_change(self, change: Change) -> None:
        if change.kind in ("batches", "plant"):
            self._write()

    def _write(self) -> None:
        found = batch_words.in_order(self.desk.live.batches.values())
        self.place.clear()
        with self.place:
            if not found:
                words("No batch is known yet. Start one below: choose a profile, rehearse it, begin.", "p", "empty")
                return
            ended = sum(one.phase not in batch_words.OPEN for one in found)
            split = len(found) - max(0, ended - ENDED_SHOWN)
            self._rows(found[:split])
            if found[split:]:
                with ui.element("details"):
                    words(f"{len(found) - split} that ended earlier", "summary")
                    self._rows(found[split:])

    def _rows(self, batches: list[BatchState]) -> None:
        with ui.element("ul").classes("shelf"):
            for batch in batches:
                self._row(batch)

    def _row(self, batch: BatchState) -> None:
        step, zone = batch_words.running_step(batch), self.desk.live.plant.zone
        with ui.element("li").classes("" if batch.phase in batch_words.OPEN else "over"):
            ui.link(batch.title or batch.batch, f"/batch/{batch.batch}").classes("beer")
            words(f"{batch.batch}, in {batch.chamber}", "span", "where")
            words(batch_words.PHASES[batch.phase], "span", "phase")
            if step is not None:
                target = show_temperature(step.to_c, self.picked)
                until = batch_words.when(step.ends, zone) if step.ends else step.ends_when
                words(f"{step.name}, {target}, until {until}", "span", "now-step")
            if batch.awaits:
                words(f"▲ {batch.awaits}", "span", "awaits")


class OneBatch:
    """A batch's page. Its parts follow the bus each by itself, so that a form under way is left alone."""

    def __init__(self, desk: Desk, name: str, picked: Units) -> None:
        self.desk = desk
        self.name = name
        self.picked = picked

    def draw(self) -> None:
        """Or, where there is no such batch yet, that it is waited for."""
        if self.name in self.desk.live.batches:
            self._parts()
            return
        place = ui.element("div")
        with place:
            words(f"No batch '{self.name}'", "h1")
            words("Nothing has been heard of a batch with this name. It may have ended long ago.", "p", "empty")
            ui.link("All batches", "/batch")

        def on_change(change: Change) -> None:
            if change.kind == "batches" and change.key == (self.name,) and not place.is_deleted:
                with place:
                    ui.navigate.reload()

        follow(self.desk, on_change)

    def _parts(self) -> None:
        readonly_note()
        Progress(self.desk, self.name, self.picked).draw()
        PlanEditor(self.desk, self.name, self.picked).draw()
        with ui.element("div").classes("two"):
            log = Log(self.desk, self.name)
            GravityEntry(self.desk, self.name, self.picked, log).draw()
            Remarks(self.desk, self.name, log).draw()
        with ui.element("section").classes("panel"):
            words("Report", "h2")
            words("Course, steps, gravity, notes, alarms, energy, and earlier batches beside it.", "p", "hint")
            with ui.element("div").classes("presses"):
                address = f"/api/v1/batches/{self.name}/report"
                ui.link("Read it", f"{address}.html", new_tab=True).classes("press")
                ui.link("Take it away as PDF", f"{address}.pdf").classes("press").props("download")
