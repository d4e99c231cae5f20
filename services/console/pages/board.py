"""The first page: every chamber on one time axis, what was, what is and what is to come."""

import asyncio
from collections.abc import Callable
from html import escape
from typing import Any

from nicegui import background_tasks, ui
from nicegui.events import GenericEventArguments

from services.console.app import Desk
from services.console.board import sheet, window
from services.console.board.composing import Past, compose
from services.console.board.curve import nothing
from services.console.board.figures import draw as draw_figure
from services.console.board.figures import figure_of
from services.console.board.lane import draw as draw_lane
from services.console.board.load import draw_load, draw_load_figure, load_now
from services.console.board.scene import View
from services.console.board.window import Window
from services.console.live import Change
from services.console.pages.frame import asset, follow, frame, units
from services.console.pages.gather import Pasts, gather

FLUSH_S = 0.05
"""News of one moment are written together."""
LOOK_AGAIN_S = 5.0
REDRAW_MS = 15_000
DESK_PX, PHONE_PX = 1000.0, 340.0
_AXIS_WORDS = 'aria-label="Time: left and right arrow move, plus and minus zoom, Home goes to now"'
_FIGURES = ("readings", "statuses", "setpoints", "alarms")
_DRAWN = ("setpoints", "batches", "alarms")


def register(desk: Desk) -> None:
    """Declares `/`."""

    @ui.page("/")
    def board(days: str = "") -> None:
        looks()
        with frame(desk, "Board", "board"):
            ui.html("<h1>Board</h1>", sanitize=False).classes("unseen")
            page = BoardPage(desk, span_ms=_asked_span(days))
            page.show()
            page.begin()


def looks() -> None:
    """Brings the style and the script of the board along; to be called before the frame."""
    ui.add_head_html(
        f'<link rel="stylesheet" href="{asset("board.css")}"><script defer src="{asset("board.js")}"></script>'
    )


