"""The console in Chromium: how soon a board of twelve chambers and three weeks stands, how soon news are on the screen,
what twenty visitors cost.

The console's own process, on a real broker and a real store; the browser is Debian's, so `chromium` must be installed.
A visitor's cache is empty at first. News are sent sixty times a second, as fast as a site of 600 probes would; each is
counted from its sending to the frame in which the figure has changed. Both clocks are this machine's.
"""

import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from itertools import count
from pathlib import Path
from random import Random
from statistics import median, quantiles
from tempfile import TemporaryDirectory
from typing import Any
from urllib.request import urlopen

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from benchmarks.rows import Row, at_most
from schemas.contract import topic_for
from schemas.telemetry import Quality, TemperatureReading
from services.recorder.rows import Sample, Series, milliseconds
from services.recorder.sqlite_store import SqliteStore
from services.runtime.address import BrokerAddress
from services.runtime.broker import prepare_broker
from services.runtime.bus import BrokerLink
from services.runtime.clock import SystemClock, machine_seconds
from services.runtime.doorway import listen, url_of
from services.runtime.family import Member
from services.runtime.service import Outgoing

NAME = "console"
SITE = "bench"
CHAMBERS = tuple(f"fridge-{number:02}" for number in range(1, 13))
WEEKS = 3
EVERY = timedelta(minutes=1)
FIRST_BOARD_S, UPDATE_MS, MEMORY_MB, BOARD_BYTES = 1.5, 300.0, 250.0, 1_500_000
VISITORS = 20
ROUNDS = 5
NEWS_PER_S, NEWS_FOR_S = 60, 10
PATIENCE_MS = 60_000
READY = '[data-board-ready="true"]'
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage")  # fmt: skip
CLOCK = SystemClock()
WHEN_READY = """
new MutationObserver(() => {
  if (!window.boardReadyAt && document.querySelector('[data-board-ready="true"]')) {
    window.boardReadyAt = performance.now();
  }
}).observe(document, { subtree: true, childList: true, attributes: true, attributeFilter: ["data-board-ready"] });
"""
WHEN_FIGURES_CHANGE = """() => {
  window.figuresSeen = [];
  const last = {};
  const look = () => {
    for (const one of document.querySelectorAll("[data-figure]")) {
      const text = one.querySelector(".value").textContent;
      if (last[one.dataset.figure] !== text) {
        last[one.dataset.figure] = text;
        window.figuresSeen.push([one.dataset.figure, text, performance.timeOrigin + performance.now()]);
      }
    }
    requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
}"""
_CHAMBER = """  {name}:
    kind: fridge
    probes:
      beer: {{measures: temperature, every: 10 s, from: {{mqtt: device/{name}/beer}}}}
      air: {{measures: temperature, every: 10 s, from: {{mqtt: device/{name}/air}}}}
    outputs:
      cool: {{drives: compressor, to: {{mqtt: device/{name}/cool, on: "1", off: "0"}}, power: 95 W}}
"""


def run() -> Iterable[Row]:
    """Rows as they come."""
    with TemporaryDirectory(prefix="coldside-bench-") as name:
        folder = Path(name)
        folder.chmod(0o755)
        _record(folder)
        with _served(folder) as stand, _chromium() as browser:
            yield Row(NAME, "first_visit_s", stand.first_visit_s, "s")
            yield Row(NAME, "memory_mb_idle", stand.resident_mb(), "MB")
            yield from _first_board(stand, browser)
            yield from _news(stand, browser)
            yield from _crowd(stand, browser)


@dataclass(frozen=True, slots=True)
class Stand:
    """A console that is served, and a link by which the bench speaks for the bridge."""

    url: str
    process: subprocess.Popen[bytes]
    link: BrokerLink
    first_visit_s: float

    def resident_mb(self) -> float:
        """The console's process alone, as the kernel counts it."""
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        return int(status.split("VmRSS:")[1].split()[0]) / 1024

    def say(self, chamber: str, celsius: float) -> None:
        """A chamber's beer, as the bridge tells of it."""
        reading = TemperatureReading(
            at=CLOCK.now(), source="bridge", chamber=chamber, probe="beer", quality=Quality.GOOD, temperature_c=celsius
        )
        self.link.publish(Outgoing(topic_for(SITE, reading), reading, retain=True))
        self.link.turn(0)


