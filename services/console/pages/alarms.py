"""What needs a person, most urgent first; what is kept silent and why; what there was, and how many a day."""

from datetime import datetime, timedelta
from functools import partial
from typing import Any

from nicegui import ui

from schemas.alarms import Alarm, Nuisance, Priority
from schemas.quantities import QuantityError, magnitude
from schemas.requests import (
    AcknowledgeAlarm,
    RequestBase,
    ResetAlarm,
    ReturnAlarmToService,
    ShelveAlarm,
    TakeAlarmOutOfService,
    UnshelveAlarm,
)
from services.console.app import Desk
from services.console.desk import alarm_list
from services.console.desk.answers import said
from services.console.desk.drawing import bars_picture
from services.console.live import Change
from services.console.pages.fields import Line, Told, looks, press, readonly_note, words
from services.console.pages.frame import follow, frame
from services.console.sources import Unavailable

DAYS = 14
SHOWN = 60
MARKS = {Priority.CRITICAL: "▲▲", Priority.HIGH: "▲", Priority.MEDIUM: "△", Priority.LOW: "·"}
PLAIN: dict[str, tuple[str, type[RequestBase], str]] = {
    "acknowledge": ("I see to it", AcknowledgeAlarm, "Acknowledged."),
    "reset": ("Close it", ResetAlarm, "Closed."),
    "bring back": ("Bring it back", UnshelveAlarm, "It can be heard again."),
    "put back": ("Back into service", ReturnAlarmToService, "It can be heard again."),
}
NUISANCES = {
    Nuisance.CHATTERING: "It comes and goes: a limit or a contact may want looking at.",
    Nuisance.STALE: "It has stood for over a day.",
}


def register(desk: Desk) -> None:
    """The page."""

    @ui.page("/alarms")
    def alarms() -> None:
        looks()
        with frame(desk, "Alarms", "alarms"):
            words("Alarms", "h1")
            readonly_note()
            Standing(desk).draw()
            Past(desk).draw()


