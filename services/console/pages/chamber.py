"""One chamber: its line, probes and outputs, what holds it back, what is believed of it, and what may be done to it."""

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from html import escape

from nicegui import ui

from schemas.plant import Measure
from schemas.requests import ClearLockOut, ClearTemperature, LockOut, ResetInterlock, SetTemperature
from services.console.app import Desk
from services.console.board import particulars
from services.console.board.calibrating import advise
from services.console.board.particulars import moment, table
from services.console.board.window import CLOSE_MS
from services.console.desk.answers import said
from services.console.live import Change
from services.console.pages import board
from services.console.pages.fields import Choice, Line, Told, looks, press, readonly_note, words
from services.console.pages.frame import follow, frame, units
from services.console.sources import Unavailable
from services.console.units import mark_of, read_temperature

EVENT_DAYS = 14
LASTING = {"1": "1 hour", "4": "4 hours", "12": "12 hours", "24": "1 day", "72": "3 days", "": "until it is taken back"}
LATCHED = ", stays until a person resets it"
LOCK_WORDS = "Keeps every output off while somebody works on it. It is no lock on the mains: unplug what you work on."
ICE_WORDS = (
    "Put the probe in crushed ice just covered with water and stir: that is 0 °C. A second point, at least 5 K away "
    "and read from a thermometer that you trust, puts the slope right as well. Wait until the figure stands still."
)


def register(desk: Desk) -> None:
    """Declares `/chamber/{name}`."""

    @ui.page("/chamber/{name}", response_timeout=10)
    async def chamber(name: str) -> None:
        looks()
        board.looks()
        described = desk.live.plant.chambers.get(name)
        with frame(desk, (described.title or name) if described else "No such chamber", "board"):
            if described is None:
                _nothing(desk, name)
            else:
                await ChamberPage(desk, name).show()