def _first_board(stand: Stand, browser: Browser) -> Iterable[Row]:
    seen = [_opened(stand, browser) for _ in range(ROUNDS)]
    yield at_most(NAME, "first_board_s", median(one[0] for one in seen), "s", FIRST_BOARD_S)
    yield at_most(NAME, "board_bytes", max(one[1] for one in seen), "bytes", BOARD_BYTES)
    yield Row(NAME, "memory_mb_after_five_visits", stand.resident_mb(), "MB")


def _opened(stand: Stand, browser: Browser) -> tuple[float, float]:
    """Seconds until the board is drawn, and bytes that came over the wire until then, in a fresh visitor's browser."""
    context = browser.new_context(viewport={"width": 1440, "height": 1000})
    page = context.new_page()
    page.add_init_script(WHEN_READY)
    received = _counting(context, page)
    page.goto(f"{stand.url}?days={7 * WEEKS}")
    page.wait_for_selector(READY, timeout=PATIENCE_MS)
    ready_s = float(page.evaluate("window.boardReadyAt")) / 1000
    context.close()
    return ready_s, float(sum(received))


def _counting(context: BrowserContext, page: Page) -> list[int]:
    """Sizes as they come over the wire: of responses with their headers, and of what comes through sockets."""
    received: list[int] = []
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    session.on("Network.loadingFinished", lambda event: received.append(int(event["encodedDataLength"])))
    session.on("Network.webSocketFrameReceived", lambda event: received.append(len(event["response"]["payloadData"])))
    return received


def _news(stand: Stand, browser: Browser) -> Iterable[Row]:
    context = browser.new_context(viewport={"width": 1440, "height": 1000})
    page = context.new_page()
    page.goto(stand.url)
    page.wait_for_selector(READY, timeout=PATIENCE_MS)
    page.evaluate(WHEN_FIGURES_CHANGE)
    sent: list[tuple[str, str, float]] = []
    speaker = threading.Thread(target=_speak, args=(stand, sent))
    speaker.start()
    while speaker.is_alive():
        page.wait_for_timeout(100)
    page.wait_for_timeout(1000)
    delays = list(_delays(sent, page.evaluate("window.figuresSeen")))
    context.close()
    yield at_most(NAME, "update_to_screen_ms_p95", quantiles(delays, n=20)[-1], "ms", UPDATE_MS)
    yield Row(NAME, "update_to_screen_ms_median", median(delays), "ms")
    yield Row(NAME, "updates_seen_share", len(delays) / len(sent), "")


def _speak(stand: Stand, sent: list[tuple[str, str, float]]) -> None:
    """Each chamber's value rises, so that what is seen can be told apart."""
    begun_s, pace = machine_seconds(), threading.Event()
    for number in range(NEWS_PER_S * NEWS_FOR_S):
        chamber = CHAMBERS[number % len(CHAMBERS)]
        celsius = 10 + number // len(CHAMBERS) / 10
        sent.append((chamber, f"{celsius:.1f}", CLOCK.now().timestamp() * 1000))
        stand.say(chamber, celsius)
        pace.wait(max(0.0, begun_s + (number + 1) / NEWS_PER_S - machine_seconds()))


def _delays(sent: list[tuple[str, str, float]], seen: list[list[Any]]) -> Iterator[float]:
    """Milliseconds; of news that came together only the last is seen, and the others are counted until then."""
    for chamber, text, at_ms in sent:
        later = [(one[2], _plain(one[1])) for one in seen if one[0] == chamber and one[2] >= at_ms]
        newest = next((when for when, shown in later if float(shown) >= float(text)), None)
        if newest is not None:
            yield newest - at_ms


def _plain(shown: str) -> str:
    """The number alone, whatever minus sign it is written with."""
    found = re.search(r"[-−]?\d+(?:\.\d+)?", shown)
    return found.group().replace("−", "-") if found else "-273"


