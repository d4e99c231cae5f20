"""How property tests look, everywhere, and what stands below a run that several processes share.

Property tests look at the same examples in every run and no clock is held against them; `make soak` looks for new ones.
"""

import os
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

from tests import tables

settings.register_profile(
    "patient",
    deadline=None,
    derandomize="COLDSIDE_EXPLORE" not in os.environ,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("patient")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """A process that did a share of the tests hands over what it has to show."""
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["tables"] = dict(tables.SHOWN)


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Takes it from such a process; one that died has nothing."""
    for title, rows in getattr(node, "workeroutput", {}).get("tables", {}).items():
        tables.merge(title, rows)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """At the end of the run, after everything else."""
    for line in tables.lines():
        terminalreporter.write_line(line)
    if "COLDSIDE_CONTAINERS" in os.environ:
        return
    terminalreporter.write_line("containers: not part of this run; `make containers` tests them")
    if not {"COLDSIDE_TEST_INFLUXD2", "COLDSIDE_TEST_INFLUX_URL"} & os.environ.keys():
        terminalreporter.write_line("InfluxDB 2: not part of this run, for none is named; docs/containers.md says how")
