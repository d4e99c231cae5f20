"""The contract of the bus on mosquitto in a container, or on the broker that COLDSIDE_TEST_BROKER names."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from services.runtime.address import BrokerAddress
from services.runtime.broker import EmbeddedBroker
from tests.containers.engine import RAN_ON, SERVERS, serving
from tests.contract.test_bus import *  # noqa: F403 - the same tests, on another venue
from tests.contract.venues import BrokerVenue, Venue
from tests.waiting import wait_until

CONFIGURATION = "listener 1883\nallow_anonymous true\nmax_queued_messages 100000\nuser root\n"


@pytest.fixture(scope="module")
def venue(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Venue]:
    """In place of the venues that need no container."""
    named = os.environ.get("COLDSIDE_TEST_BROKER")
    RAN_ON["bus contract"] = named or f"mosquitto of {SERVERS}, Debian's"
    if named:
        yield BrokerVenue(BrokerAddress.from_url(named))
        return
    request.getfixturevalue("images")
    folder = Path(tmp_path_factory.mktemp("mosquitto"))
    (folder / "mosquitto.conf").write_text(CONFIGURATION)
    command = ["/usr/sbin/mosquitto", "-c", "/configuration/mosquitto.conf"]
    with serving(SERVERS, 1883, command, {folder: "/configuration"}) as port:
        wait_until(EmbeddedBroker((), port, None).answers, "mosquitto to answer")
        yield BrokerVenue(BrokerAddress(port=port))
