"""One garage for all tests of the pages on which people act."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import expect

from tests.console.browser import PATIENCE_MS
from tests.console.pages_b.garage import Garage, open_garage

expect.set_options(timeout=PATIENCE_MS)


@pytest.fixture(scope="session")
def garage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Garage]:
    """Shared: a test puts its own batch in a chamber of its own choice, and leaves no account behind."""
    with open_garage(tmp_path_factory.mktemp("garage")) as opened:
        yield opened
