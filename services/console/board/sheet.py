"""The board's outer parts as HTML: the bar of spans, the axis, heads of lanes, the key."""

from datetime import UTC, datetime
from html import escape

from services.console.board.composing import kind_words
from services.console.board.figures import beers
from services.console.board.scene import View
from services.console.board.standing import clock_words
from services.console.board.ticks import Tick, ticks
from services.console.board.window import SPANS
from services.console.live import Live
from services.console.units import Units

KEY = (
    ("beer", "beer"),
    ("wanted", "wanted, in its band"),
    ("expected", "expected, with its likely range"),
    ("compressor", "compressor"),
    ("pump", "pump"),
    ("heater", "heater"),
)


def bar() -> str:
    """How much time is shown, and which; the page's script marks the span that is in use."""
    spans = "".join(
        f'<button type="button" data-act="span" data-value="{ms}" aria-pressed="false">{words}</button>'
        for words, ms in SPANS
    )
    return (
        f'<div class="spans" role="group" aria-label="How much time is shown">{spans}</div>'
        '<div class="moves" role="group" aria-label="Which time is shown">'
        '<button type="button" data-act="move" data-value="-0.5" aria-label="Earlier">←</button>'
        '<button type="button" data-act="now">now</button>'
        '<button type="button" data-act="move" data-value="0.5" aria-label="Later">→</button></div>'
    )


def axis(view: View) -> str:
    """Marks and their words, and the present's."""
    marks = ticks(view.window, view.zone, view.width_px)
    pill = f'<span class="now-pill">{_now_words(view)}</span>' if view.window.holds(view.now_ms) else ""
    return f'<div class="ticks">{"".join(_tick(one, view) for one in marks)}{pill}</div>'


def head(live: Live, chamber: str, units: Units) -> str:
    """A lane's name, its beers and what it is."""
    title = live.plant.chambers[chamber].title or chamber
    found = ", ".join(one.title or one.batch for one in beers(live, chamber))
    beer = f'<p class="beers">{escape(found)}</p>' if found else ""
    return (
        f'<h2><a href="/chamber/{escape(chamber)}">{escape(title)}</a></h2>{beer}'
        f'<p class="kind">{escape(kind_words(live.plant, chamber, units))}</p>'
    )


def switch(live: Live, chamber: str, pressed: bool) -> str:
    """Between degrees and the difference from what is wanted."""
    label = escape(f"{live.plant.chambers[chamber].title or chamber}: show the difference from wanted")
    return (
        f'<button type="button" class="switch" data-act="difference" data-value="{escape(chamber)}" '
        f'aria-pressed="{str(pressed).lower()}" aria-label="{label}">difference from wanted</button>'
    )


def circuit_head(live: Live, circuit: str) -> str:
    """A circuit's name and what it is."""
    words = circuit.replace("-", " ")
    found = live.plant.circuits[circuit]
    kind = f"{found.voltage_v:g} V, {found.limit_a:g} A"
    return f'<h2>{escape(words[:1].upper() + words[1:])}</h2><p class="kind">{kind}</p>'


def waiting(look: str = "") -> str:
    """What stands in a lane until history has answered."""
    return f'<div class="plot waits {look}"><span class="bare">reading what was recorded …</span></div>'


def key() -> str:
    """What lines and bars mean."""
    lines = "".join(f'<li><i class="{name}"></i>{words}</li>' for name, words in KEY)
    return f'<ul class="key">{lines}<li><b>▲</b> door opened</li><li><b class="bang">!</b> alarm</li></ul>'


def _tick(tick: Tick, view: View) -> str:
    look = "tick day" if tick.day else "tick"
    return f'<span class="{look}" style="left:{view.window.percent(tick.at_ms):.3f}%">{tick.label}</span>'


def _now_words(view: View) -> str:
    return clock_words(datetime.fromtimestamp(view.now_ms / 1000, UTC), view.zone)
