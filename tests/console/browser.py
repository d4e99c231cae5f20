"""A visitor with a real browser: everything a page says, asks for or gets wrong is kept, and judged at the end."""

import os
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, ConsoleMessage, Page, Playwright, Request, Response, sync_playwright
from playwright.sync_api import Error as PlaywrightError

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]
PATIENCE_MS = 60_000
DESKTOP = {"width": 1440, "height": 1000}
PHONE = {"width": 390, "height": 844}
SCREENSHOTS = Path(os.environ.get("COLDSIDE_SCREENSHOTS", "build/screenshots"))
TRIES = 5
HERE = frozenset({"127.0.0.1", "localhost", "::1", None})
GRAVE = ("serious", "critical")
_DISTURBED = re.compile(r"ERR_NETWORK_CHANGED")
"""Containers that come and go beside a test change the network, and Chromium then drops what it was loading."""
_OURS_TO_EXPECT = re.compile(r"ERR_CONNECTION_REFUSED|ERR_CONNECTION_RESET|ERR_EMPTY_RESPONSE|WebSocket connection")
"""What Chromium itself writes while a server that a test has killed is away."""


@dataclass
class Visit:
    """One page, and what went wrong on it. `away_allowed` while the test itself keeps the server away."""

    page: Page
    name: str
    away_allowed: bool = False
    errors: list[str] = field(default_factory=list)
    strangers: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    disturbed: bool = False

    def open(self, address: str) -> Page:
        """Goes there and waits until the page hears its server; again where the machine's network was just changed."""
        for _ in range(TRIES):
            if self._went_to(address):
                break
        self.page.wait_for_function("window.did_handshake === true")
        return self.page

    def _went_to(self, address: str) -> bool:
        self.disturbed = False
        try:
            self.page.goto(address, wait_until="load")
        except PlaywrightError as error:
            if not _DISTURBED.search(error.message):
                raise
            return False
        return not self.disturbed

    def shoot(self, title: str) -> Path:
        """A picture of the whole page, for people to look at."""
        SCREENSHOTS.mkdir(parents=True, exist_ok=True)
        path = SCREENSHOTS / f"{self.name}-{title}.png"
        self.page.screenshot(path=str(path), full_page=True)
        return path

    def grave_barriers(self) -> list[str]:
        """What axe-core finds serious or critical on the page as it stands."""
        found: list[dict[str, Any]] = Axe().run(self.page).response["violations"]
        return [_told(one) for one in found if one["impact"] in GRAVE]

    def judge(self) -> None:
        """Fails on any error the page wrote, any answer of 500, and any request that left this machine."""
        assert not self.strangers, f"{self.name} asked other machines: {self.strangers}"
        assert not self.errors, f"{self.name} wrote errors: {self.errors}"
        assert not self.refused, f"{self.name} was answered: {self.refused}"

    def hear(self, message: ConsoleMessage) -> None:
        """Keeps errors, but for those that say the killed server is away, or that the machine's network was changed."""
        if message.type == "error" and _DISTURBED.search(message.text):
            self.disturbed = True
        elif message.type == "error" and not (self.away_allowed and _OURS_TO_EXPECT.search(message.text)):
            self.errors.append(f"{message.text} ({message.location.get('url', '')})")

    def see_request(self, request: Request) -> None:
        """Keeps those that leave the machine."""
        parts = urlsplit(request.url)
        if parts.scheme in ("http", "https", "ws", "wss") and parts.hostname not in HERE:
            self.strangers.append(request.url)

    def see_response(self, response: Response) -> None:
        """Keeps answers that say that the server is at fault, or that something of ours is missing."""
        if response.status >= 500 or response.status == 404:
            self.refused.append(f"{response.status} {response.url}")


@contextmanager
def chromium() -> Iterator[Browser]:
    """Debian's, without a window; a run-time of Playwright for it alone."""
    with sync_playwright() as playwright:
        browser = _launched(playwright)
        yield browser
        browser.close()


@contextmanager
def visit(browser: Browser, name: str, *, theme: str = "light", **context: Any) -> Iterator[Visit]:
    """A visitor of their own: nothing kept from others. Judged when the block ends well."""
    settings = {"viewport": DESKTOP, "color_scheme": theme, "reduced_motion": "reduce", **context}
    with browser.new_context(**settings) as fresh:
        fresh.set_default_timeout(PATIENCE_MS)
        page = fresh.new_page()
        guest = Visit(page, f"{name}-{theme}")
        page.on("console", guest.hear)
        page.on("pageerror", lambda error: guest.errors.append(str(error)))
        page.on("request", guest.see_request)
        page.on("response", guest.see_response)
        yield guest
        guest.judge()


def phone() -> dict[str, Any]:
    """What makes a context a telephone's."""
    return {"viewport": PHONE, "device_scale_factor": 2, "is_mobile": True, "has_touch": True}


def wait_in(page: Page, condition: Callable[[], bool], what: str) -> None:
    """Waits for what cannot be told in the page's own words; lets the page go on meanwhile."""
    for _ in range(PATIENCE_MS // 100):
        if condition():
            return
        page.wait_for_timeout(100)
    raise AssertionError(f"waited {PATIENCE_MS / 1000:g} s for {what}")


def _launched(playwright: Playwright) -> Browser:
    return playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)


def _told(violation: dict[str, Any]) -> str:
    places = [" ".join(map(str, node["target"])) for node in violation["nodes"][:4]]
    return f"{violation['id']}: {violation['help']} at {places}"
