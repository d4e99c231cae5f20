"""Who decided what, and why: a stretch of the journal, sifted, and to take away."""

from datetime import timedelta
from functools import partial
from urllib.parse import urlencode

from fastapi import Request, Response
from nicegui import app, ui

from services.console.app import Desk
from services.console.desk.alarm_list import place
from services.console.desk.entries import Entry, Sieve, as_csv, as_json_lines, entries
from services.console.live import Change
from services.console.pages.fields import Choice, Line, looks, press, words
from services.console.pages.frame import follow, frame
from services.console.sources import Annotation, Unavailable

DAYS = {"1": "a day", "7": "a week", "28": "four weeks", "90": "three months", "3650": "all"}
SHOWN = 100
ALL = ""
FORMS = {"csv": (as_csv, "text/csv; charset=utf-8"), "jsonl": (as_json_lines, "application/x-ndjson; charset=utf-8")}


def register(desk: Desk) -> None:
    """The page, and the same lines as a file."""

    @ui.page("/journal")
    def journal() -> None:
        looks()
        with frame(desk, "Journal", "journal"):
            words("Journal", "h1")
            words("What people and services decided, and why. Nothing is ever taken out of it.", "p", "hint")
            JournalPage(desk).draw()

    @app.get("/journal/export.{form}", include_in_schema=False)
    async def export(form: str, request: Request) -> Response:
        if form not in FORMS:
            return Response(f"There is no such form; there are: {', '.join(FORMS)}", 404, media_type="text/plain")
        asked = request.query_params
        try:
            found = await lines(desk, _days(asked.get("days", "7")))
        except Unavailable as error:
            return Response(str(error), 503, media_type="text/plain")
        sieve = Sieve(**{name: asked.get(name, "") for name in ("who", "event", "chamber", "batch", "text")})
        write, media_type = FORMS[form]
        name = f"journal-{desk.live.plant.site.name}-{desk.clock.now():%Y%m%d}.{form}"
        headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
        return Response(write([one for one in found if sieve.passes(one)]), 200, headers, media_type)


async def lines(desk: Desk, days: float) -> list[Entry]:
    """The journal of so many days, newest first, with what was heard just now. Raises Unavailable."""
    now = desk.clock.now()
    start = now - timedelta(days=days)
    past = await desk.history.annotations(start, now + timedelta(minutes=1), kind="journal")
    return entries(past, [one for one in desk.live.journal if one.at >= start])


class JournalPage:
    """The sieve, the lines that pass, and where they can be had as a file."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.sieve = Sieve()
        self.days = "7"
        self.most = SHOWN
        self._past: list[Annotation] = []

    def draw(self) -> None:
        """Lines come when the page stands, and new ones as they are written."""
        with ui.element("form").classes("fields sieve").props('aria-label="Which lines" onsubmit="return false"'):
            Choice("The last", DAYS, self.days).on_change(self._reach)
            self.choices = ui.element("div").classes("fields")
            Line("Words", such_as="crash").on_change(lambda said: self._sift(text=said))
        with ui.element("div").classes("presses"):
            self.csv = ui.link("Take away as CSV", "").classes("press small").props("download")
            self.json_lines = ui.link("Take away as JSON Lines", "").classes("press small").props("download")
        self.count = words("", "p", "hint").props('role="status"')
        self.place = ui.element("ol").classes("journal")
        with self.place:
            words("Looking it up ...", "li", "empty")
        self.further = press(f"Show {SHOWN} more", self._show_more, looks=True)
        self._link()
        follow(self.desk, self._on_change)
        ui.timer(0.05, self._read, once=True)

    async def _reach(self, days: str) -> None:
        self.days = days
        await self._read()

    def _sift_by(self, name: str, value: str) -> None:
        self._sift(**{name: value})

    def _sift(self, **changes: str) -> None:
        said = {name: getattr(self.sieve, name) for name in ("who", "event", "chamber", "batch", "text")}
        self.sieve = Sieve(**{**said, **changes})
        self._write()

    def _on_change(self, change: Change) -> None:
        if change.kind == "journal":
            self._write()

    async def _read(self) -> None:
        now = self.desk.clock.now()
        trouble = ""
        try:
            start = now - timedelta(days=_days(self.days))
            self._past = list(await self.desk.history.annotations(start, now + timedelta(minutes=1), kind="journal"))
        except Unavailable as error:
            trouble = f"Only what was heard since this console began is shown: {error}"
        self._write_choices()
        self._write(trouble)

    def _all(self) -> list[Entry]:
        return entries(self._past, self.desk.live.journal)

    def _write_choices(self) -> None:
        """What can be asked for is what there is."""
        found = self._all()
        values = {
            "who": ("Who", sorted({one.who for one in found if one.who})),
            "event": ("What", sorted({one.event for one in found})),
            "chamber": ("Where", sorted({one.chamber for one in found if one.chamber})),
            "batch": ("Batch", sorted({one.batch for one in found if one.batch})),
        }
        self.choices.clear()
        with self.choices:
            for name, (label, options) in values.items():
                said = {ALL: "all", **{one: one.replace("-", " ") if name == "event" else one for one in options}}
                picked = getattr(self.sieve, name)
                Choice(label, said, picked).on_change(partial(self._sift_by, name))

    def _write(self, trouble: str = "") -> None:
        found = [one for one in self._all() if self.sieve.passes(one)]
        shown = found[: self.most]
        counted = f"{len(found)} lines" if len(found) != 1 else "1 line"
        more = f", the newest {self.most} shown; the file has all" if len(found) > self.most else ""
        self.count.set_text(f"{counted}{more}. {trouble}".strip())
        self._link()
        self.place.clear()
        with self.place:
            for before, one in zip([None, *shown], shown, strict=False):
                self._day(before, one)
                self._line(one)
            if not shown:
                words("No line is like that.", "li", "empty")
        self.further.set_visibility(len(found) > self.most)

    def _show_more(self) -> None:
        self.most += SHOWN
        self._write()

    def _link(self) -> None:
        said = {name: getattr(self.sieve, name) for name in ("who", "event", "chamber", "batch", "text")}
        query = urlencode({"days": self.days, **{name: value for name, value in said.items() if value}})
        self.csv.props["href"] = f"/journal/export.csv?{query}"
        self.json_lines.props["href"] = f"/journal/export.jsonl?{query}"

    def _day(self, before: Entry | None, one: Entry) -> None:
        zone = self.desk.live.plant.zone
        day = one.at.astimezone(zone).date()
        if before is None or before.at.astimezone(zone).date() != day:
            words(f"{day:%A %d %B %Y}", "li", "day")

    def _line(self, one: Entry) -> None:
        with ui.element("li").classes("entry"):
            words(f"{one.at.astimezone(self.desk.live.plant.zone):%H:%M:%S}", "span", "time")
            words(one.who, "span", "who-did")
            with ui.element("div"):
                words(one.title, "span", "event")
                parts = (one.alarm, one.batch, place(one.chamber) if one.chamber else "")
                where = ", ".join(part for part in parts if part)
                words(where, "span", "where")
                words(one.why, "p")


def _days(written: str) -> float:
    try:
        return min(max(float(written), 0.04), 3650.0)
    except ValueError:
        return 7.0
