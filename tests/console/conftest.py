"""One barn with real broker, services and console, and one browser, for all tests of the pages."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from tests.console.browser import Visit, chromium, phone, visit
from tests.console.site import Site, open_site


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """The barn that all look at; who kills or spoils something starts one of their own (`open_site`)."""
    with open_site(tmp_path_factory.mktemp("console-barn")) as opened:
        yield opened


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium, started once a module: its run-time keeps the thread's event loop, which other tests want too."""
    with chromium() as launched:
        yield launched


@pytest.fixture
def guest(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Visit]:
    """A visitor at a desk, in the light theme."""
    with visit(browser, request.node.name) as one:
        yield one


@pytest.fixture
def caller(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Visit]:
    """A visitor with a telephone, in the dark theme."""
    with visit(browser, request.node.name, theme="dark", **phone()) as one:
        yield one