class BoardPage:
    """One visitor's board: of the whole site, or of one chamber only."""

    def __init__(self, desk: Desk, only: str | None = None, span_ms: int = window.USUAL_MS) -> None:
        self._desk = desk
        plant = desk.live.plant
        by_kind = sorted(plant.chambers, key=lambda name: plant.chambers[name].kind == "reservoir")
        self._chambers = by_kind if only is None else [only]
        self._circuits = list(plant.circuits) if only is None else []
        self._look = "board" if only is None else "board alone"
        self._units = units()
        self._width_px = _guessed_width()
        self._difference: set[str] = set()
        self._window = window.around(self._now_ms(), span_ms)
        self._pasts = Pasts()
        self._drawn_ms = 0
        self._without_past = False
        self._fetching: asyncio.Task[Any] | None = None
        self._changed: set[tuple[str, str]] = set()
        self._figures: dict[str, ui.html] = {}
        self._middles: dict[str, ui.html] = {}
        self._heads: dict[str, ui.html] = {}
        self._tools: dict[str, ui.html] = {}
        self._loads: dict[str, tuple[ui.html, ui.html]] = {}

    def show(self) -> None:
        """Draws the sheet with its figures; history is fetched meanwhile, while the browser reads scripts."""
        self._skeleton()
        self._write_window()
        self._begin_fetch()

    def begin(self) -> None:
        """Follows what happens. Last of all that is drawn: a page with a timer is sent at once."""
        follow(self._desk, self._on_change)
        ui.timer(LOOK_AGAIN_S, self._look_again)
        ui.on("board", self._on_act)

    def _skeleton(self) -> None:
        plant = self._desk.live.plant
        self._root = (
            ui.element("section").classes(self._look).props('aria-label="Past, present and plan on one time axis"')
        )
        with self._root:
            ui.html(sheet.bar(), sanitize=False).classes("bar")
            self._note = ui.html("", sanitize=False).classes("note").props('role="status"')
            self._axis = ui.html("", sanitize=False).classes("axis").props(f'tabindex="0" role="group" {_AXIS_WORDS}')
            for name in self._chambers:
                self._lane(name, plant.chambers[name].kind)
            for circuit in self._circuits:
                self._load_lane(circuit)
            ui.html(sheet.key(), sanitize=False)

    def _lane(self, name: str, kind: str) -> None:
        with ui.element("article").classes(f"lane {kind}").props(f'data-lane="{name}"'):
            self._heads[name] = ui.html(self._head(name), sanitize=False).classes("head")
            self._tools[name] = ui.html(self._tool(name), sanitize=False).classes("tool")
            self._middles[name] = ui.html(sheet.waiting(), sanitize=False).classes("middle")
            self._figures[name] = (
                ui.html(self._figure(name), sanitize=False).classes("end").props(f'data-figure="{name}"')
            )

    def _load_lane(self, circuit: str) -> None:
        with ui.element("article").classes("lane circuit").props(f'data-lane="{circuit}"'):
            ui.html(sheet.circuit_head(self._desk.live, circuit), sanitize=False).classes("head")
            middle = ui.html(sheet.waiting("low"), sanitize=False).classes("middle")
            end = ui.html(self._load(circuit), sanitize=False).classes("end").props(f'data-circuit="{circuit}"')
            self._loads[circuit] = (middle, end)

    async def _fetch(self) -> None:
        """What is in the window; what was drawn stays when history is away."""
        asked = self._window
        found = await gather(self._desk, asked, self._width_px, self._chambers, self._circuits)
        if asked != self._window:
            return
        self._drawn_ms, self._without_past = self._now_ms(), bool(found.trouble)
        self._note.set_content(_trouble_words(found.trouble))
        if not found.trouble:
            self._pasts = found
        self._write_window()
        self._write_lanes()

    def _write_window(self) -> None:
        now_ms = self._now_ms()
        zone = self._desk.live.plant.site.timezone
        self._root.props(f'data-start="{self._window.start_ms}" data-end="{self._window.end_ms}" data-zone="{zone}"')
        holds = self._window.holds(now_ms)
        self._root.style(f"--now:{self._window.percent(now_ms):.3f}%;--shows-now:{int(holds)}")
        self._axis.set_content(sheet.axis(self._view(now_ms)))

    def _write_lanes(self) -> None:
        for name in self._middles:
            self._write_lane(name)
        plant, view = self._desk.live.plant, self._view(self._now_ms())
        for circuit, (middle, _) in self._loads.items():
            loads = self._pasts.loads.get(circuit, nothing())
            middle.set_content(draw_load(loads, plant.circuits[circuit].limit_a, view, circuit))

    def _write_lane(self, name: str) -> None:
        now_ms = self._now_ms()
        past = self._pasts.lanes.get(name, Past())
        lane = compose(self._desk.live, name, past, self._window, now_ms)
        self._middles[name].set_content(draw_lane(lane, self._view(now_ms, name in self._difference)))

    def _on_change(self, change: Change) -> None:
        """Gathers what has changed; written a moment later, together."""
        if change.kind == "plant":
            self._reload()
            return
        if not self._changed:
            asyncio.get_running_loop().call_later(FLUSH_S, self._flush)
        self._changed.add((change.kind, change.key[0] if change.key else ""))

    def _flush(self) -> None:
        changed, self._changed = self._changed, set()
        live = self._desk.live
        if not live.plant.chambers.keys() >= set(self._chambers):
            return  # the plant has changed, and the page is about to be loaded anew
        batch_in = {one.batch: one.chamber for one in live.batches.values()}
        redrawn = {batch_in.get(key, key) if kind == "batches" else key for kind, key in changed if kind in _DRAWN}
        for name in {key for kind, key in changed if kind in _FIGURES} & self._figures.keys():
            self._figures[name].set_content(self._figure(name))
        for name in redrawn & self._middles.keys():
            self._heads[name].set_content(self._head(name))
            self._tools[name].set_content(self._tool(name))
            self._write_lane(name)
        if any(kind == "reports" for kind, _ in changed):
            for circuit, (_, end) in self._loads.items():
                end.set_content(self._load(circuit))

    def _look_again(self) -> None:
        """Moves on with the present, as soon as that would be seen."""
        now_ms = self._now_ms()
        pixel_ms = self._window.span_ms / self._width_px
        if now_ms - self._drawn_ms < (REDRAW_MS if self._without_past else max(REDRAW_MS, pixel_ms * 1.5)):
            return
        if self._window.follows(self._drawn_ms) and self._drawn_ms:
            self._window = window.shifted(self._window, now_ms - self._drawn_ms)
        self._begin_fetch()

    def _on_act(self, event: GenericEventArguments) -> None:
        """What the page's script tells: zooming, dragging, presses, and how wide the drawing is."""
        said: dict[str, Any] = event.args if isinstance(event.args, dict) else {}
        act = _ACTS.get(str(said.get("act")))
        if act is not None:
            act(self, said)

    def _go_to(self, wanted: Window) -> None:
        if wanted != self._window:
            self._window = wanted
            self._begin_fetch()

    def _begin_fetch(self) -> None:
        if self._fetching is not None and not self._fetching.done():
            self._fetching.cancel()
        self._fetching = background_tasks.create(self._fetch(), name="board's history")

    def _act_span(self, said: dict[str, Any]) -> None:
        self._go_to(window.spanning(self._window, round(_number(said, "value", self._window.span_ms)), self._now_ms()))

    def _act_move(self, said: dict[str, Any]) -> None:
        self._go_to(window.shifted(self._window, round(_number(said, "value", 0.0) * self._window.span_ms)))

    def _act_now(self, _said: dict[str, Any]) -> None:
        self._go_to(window.around(self._now_ms(), self._window.span_ms))

    def _act_window(self, said: dict[str, Any]) -> None:
        start, end = _number(said, "start", self._window.start_ms), _number(said, "end", self._window.end_ms)
        self._go_to(window.between(start, end))

    def _act_difference(self, said: dict[str, Any]) -> None:
        name = str(said.get("value"))
        if name in self._middles:
            self._difference ^= {name}
            self._tools[name].set_content(self._tool(name))
            self._write_lane(name)

    def _act_width(self, said: dict[str, Any]) -> None:
        width_px = min(4000.0, max(200.0, _number(said, "value", self._width_px)))
        if abs(width_px - self._width_px) / self._width_px > 0.15:
            self._width_px = width_px
            self._begin_fetch()

    def _figure(self, name: str) -> str:
        return draw_figure(figure_of(self._desk.live, name, self._units))

    def _head(self, name: str) -> str:
        return sheet.head(self._desk.live, name, self._units)

    def _tool(self, name: str) -> str:
        """The switch, where there is something to differ from."""
        live = self._desk.live
        return sheet.switch(live, name, name in self._difference) if name in live.setpoints else ""

    def _load(self, circuit: str) -> str:
        return draw_load_figure(load_now(self._desk.live, circuit))

    def _view(self, now_ms: int, difference: bool = False) -> View:
        return View(self._window, now_ms, self._desk.live.plant.zone, self._units, self._width_px, difference)

    def _now_ms(self) -> int:
        return window.milliseconds(self._desk.clock.now())

    def _reload(self) -> None:
        with self._root:
            ui.navigate.reload()


_ACTS: dict[str, Callable[[BoardPage, dict[str, Any]], None]] = {
    "span": BoardPage._act_span,
    "move": BoardPage._act_move,
    "now": BoardPage._act_now,
    "window": BoardPage._act_window,
    "difference": BoardPage._act_difference,
    "width": BoardPage._act_width,
}


def _number(said: dict[str, Any], key: str, otherwise: float) -> float:
    try:
        value = float(said.get(key, otherwise))
    except (TypeError, ValueError):
        return otherwise
    return value if abs(value) < 1e15 else otherwise


def _trouble_words(trouble: str) -> str:
    return f"<p>{escape(trouble)} What is drawn may be old; it is tried again.</p>" if trouble else ""


def _asked_span(days: str) -> int:
    """What the address says (`/?days=21`), brought within what is allowed; what is no number counts as not said."""
    try:
        return round(min(56.0, max(0.0, float(days))) * window.DAY_MS) or window.USUAL_MS
    except ValueError:
        return window.USUAL_MS


def _guessed_width() -> float:
    request = ui.context.client.request
    agent = request.headers.get("user-agent", "") if request else ""
    return PHONE_PX if "Mobi" in agent else DESK_PX
