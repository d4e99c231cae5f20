"""What people add to a batch: gravities that they measured, notes, and how it tasted."""

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from itertools import islice
from typing import Any

from nicegui import ui

from schemas.journal import JournalEntry
from schemas.requests import LogGravity, StrikeGravity, WriteNote
from services.console.app import Desk
from services.console.desk.answers import said
from services.console.desk.batch_words import when
from services.console.desk.entries import Entry, entries, gravities, local_moment, notes, number_in, scores
from services.console.live import Change
from services.console.pages.fields import Choice, Field, Line, Paragraph, Tick, Told, fault_all, press, words
from services.console.pages.frame import follow
from services.console.sources import Annotation, Unavailable
from services.console.units import Units, mark_of, read_temperature, show_temperature

LOOK_BACK = timedelta(days=2)
"""Before a batch began: its wort may have been measured then."""
MOST_SHOWN = 40
INSTRUMENTS = {"hydrometer_sg": "hydrometer, SG", "refractometer_brix": "refractometer, Brix"}
LIMITS = {"hydrometer_sg": (0.98, 1.17), "refractometer_brix": (0.0, 40.0)}
SCORES = ("aroma", "flavour", "body", "overall")


class Log:
    """What the journal has of one batch: from history once, then from the bus as it is written."""

    def __init__(self, desk: Desk, batch: str) -> None:
        self.desk = desk
        self.batch = batch
        self._past: list[Annotation] = []
        self._writers: list[Callable[[], None]] = []

    @property
    def lines(self) -> list[Entry]:
        """Newest first."""
        heard = (one for one in self.desk.live.journal if one.batch == self.batch)
        return entries(self._past, heard)

    def follow(self, write: Callable[[], None]) -> None:
        """Writes anew with each new line of this batch, and when history has been read."""
        self._writers.append(write)
        if len(self._writers) == 1:
            follow(self.desk, self._on_change)
            ui.timer(0.1, self._look_back, once=True)

    async def _look_back(self) -> None:
        now = self.desk.clock.now()
        batch = self.desk.live.batches.get(self.batch)
        begun = batch.started if batch is not None and batch.started is not None else now
        start, end = begun - LOOK_BACK, now + timedelta(minutes=1)
        try:
            found = await self.desk.history.annotations(start, end, kind="journal")
        except Unavailable:
            return  # the picture above says so; what was heard since is shown
        self._past = [one for one in found if one.batch == self.batch]
        self._write()

    def _on_change(self, change: Change) -> None:
        if change.kind == "journal" and any(one.id in change.key for one in self._newest()):
            self._write()

    def _write(self) -> None:
        for write in self._writers:
            write()

    def _newest(self) -> list[JournalEntry]:
        return [one for one in islice(reversed(self.desk.live.journal), 5) if one.batch == self.batch]