class ChamberPage:
    """One visitor's view of a chamber."""

    def __init__(self, desk: Desk, name: str) -> None:
        self._desk, self._name = desk, name
        self._units = units()
        self._parts: list[tuple[ui.html, Callable[[], str]]] = []

    async def show(self) -> None:
        """The lane above, tables and forms beneath, what happened last."""
        described = self._desk.live.plant.chambers[self._name]
        words(described.title or self._name, "h1")
        readonly_note()
        line = board.BoardPage(self._desk, self._name, CLOSE_MS)
        line.show()
        with ui.element("div").classes("columns particulars"):
            self._written("Holding it back", self._interlocks, self._resets)
            self._written("What is believed of it", self._belief)
            self._own_setpoint()
            self._lock_out()
        self._written("Probes", self._probes)
        self._written("Outputs", self._outputs)
        self._calibration()
        await self._events()
        follow(self._desk, self._on_change)
        line.begin()

    def _written(self, title: str, write: Callable[[], str], more: Callable[[], None] | None = None) -> None:
        """A panel whose words follow what happens."""
        with ui.element("section").classes("panel"):
            words(title, "h2")
            self._parts.append((ui.html(write(), sanitize=False), write))
            if more is not None:
                more()

    def _on_change(self, change: Change) -> None:
        known = self._name in self._desk.live.plant.chambers
        if known and (not change.key or self._name in change.key):
            for part, write in self._parts:
                part.set_content(write())

    def _probes(self) -> str:
        heads = ("probe", "measures", "shows", "quality", "put right by", "every")
        return table(heads, particulars.probe_rows(self._desk.live, self._name, self._units), "Probes")

    def _outputs(self) -> str:
        heads = ("output", "drives", "does", "since", "why", "known by", "draws")
        return table(heads, particulars.output_rows(self._desk.live, self._name), "Outputs")

    def _belief(self) -> str:
        said_of_it = particulars.belief(self._desk.live.statuses.get(self._name), self._units)
        return "".join(f"<p>{escape(one)}</p>" for one in said_of_it)

    def _interlocks(self) -> str:
        status, zone = self._desk.live.statuses.get(self._name), self._desk.live.plant.zone
        if status is None:
            return '<p class="empty">The supervisor has not spoken of this chamber yet.</p>'
        if not status.interlocks:
            return '<p class="empty">Nothing: control has its way.</p>'
        items = (
            f"<li><b>{escape(one.id.replace('-', ' '))}</b>: {escape(one.reason)} "
            f"<small>since {moment(one.since, zone)}{LATCHED if one.latched else ''}</small></li>"
            for one in status.interlocks
        )
        return f'<ul class="held">{"".join(items)}</ul>'

    def _resets(self) -> None:
        """Those that latched wait for somebody who has looked."""
        self._resetting = ui.element("div").classes("presses")
        self._reset_told = Told()
        self._offered: tuple[str, ...] = ()
        self._parts.append((ui.html("", sanitize=False), self._offer_resets))
        self._offer_resets()

    def _offer_resets(self) -> str:
        status = self._desk.live.statuses.get(self._name)
        latched = tuple(one.id for one in status.interlocks if one.latched) if status else ()
        if latched != self._offered:
            self._offered = latched
            self._resetting.clear()
            with self._resetting:
                for one in latched:
                    press(f"Reset {one.replace('-', ' ')}: I have looked", partial(self._reset, one))
        return ""

    async def _reset(self, interlock: str) -> None:
        asking = self._desk.act(ResetInterlock, chamber=self._name, interlock=interlock, why="looked at")
        await self._reset_told.ask(asking, said)

    def _own_setpoint(self) -> None:
        with ui.element("section").classes("panel"):
            words("What is asked of it", "h2")
            self._parts.append((ui.html(self._asked(), sanitize=False), self._asked))
            with ui.element("div").classes("fields"):
                self._wish = Line("Hold", unit=mark_of("temperature", self._units), help="limits stay in force")
                self._wish_lasts = Choice("For", LASTING, "12")
                self._wish_why = Line("Why")
            with ui.element("div").classes("presses"):
                press("Hold this instead", self._set_temperature, "strong")
                press("Take it back", self._clear_temperature)
            self._wish_told = Told()

    def _asked(self) -> str:
        live = self._desk.live
        asked = particulars.own_setpoint(live.setpoints.get(self._name), live.plant.zone, self._units)
        return f"<p>{escape(asked)}</p>"

    async def _set_temperature(self) -> None:
        try:
            celsius = read_temperature(self._wish.value, self._units)
        except ValueError as error:
            self._wish.fault(str(error))
            return
        self._wish.fault("")
        until = self._until(self._wish_lasts.value)
        fields = {"chamber": self._name, "temperature_c": round(celsius, 3), "until": until}
        await self._wish_told.ask(self._desk.act(SetTemperature, why=self._wish_why.value, **fields), said)

    async def _clear_temperature(self) -> None:
        asking = self._desk.act(ClearTemperature, chamber=self._name, why=self._wish_why.value)
        await self._wish_told.ask(asking, said)

    def _lock_out(self) -> None:
        with ui.element("section").classes("panel"):
            words("Maintenance", "h2")
            self._parts.append((ui.html(self._locked(), sanitize=False).classes("locked"), self._locked))
            words(LOCK_WORDS, "p", "hint")
            with ui.element("div").classes("fields"):
                self._lock_lasts = Choice("For", LASTING, "4")
                self._lock_why = Line("Why", such_as="a new door seal")
            with ui.element("div").classes("presses"):
                press("Lock out", self._lock, "grave")
                press("End the lock-out", self._unlock)
            self._lock_told = Told()

    def _locked(self) -> str:
        words_of_it = particulars.condition_words(self._desk.live, self._name, "locked-out")
        if not words_of_it:
            return "<p>Not locked out.</p>"
        return f'<p class="lock"><b>⚿ Locked out.</b> {escape(words_of_it)}</p>'

    async def _lock(self) -> None:
        fields = {"chamber": self._name, "until": self._until(self._lock_lasts.value)}
        await self._lock_told.ask(self._desk.act(LockOut, why=self._lock_why.value, **fields), said)

    async def _unlock(self) -> None:
        asking = self._desk.act(ClearLockOut, chamber=self._name, why=self._lock_why.value)
        await self._lock_told.ask(asking, said)

    def _until(self, hours: str) -> object:
        return self._desk.clock.now() + timedelta(hours=float(hours)) if hours else None

    def _calibration(self) -> None:
        probes = self._desk.live.plant.chambers[self._name].probes
        warm = {name: name for name, probe in probes.items() if probe.measures is Measure.TEMPERATURE}
        if not warm:
            return
        mark = mark_of("temperature", self._units)
        with ui.element("section").classes("panel"):
            words("Put a probe right", "h2")
            words(ICE_WORDS, "p", "hint")
            with ui.element("div").classes("fields"):
                self._probe = Choice("Probe", warm)
                self._pairs = [
                    (Line(f"{which} point: it shows", unit=mark), Line("the truth is", unit=mark))
                    for which in ("First", "Second")
                ]
            with ui.element("div").classes("presses"):
                press("Take what it shows now", self._take_reading, looks=True)
                press("Work it out", self._work_out, "strong", looks=True)
            self._advice = ui.html("", sanitize=False).props('role="status"')

    def _take_reading(self) -> None:
        """Into the first of the two that is empty."""
        now = particulars.reading_now(self._desk.live, self._name, self._probe.value, self._units)
        empty = next((shows for shows, _ in self._pairs if not shows.value.strip()), self._pairs[0][0])
        empty.value = now
        ui.run_javascript(f"document.getElementById({empty.control.props['id']!r}).value = {now!r}")

    def _work_out(self) -> None:
        pairs = []
        for shows, true in self._pairs:
            if not shows.value.strip() and not true.value.strip():
                continue
            try:
                pairs.append((read_temperature(shows.value, self._units), read_temperature(true.value, self._units)))
            except ValueError as error:
                shows.fault(str(error))
                return
            shows.fault("")
        self._advice.set_content(self._advice_words(pairs))

    def _advice_words(self, pairs: list[tuple[float, float]]) -> str:
        if not pairs:
            return '<p class="answer refused">Give one point at least: what the probe shows, and what is true.</p>'
        probe = self._probe.value
        found = advise(probe, self._desk.live.plant.chambers[self._name].probes[probe].calibration, pairs)
        if found.problem:
            return f'<p class="answer refused">{escape(found.problem)}</p>'
        spread = particulars.spread_words(2 * found.uncertainty_k, self._units)
        return (
            f"<p>Put right so, it is within {spread} (95 %) near these points. Paste this in the plant file, under "
            f"<b>chambers, {escape(self._name)}, probes</b>, beside what stands there of this probe:</p>"
            f'<pre class="paste">{escape(found.block)}</pre>'
        )

    async def _events(self) -> None:
        with ui.element("section").classes("panel"):
            words("What happened", "h2")
            now = self._desk.clock.now()
            try:
                told = await self._desk.history.annotations(now - timedelta(days=EVENT_DAYS), now, self._name)
            except Unavailable as error:
                ui.html(f'<p class="empty">{escape(str(error))}</p>', sanitize=False)
                return
            rows = particulars.event_rows(told, self._desk.live.plant.zone)
            empty = f'<p class="empty">Nothing was told of it in the last {EVENT_DAYS} days.</p>'
            heads = ("when", "what", "who", "in words")
            ui.html(table(heads, rows, "Events", "told") if rows else empty, sanitize=False)
            ui.html(
                '<p class="hint">All that was decided stands in the <a href="/journal">journal</a>.</p>', sanitize=False
            )


def _nothing(desk: Desk, name: str) -> None:
    links = ", ".join(f'<a href="/chamber/{one}">{escape(one)}</a>' for one in desk.live.plant.chambers)
    ui.html(f"<h1>No such chamber</h1><p>'{escape(name)}' is no chamber here. These are: {links}.</p>", sanitize=False)
