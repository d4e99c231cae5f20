"""Containers are tested by `make containers`; what ran on what, and what did not run and why, is in the summary."""

import os
from pathlib import Path

import pytest

from tests.containers import engine

WANTED = os.environ.get("COLDSIDE_CONTAINERS", "")
"""Empty: not here. `wanted`: where an engine can be started. `required`: a machine that has none fails."""
if not WANTED:
    collect_ignore_glob = ["test_*.py"]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The first of them waits until every image is built."""
    for item in items:
        if item.path.is_relative_to(Path(__file__).parent):
            item.add_marker(pytest.mark.timeout(900))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """At the end of the run."""
    for what, place in sorted(engine.RAN_ON.items()):
        terminalreporter.write_line(f"containers: {what}: on {place}")
    for reason in dict.fromkeys(engine.NOT_RUN):
        terminalreporter.write_line(f"containers: NOT RUN: {reason}")


@pytest.fixture(scope="session")
def images() -> None:
    """An engine that answers, and every image."""
    try:
        engine.RAN_ON["engine"] = engine.start()
    except engine.NoEngine as error:
        engine.NOT_RUN.append(str(error))
        if WANTED == "required":
            pytest.fail(f"COLDSIDE_CONTAINERS=required, and {error}")
        pytest.skip(str(error))
    engine.build_images()
