"""What every page stands in: the site's name, the ways to other pages, choices of theme and units, what is amiss."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from html import escape

from nicegui import ui

from services.console.access import visitor
from services.console.app import Desk
from services.console.board import palette
from services.console.board.standing import Remark, remarks, waiting_words
from services.console.live import Change
from services.console.pages import LOOKS, STATIC
from services.console.units import SCALES, Units, chosen

PLACES = (
    ("board", "/", "Board"),
    ("batch", "/batch", "Batches"),
    ("alarms", "/alarms", "Alarms"),
    ("calculators", "/calculators", "Calculators"),
    ("site", "/site", "Site"),
    ("journal", "/journal", "Journal"),
)
THEME_COOKIE = "coldside_theme"
THEMES = {"device": "as the device", "light": "light", "dark": "dark"}
LOOK_AGAIN_S = 5.0
CAUTION = (
    "No safety device: mains, refrigerant, pressure and CO2 in closed rooms can kill. Every heater needs an "
    "independent thermal cut-out, the room a CO2 alarm; wiring and gas are for licensed trades and your local codes."
)


@contextmanager
def frame(desk: Desk, title: str, here: str = "board") -> Iterator[None]:
    """Header, main area (what is drawn inside the `with`) and foot. `here` is one of PLACES' names."""
    _head(desk, title)
    with ui.element("div").classes("sheet"):
        ui.html(_skip_link(), sanitize=False)
        ui.html(_top(desk, here), sanitize=False, tag="header").classes("top")
        write_state = _state(desk)
        with ui.element("main").classes("main").props('id="main" tabindex="-1"'):
            yield
        ui.timer(LOOK_AGAIN_S, write_state)  # not before the page is drawn: a page with a timer is sent at once
        ui.html(f"<p>{escape(CAUTION)}</p>", sanitize=False, tag="footer").classes("foot")


def units() -> Units:
    """What the visitor of the page that is being built has chosen."""
    request = ui.context.client.request
    return chosen(request.cookies if request else {})


def follow(desk: Desk, callback: Callable[[Change], None]) -> None:
    """Tells the page that is being built of every change, until its visitor is gone for good."""
    client = ui.context.client
    remove = desk.bus.on_change(callback)
    client.on_delete(remove)


def asset(name: str) -> str:
    """Address of a file of ours; it changes with the file's content, so browsers may keep it."""
    mark = sha256((STATIC / name).read_bytes()).hexdigest()[:10]
    return f"{LOOKS}/{name}?{mark}"


def _head(desk: Desk, title: str) -> None:
    ui.page_title(f"{title} · {desk.live.plant.site.name}")
    request = ui.context.client.request
    picked = request.cookies.get(THEME_COOKIE, "device") if request else "device"
    ui.dark_mode({"light": False, "dark": True}.get(picked))
    ui.context.client.content.classes(remove="nicegui-content")
    ui.add_head_html(
        f'<script src="{asset("theme.js")}"></script>\n'
        f"<style>{palette.style()}</style>\n"
        f'<link rel="stylesheet" href="{asset("console.css")}">\n'
        f'<link rel="manifest" href="{asset("manifest.webmanifest")}">\n'
        f'<link rel="icon" type="image/svg+xml" href="{asset("icon.svg")}">\n'
        f'<link rel="apple-touch-icon" href="{asset("icon-180.png")}">\n'
        '<meta name="apple-mobile-web-app-capable" content="yes">\n'
        f'<script defer src="{asset("console.js")}"></script>'
    )


def _skip_link() -> str:
    return '<a class="skip" href="#main">To the content</a>'


def _top(desk: Desk, here: str) -> str:
    links = "".join(_link(*place, here=here) for place in PLACES)
    return (
        f'<a class="site-name" href="/">{escape(desk.live.plant.site.name)}</a>'
        f'<nav class="places" aria-label="Pages">{links}</nav>'
        f'<button type="button" class="unfold" data-unfold="choices" aria-expanded="false">units, theme</button>'
        f'<div class="choices" id="choices">{_choices()}</div>{_who()}'
    )


def _link(name: str, address: str, words: str, here: str) -> str:
    current = ' aria-current="page"' if name == here else ""
    return f'<a href="{address}"{current}>{words}</a>'


def _choices() -> str:
    picked = units()
    selects = [
        _select(
            f"unit-{kind}", f"Unit of {kind}", {unit: one.mark for unit, one in scales.items()}, getattr(picked, kind)
        )
        for kind, scales in SCALES.items()
    ]
    request = ui.context.client.request
    theme = request.cookies.get(THEME_COOKIE, "device") if request else "device"
    return "".join((*selects, _select("theme", "Theme", THEMES, theme)))


def _select(name: str, label: str, options: dict[str, str], picked: str) -> str:
    inner = "".join(
        f'<option value="{value}"{" selected" if value == picked else ""}>{escape(words)}</option>'
        for value, words in options.items()
    )
    head = f'<label class="choice"><span class="unseen">{label}</span>'
    return f'{head}<select data-choice="{name}">{inner}</select></label>'


def _who() -> str:
    someone = visitor()
    if not someone.name:
        return ""
    name = f'{escape(someone.name)}<span class="role">, {someone.role}</span>'
    return f'<a class="who" href="/sign-in" title="Sign in as somebody else, or sign out">{name}</a>'


def _state(desk: Desk) -> Callable[[], None]:
    """The lines on what is amiss, written anew on news. To be called from time to time as well: silence is no news."""
    ui.html("", sanitize=False).classes("lost").props('role="alert" hidden')
    clock = ui.element("i").props(_server_now(desk))
    line = ui.html(_state_words(desk), sanitize=False).classes("state").props('role="status"')

    def write_anew() -> None:
        line.set_content(_state_words(desk))
        clock.props(_server_now(desk))

    def on_news(change: Change) -> None:
        if change.kind in ("healths", "alarms", "link", "plant", "conditions"):
            line.set_content(_state_words(desk))

    follow(desk, on_news)
    return write_anew


def _server_now(desk: Desk) -> str:
    return f'data-server-now="{round(desk.clock.now().timestamp() * 1000)}"'


def _state_words(desk: Desk) -> str:
    found = remarks(desk.live, None if desk.bus.connected else desk.bus.since, desk.clock.now())
    alarms = waiting_words(desk.live)
    waiting = f'<a class="waiting" href="/alarms">{alarms}</a>' if alarms else "<span>no alarm waits</span>"
    said = "".join(_remark(one) for one in found) or '<span class="all-well">all services well</span>'
    return waiting + said


def _remark(one: Remark) -> str:
    return f'<span class="remark{" grave" if one.grave else ""}">{escape(one.text)}</span>'