class GravityEntry:
    """A form for a measurement by hand, and those that were entered."""

    def __init__(self, desk: Desk, name: str, picked: Units, log: Log) -> None:
        self.desk = desk
        self.name = name
        self.picked = picked
        self.log = log

    def draw(self) -> None:
        """Form first, entries beneath."""
        with ui.element("section").classes("panel").props('aria-label="Gravity"'):
            words("Gravity", "h2")
            words("As the instrument shows it: temperature and alcohol are corrected for.", "p", "hint")
            warm = show_temperature(20.0, self.picked, mark=False)
            with ui.element("div").classes("fields"):
                self.instrument = Choice("Instrument", INSTRUMENTS)
                self.reading = Line("Reading", such_as="1.014")
                self.sample = Line("Sample at", warm, unit=mark_of("temperature", self.picked))
                self.taken = Line("Taken", kind="datetime-local", help="Empty is now.")
                self.original = Tick("Original", "", help="Of the wort, before the yeast.")
            self.fields: dict[str, Field] = {"reading": self.reading, "sample": self.sample, "taken": self.taken}
            press("Enter the gravity", self._enter, "strong")
            self.told = Told()
            self.place = ui.element("div")
        self.write()
        self.log.follow(self.write)

    def write(self) -> None:
        """The entries, those that no longer count marked as such."""
        self.place.clear()
        with self.place:
            for entry, counts in gravities(self.log.lines)[:MOST_SHOWN]:
                self._row(entry, counts)

    def _row(self, entry: Entry, counts: bool) -> None:
        taken = datetime.fromisoformat(str(entry.facts.get("taken") or entry.at.isoformat()))
        with ui.element("div").classes("logged" if counts else "logged struck"):
            words(f"{float(entry.facts.get('gravity_sg', 0)):.4f}", "span", "figure")
            words(f"{when(taken, self.desk.live.plant.zone)}, {entry.who}", "span", "where")
            if counts:
                press("Strike it", partial(self._strike, entry), "quiet small", label=f"Strike {entry.why}")
            else:
                words("struck: it no longer counts", "span", "where")

    async def _enter(self) -> None:
        low, high = LIMITS[self.instrument.value]
        given, problems = checked(
            reading=lambda: number_in(self.reading.value, low, high),
            sample=lambda: read_temperature(self.sample.value, self.picked),
            taken=lambda: local_moment(self.taken.value, self.desk.live.plant.zone),
        )
        fault_all(self.fields, problems)
        if problems:
            return
        said_of = {self.instrument.value: given["reading"], "sample_c": given["sample"], "taken": given["taken"]}
        original = self.original.value == "yes"
        asking = self.desk.act(LogGravity, batch=self.name, is_original=original, **said_of)
        await self.told.ask(asking, lambda answer: said(answer, "Entered."))

    async def _strike(self, entry: Entry) -> None:
        asking = self.desk.act(StrikeGravity, batch=self.name, entry=str(entry.facts["entry"]))
        await self.told.ask(asking, lambda answer: said(answer, "It no longer counts."))


class Remarks:
    """Notes and tasting."""

    def __init__(self, desk: Desk, name: str, log: Log) -> None:
        self.desk = desk
        self.name = name
        self.log = log

    def draw(self) -> None:
        """Form first, what was said beneath."""
        with ui.element("section").classes("panel").props('aria-label="Notes and tasting"'):
            words("Notes and tasting", "h2")
            self.text = Paragraph("What is there to say?", rows=3, classes="wide")
            words("How good it was, 0 to 10, where it was tasted:", "p", "hint")
            with ui.element("div").classes("fields scores"):
                self.scores: dict[str, Field] = {name: Line(name.capitalize()) for name in SCORES}
            press("Write it down", self._write_down, "strong")
            self.told = Told()
            self.place = ui.element("div")
        self.write()
        self.log.follow(self.write)

    def write(self) -> None:
        """What was said."""
        self.place.clear()
        with self.place:
            for entry in notes(self.log.lines)[:MOST_SHOWN]:
                with ui.element("div").classes("noted"):
                    words(entry.why, "p")
                    parts = (when(entry.at, self.desk.live.plant.zone), entry.who, scores(entry))
                    words(", ".join(part for part in parts if part), "p", "where")

    async def _write_down(self) -> None:
        tasted = {name: one.value for name, one in self.scores.items() if one.value.strip()}
        given, problems = checked(**{name: partial(number_in, value, 0.0, 10.0) for name, value in tasted.items()})
        fault_all({"text": self.text, **self.scores}, problems if self.text.value.strip() else {"text": "write a word"})
        if problems or not self.text.value.strip():
            return
        asking = self.desk.act(WriteNote, batch=self.name, text=self.text.value.strip(), scores=given)
        await self.told.ask(asking, lambda answer: said(answer, "Written down."))


def checked(**readers: Callable[[], Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """What each reader makes of its field, and the complaints of those that cannot make anything of it."""
    given: dict[str, Any] = {}
    problems: dict[str, str] = {}
    for name, read in readers.items():
        try:
            given[name] = read()
        except ValueError as error:
            problems[name] = str(error)
    return given, problems