class Standing:
    """The alarms that stand, and those that are kept silent. Only what has changed is drawn anew: a form stays open."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._items: dict[tuple[str, str], tuple[Alarm, ui.element]] = {}

    def draw(self) -> None:
        """And again on every change that concerns it."""
        self.told = Told()
        self.nothing = words("", "p", "empty")
        self.waiting = ui.element("section").props('aria-label="Alarms that stand"')
        self.silence = words("Kept silent", "h2", "title")
        self.silent = ui.element("section").props('aria-label="Alarms kept silent"')
        self._write()
        follow(self.desk, self._on_change)

    def _on_change(self, change: Change) -> None:
        if change.kind in ("alarms", "link", "plant"):
            self._write()

    def _write(self) -> None:
        alarms = list(self.desk.live.alarms.values())
        waiting, silent = alarm_list.waiting(alarms), alarm_list.silent(alarms)
        self.nothing.set_text("" if waiting else self._nothing())
        self.silence.set_visibility(bool(silent))
        self._drop({(one.chamber, one.name) for one in (*waiting, *silent)})
        for place, found in ((self.waiting, waiting), (self.silent, silent)):
            for index, alarm in enumerate(found):
                self._put(alarm, place, index)

    def _drop(self, left: set[tuple[str, str]]) -> None:
        for key in [key for key in self._items if key not in left]:
            self._items.pop(key)[1].delete()

    def _put(self, alarm: Alarm, place: ui.element, index: int) -> None:
        key = (alarm.chamber, alarm.name)
        known = self._items.get(key)
        if known is None:
            with place:
                item = ui.element("article")
        else:
            item = known[1]
        if known is None or known[0] != alarm:
            item.clear()
            with item:
                self._item(alarm, item)
        if item not in place.default_slot.children[index : index + 1]:
            item.move(place, index)
        self._items[key] = (alarm, item)

    def _nothing(self) -> str:
        if not self.desk.bus.connected:
            return "The broker is away: whether an alarm stands is not known."
        return "No alarm stands. What needs a person would be here, and be told to whom the plant file names."

    def _item(self, alarm: Alarm, item: ui.element) -> None:
        silent = alarm.phase in alarm_list.SILENT
        item.classes(replace=f"alarm {alarm.priority} {'silent' if silent else ''}")
        with ui.element("header"):
            words(f"{MARKS[alarm.priority]} {alarm.priority}", "span", "priority")
            words(f"{alarm_list.title(alarm)}, {alarm_list.place(alarm.chamber)}", "h3")
            words(_state(alarm, self._local), "span", "phase")
        words(alarm.detail, "p", "detail")
        if not silent:
            _advice(alarm)
        self._acts(alarm)

    def _acts(self, alarm: Alarm) -> None:
        may = alarm_list.MAY.get(alarm.phase, ())
        with ui.element("div").classes("presses"):
            for name in (name for name in may if name in PLAIN):
                text, kind, done = PLAIN[name]
                strong = "strong" if name == "acknowledge" else ""
                label = f"{text}: {alarm_list.title(alarm)}, {alarm_list.place(alarm.chamber)}"
                press(text, partial(self._ask, alarm, kind, done), strong, label=label)
            more = [name for name in may if name in ("shelve", "take out")]
            if more:
                press("Silence it …", lambda: silence.set_visibility(not silence.visible), "quiet")
        if more:
            silence = ui.element("div").classes("silence")
            silence.set_visibility(False)
            with silence:
                self._silence_form(alarm, more)

    def _silence_form(self, alarm: Alarm, may: list[str]) -> None:
        """A reason, a time where it has one, and where it is said what was wrong with either."""
        with ui.element("div").classes("fields"):
            why = Line("Reason", such_as="door seal on order", help="Kept in the journal.")
            lasting = Line("For", "2 h", help="At most 7 d.") if "shelve" in may else None
            if lasting is not None:
                press("Shelve", lambda: self._shelve(alarm, why, lasting))
            if "take out" in may:
                press("Take out of service", lambda: self._take_out(alarm, why), "grave")

    async def _shelve(self, alarm: Alarm, why: Line, lasting: Line) -> None:
        try:
            until = self.desk.clock.now() + timedelta(seconds=magnitude(lasting.value, "second"))
        except (QuantityError, OverflowError):
            lasting.fault(f"{lasting.value!r} is no length of time; write it like '2 h'")
            return
        lasting.fault("")
        if _given(why):
            await self._ask(alarm, ShelveAlarm, "Shelved.", why=why.value, until=until)

    async def _take_out(self, alarm: Alarm, why: Line) -> None:
        if _given(why):
            await self._ask(alarm, TakeAlarmOutOfService, "Out of service until it is put back.", why=why.value)

    async def _ask(self, alarm: Alarm, kind: type[RequestBase], done: str, **fields: Any) -> None:
        asking = self.desk.act(kind, chamber=alarm.chamber, name=alarm.name, **fields)
        await self.told.ask(asking, lambda answer: said(answer, done))

    def _local(self, at: datetime) -> str:
        return at.astimezone(self.desk.live.plant.zone).strftime("%a %d %b %H:%M")


class Past:
    """What there was in the last two weeks."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def draw(self) -> None:
        """Read when the page has been drawn, so that a slow store delays nothing."""
        with ui.element("section").classes("panel history"):
            words(f"The last {DAYS} days", "h2")
            self.place = ui.element("div")
            with self.place:
                words("Looking it up ...", "p", "empty")
        ui.timer(0.05, self._read, once=True)

    async def _read(self) -> None:
        now = self.desk.clock.now()
        try:
            found = await self.desk.history.annotations(now - timedelta(days=DAYS), now, kind="alarm")
        except Unavailable as error:
            self.place.clear()
            with self.place:
                words(f"{error}", "p", "empty")
            return
        self._write(alarm_list.raised(found, self.desk.live.plant.zone), now)

    def _write(self, found: list[alarm_list.Raised], now: datetime) -> None:
        today = now.astimezone(self.desk.live.plant.zone).date()
        self.place.clear()
        with self.place:
            words(alarm_list.rate_words(found, DAYS), "p", "rate")
            if found:
                counts = alarm_list.per_day(found, today, DAYS)
                ui.html(
                    bars_picture(counts, f"Alarms a day. {alarm_list.rate_words(found, DAYS)}"), sanitize=False
                ).classes("rate-picture")
                _table(found[:SHOWN])
            if len(found) > SHOWN:
                words(f"The newest {SHOWN} of {len(found)}; the journal has all.", "p", "hint")


def _given(why: Line) -> bool:
    why.fault("" if why.value.strip() else "say why: it is kept in the journal")
    return bool(why.value.strip())


def _state(alarm: Alarm, local: Any) -> str:
    by = f", by {alarm.by}" if alarm.by else ""
    until = f" until {local(alarm.until)}" if alarm.until else ""
    return f"{alarm_list.PHASES[alarm.phase]}{by}{until}, since {local(alarm.since)}"


def _advice(alarm: Alarm) -> None:
    words(alarm.response, "p", "response")
    with ui.element("details"):
        words("Why, and what follows", "summary")
        words(f"Cause: {alarm.cause}")
        words(f"If nobody acts: {alarm.consequence}")
        for one in alarm.nuisance:
            words(NUISANCES[one])


def _table(found: list[alarm_list.Raised]) -> None:
    with ui.element("div").classes("scroll"), ui.element("table").classes("rows"):
        with ui.element("thead"), ui.element("tr"):
            for head in ("Raised", "Priority", "Alarm", "Where", "Detail"):
                words(head, "th")
        with ui.element("tbody"):
            for one in found:
                with ui.element("tr"):
                    words(f"{one.at:%a %d %b %H:%M}", "td", "time")
                    words(one.priority, "td", f"priority {one.priority}")
                    words(alarm_list.title(one), "td")
                    words(alarm_list.place(one.chamber), "td")
                    words(one.text, "td")
