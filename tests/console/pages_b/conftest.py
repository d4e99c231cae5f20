"""One garage for all tests of the pages on which people act, and one desk at which their visitors sit."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from tests.console.browser import DESKTOP, PATIENCE_MS, Visit
from tests.console.pages_b.garage import Garage, open_garage

NOT_OURS = "ERR_NETWORK_CHANGED"
"""What Chromium writes when somebody else on this machine adds or removes a network, as containers do."""
expect.set_options(timeout=PATIENCE_MS)


@pytest.fixture(scope="session")
def garage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Garage]:
    """Shared: a test puts its own batch in a chamber of its own choice, and leaves no account behind."""
    with open_garage(tmp_path_factory.mktemp("garage")) as opened:
        yield opened
        state = opened.site.state
        assert "listener failed" not in (state / "log" / "console.jsonl").read_text(encoding="utf-8")
        assert "Traceback" not in (state / "up.log").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def desk(browser: Browser) -> Iterator[BrowserContext]:
    """A browser that keeps what it has loaded, as people's do: scripts come once a module."""
    with browser.new_context(viewport=DESKTOP, color_scheme="light", reduced_motion="reduce") as context:
        context.set_default_timeout(PATIENCE_MS)
        yield context


@pytest.fixture
def guest(desk: BrowserContext, request: pytest.FixtureRequest) -> Iterator[Visit]:
    """A visitor at that desk, in the light theme, whom nobody knows yet."""
    page = desk.new_page()
    one = Visit(page, f"{request.node.name}-light")
    page.on("console", one.hear)
    page.on("pageerror", lambda error: one.errors.append(str(error)))
    page.on("request", one.see_request)
    page.on("response", one.see_response)
    yield one
    page.close()
    desk.clear_cookies()
    one.errors = [error for error in one.errors if NOT_OURS not in error]
    one.judge()
