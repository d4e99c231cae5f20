"""A batch before it begins: which beer, where, by which profile; what would happen; and only then the button."""

import asyncio
import re
from datetime import datetime, timedelta
from typing import Any

from nicegui import ui

from schemas.profiles import Profile
from schemas.requests import StartBatch
from services.console.app import Desk
from services.console.desk import batch_words
from services.console.desk.answers import Said, said
from services.console.desk.drawing import Course, Strip, course_pictures
from services.console.desk.entries import local_moment, number_in
from services.console.link import NoAnswer
from services.console.pages.batch_log import checked
from services.console.pages.fields import Choice, Field, Line, Paragraph, Told, fault_all, press, words
from services.console.sources import NotUsable, Unavailable
from services.console.units import Units, mark_of, number

_NAME = re.compile(r"[a-z0-9]([a-z0-9-]{0,38}[a-z0-9])?")
BLANK = """profile: my-ale
about: Write a word on it.
steps:
  - {name: ferment, hold: 18 degC, for: 7 d}
  - {name: crash, to: 2 degC, over: 24 h}
  - {name: serve, hold: 4 degC}
"""
OWN = "(written by hand)"
LONGEST_D = 28.0
KEY = "Dark: the beer. Ochre: what the profile asks for."


class StartForm:
    """The form; what was rehearsed counts until profile, chamber or original gravity change."""

    def __init__(self, desk: Desk, picked: Units) -> None:
        self.desk = desk
        self.picked = picked
        self._named = False

    def draw(self) -> None:
        """Fields, rehearsal, button, in the order in which a person goes through them."""
        profiles = self.desk.profiles.names()
        with ui.element("section").classes("panel begin").props('aria-label="Begin a batch"'):
            words("Begin a batch", "h2")
            with ui.element("div").classes("two"):
                with ui.element("div"):
                    self._which(profiles)
                self.text_place = ui.element("div")
            self._write_text(self.desk.profiles.text(profiles[0]) if profiles else BLANK)
            self.rehearsal = Rehearsal(self.desk, self.picked)
            with ui.element("div").classes("presses"):
                press("Rehearse it", self._rehearse, "strong")
                self.begin = press("Begin without rehearsing", self._begin)
            self.told = Told()
            self.rehearsal.draw()

    def _which(self, profiles: list[str]) -> None:
        chambers = {name: self._chamber_words(name) for name in self.desk.live.plant.chambers}
        self.title = Line("Beer", such_as="Oat pale", classes="wide")
        self.name_place = ui.element("div")
        self._write_name(batch_words.suggested_name("", self.desk.live.batches))
        self.chamber = Choice("Chamber", chambers)
        self.original = Line("Original gravity", such_as="1.052", help="May be left empty where no step needs it.")
        self.begins = Line("Begins", kind="datetime-local", help="Empty is at once; on the site's clocks.")
        self.profile = Choice("Profile", {**{name: name for name in profiles}, OWN: OWN})
        self.title.on_change(self._suggest)
        self.profile.on_change(self._take_profile)
        for one in (self.chamber, self.original):
            one.on_change(self._forget_rehearsal)

    def _chamber_words(self, name: str) -> str:
        there = next(
            (
                one
                for one in self.desk.live.batches.values()
                if one.chamber == name and one.phase in batch_words.UNDER_WAY
            ),
            None,
        )
        return f"{name}, where {there.title or there.batch} is" if there else f"{name}, free"

    def _write_name(self, value: str) -> None:
        self.name_place.clear()
        with self.name_place:
            self.name = Line("Batch", value, help="Lower-case letters, digits and hyphens.")
        self.name.on_change(self._take_name)

    def _take_name(self, _value: str) -> None:
        self._named = True

    def _suggest(self, title: str) -> None:
        if not self._named:
            self._write_name(batch_words.suggested_name(title, self.desk.live.batches))

    def _take_profile(self, name: str) -> None:
        self._write_text(BLANK if name == OWN else self.desk.profiles.text(name))
        self._forget_rehearsal("")

    def _write_text(self, text: str) -> None:
        self.text_place.clear()
        with self.text_place:
            note = "As in a profile file: change it here for this batch, or paste another."
            self.text = Paragraph("The profile, written out", text, rows=22, help=note, classes="mono")
        self.text.on_change(self._check_text)

    def _check_text(self, _text: str) -> None:
        self._forget_rehearsal("")
        self._profile()

    def _forget_rehearsal(self, _value: str) -> None:
        self.rehearsal.forget()
        self._say_begin("Begin without rehearsing")

    def _say_begin(self, text: str) -> None:
        self.begin.set_text(text)

    def _profile(self) -> Profile | None:
        """What is written, or None with the complaint beside it."""
        try:
            profile: Profile = self.desk.profiles.read(self.text.value)
        except NotUsable as error:
            self.text.fault(str(error))
            return None
        self.text.fault("")
        return profile

    def _given(self) -> dict[str, Any] | None:
        """Everything but the profile; None with complaints beside the fields."""
        given, problems = checked(
            name=lambda: _name(self.name.value),
            original=lambda: number_in(self.original.value, 0.98, 1.2) if self.original.value.strip() else None,
            begins=lambda: local_moment(self.begins.value, self.desk.live.plant.zone),
        )
        fields: dict[str, Field] = {"name": self.name, "original": self.original, "begins": self.begins}
        fault_all(fields, problems)
        return None if problems else given

    async def _rehearse(self) -> None:
        given, profile = self._given(), self._profile()
        if given is None or profile is None:
            self.told.say(Said("refused", "See the fields above; nothing was rehearsed."))
            return
        self.told.clear()
        if await self.rehearsal.play(self.text.value, self.chamber.value, given["original"]):
            self._say_begin("Begin")

    async def _begin(self) -> None:
        given, profile = self._given(), self._profile()
        if given is None or profile is None:
            self.told.say(Said("refused", "See the fields above; nothing was begun."))
            return
        asking = self.desk.act(
            StartBatch,
            batch=given["name"],
            title=self.title.value.strip() or given["name"],
            chamber=self.chamber.value,
            profile=profile,
            original_gravity_sg=given["original"],
            begins=given["begins"],
        )
        answer = await self.told.ask(asking, lambda one: said(one, "It has begun."))
        if not isinstance(answer, NoAnswer) and answer.outcome == "accepted":
            ui.navigate.to(f"/batch/{given['name']}")