def _crowd(stand: Stand, browser: Browser) -> Iterable[Row]:
    context = browser.new_context(viewport={"width": 1000, "height": 700})
    pages = [context.new_page() for _ in range(VISITORS)]
    for page, visitors in zip(pages, count(1), strict=False):
        page.goto(stand.url)
        page.wait_for_selector(READY, timeout=PATIENCE_MS)
        if visitors == 1:
            yield Row(NAME, "memory_mb_1_client", stand.resident_mb(), "MB")
    for number in range(60):
        stand.say(CHAMBERS[number % len(CHAMBERS)], 12 + number / 10)
        pages[number % VISITORS].wait_for_timeout(50)
    yield at_most(NAME, f"memory_mb_{VISITORS}_clients", stand.resident_mb(), "MB", MEMORY_MB)
    context.close()


@contextmanager
def _served(folder: Path) -> Iterator[Stand]:
    broker = prepare_broker(folder, preferred_port=0)
    member = Member("broker", broker.command, broker.user)
    member.start()
    listening = listen("127.0.0.1", 0)
    command = [sys.executable, "-m", "services.commands.console", "--fd", str(listening.fileno()), "--plant"]
    place = [str(folder / "plant.yaml"), "--state", str(folder), "--broker", broker.url, "--log", str(folder / "log")]
    pause = threading.Event()
    while not broker.answers():
        pause.wait(0.05)
    began_s = machine_seconds()
    process = subprocess.Popen([*command, *place], pass_fds=[listening.fileno()])
    link = BrokerLink(BrokerAddress(port=broker.port), "bench", Random(1))
    try:
        _answered(url_of(listening))
        stand = Stand(url_of(listening), process, link, machine_seconds() - began_s)
        while not link.connected:
            link.turn(0.05)
        for chamber in CHAMBERS:
            stand.say(chamber, 10.0)
        yield stand
    finally:
        link.close()
        process.terminate()
        process.wait(30)
        member.stop()
        listening.close()


def _answered(url: str) -> None:
    with urlopen(f"{url}api/v1/site", timeout=60) as answer:
        answer.read()


@contextmanager
def _chromium() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=list(FLAGS))
        yield browser
        browser.close()


def _record(folder: Path) -> None:
    """Three weeks of beer and air every minute, setpoints, and a compressor that runs a third of the time."""
    described = "".join(_CHAMBER.format(name=name) for name in CHAMBERS)
    (folder / "plant.yaml").write_text(f"site: {{name: {SITE}}}\nchambers:\n{described}")
    store = SqliteStore(folder / "history.sqlite")
    now = CLOCK.now()
    start_ms = milliseconds(now - timedelta(weeks=WEEKS))
    dice = Random(7)
    for chamber in CHAMBERS:
        store.write(list(_samples(chamber, start_ms, milliseconds(now), dice)))
    while store.maintain(now):
        continue
    store.close()


def _samples(chamber: str, start_ms: int, end_ms: int, dice: Random) -> Iterator[Sample]:
    step_ms = int(EVERY.total_seconds() * 1000)
    beer, air = (Series(SITE, chamber, "reading", name, "degC") for name in ("beer", "air"))
    wanted, tolerance = (Series(SITE, chamber, "setpoint", name, "degC") for name in ("setpoint", "tolerance"))
    cool = Series(SITE, chamber, "report", "cool", "level")
    celsius = 18.0
    for number, at_ms in enumerate(range(start_ms, end_ms, step_ms)):
        day = number // 1440
        asked = 18.0 if day < 10 else max(2.0, 18.0 - (day - 10) * 2)
        celsius += (asked - celsius) * 0.01 + dice.gauss(0, 0.03)
        running = number % 30 < 10
        yield Sample(beer, at_ms, round(celsius, 3))
        yield Sample(air, at_ms, round(celsius - (4 if running else 1) + dice.gauss(0, 0.1), 3))
        if number % 30 in (0, 10):
            yield Sample(cool, at_ms, float(running))
        if number % 1440 == 0:
            yield Sample(wanted, at_ms, asked)
            yield Sample(tolerance, at_ms, 0.5)