class Rehearsal:
    """What would happen: the course, when each step would be, energy, calls for help, and the verdict."""

    def __init__(self, desk: Desk, picked: Units) -> None:
        self.desk = desk
        self.picked = picked
        self._turn = 0

    def draw(self) -> None:
        """An empty place."""
        self.place = (
            ui.element("div").classes("rehearsal").props('role="region" aria-live="polite" aria-label="Rehearsal"')
        )

    def forget(self) -> None:
        """What was rehearsed is not what is written now."""
        self._turn += 1
        self.place.clear()

    async def play(self, text: str, chamber: str, original: float | None) -> bool:
        """True when it was played to an answer, whatever that is."""
        self.forget()
        turn = self._turn
        with self.place:
            line = words("Rehearsing ...", "p", "waiting")
            bar = ui.element("progress").props('aria-label="Rehearsal under way"')
        waited = asyncio.create_task(self._count(line))
        try:
            answer = await self.desk.rehearsals.rehearse(text, chamber, original, LONGEST_D)
        except (NotUsable, Unavailable) as error:
            self._end(turn, f"It cannot be rehearsed: {error}")
            return False
        finally:
            waited.cancel()
            if not bar.is_deleted:
                bar.delete()
        if turn != self._turn:
            return False
        self.place.clear()
        with self.place:
            self._show(answer)
        return True

    async def _count(self, line: Any) -> None:
        began = self.desk.clock.elapsed()
        while True:
            await asyncio.sleep(1)
            passed = self.desk.clock.elapsed() - began
            line.set_text(f"Rehearsing for {passed:.0f} s; four weeks take about half a minute ...")

    def _end(self, turn: int, text: str) -> None:
        if turn == self._turn:
            self.place.clear()
            with self.place:
                words(text, "p", "answer refused")

    def _show(self, answer: dict[str, Any]) -> None:
        zone = self.desk.live.plant.zone
        words(str(answer["verdict"]), "p", "verdict")
        ui.html(self._picture(answer), sanitize=False).classes("course")
        facts = f"{answer['kwh']:.1f} kWh on the whole site, {answer['starts']} compressor starts"
        words(f"{facts}; {'to its end' if answer['finished'] else 'followed for four weeks at most'}.", "p", "hint")
        words(KEY, "p", "hint")
        with ui.element("div").classes("scroll"), ui.element("table").classes("rows"):
            with ui.element("thead"), ui.element("tr"):
                for head in ("Step", "Would begin", "Would end", "Would last"):
                    words(head, "th")
            with ui.element("tbody"):
                for name, began, ended in answer["steps"]:
                    begins = datetime.fromisoformat(began)
                    ends = datetime.fromisoformat(ended) if ended else None
                    lasts = batch_words.lasting(ends - begins) if ends else "goes on"
                    with ui.element("tr"):
                        for cell in (name, batch_words.when(begins, zone), batch_words.when(ends, zone), lasts):
                            words(cell, "td")

    def _picture(self, answer: dict[str, Any]) -> str:
        points = [(datetime.fromisoformat(at), beer, wanted) for at, beer, wanted in answer["curve"]]
        if not points:
            return ""
        last = points[-1][0] + timedelta(minutes=1)
        strips = [
            Strip(name, datetime.fromisoformat(began), datetime.fromisoformat(ended) if ended else last)
            for name, began, ended in answer["steps"]
        ]
        thin = points[:: max(1, len(points) // 900)]
        course = Course(
            strips=strips,
            beer=[(at, beer) for at, beer, _ in thin],
            wanted=[(at, wanted) for at, _, wanted in thin],
            now=None,
            degrees=lambda celsius: number("temperature", celsius, self.picked),
            unit=mark_of("temperature", self.picked),
        )
        return course_pictures(course, f"Rehearsed course. {answer['verdict']}", self.desk.live.plant.zone)


def _name(written: str) -> str:
    if not _NAME.fullmatch(written.strip()):
        raise ValueError("lower-case letters, digits and inner hyphens, 40 at the most")
    return written.strip()
