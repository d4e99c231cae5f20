"""The shell keeps a last will for each relay that needs one, on a real broker."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from schemas.plant_file import loads
from services.bridge.core import Bridge
from services.bridge.shell import Shell
from services.runtime.address import BrokerAddress
from tests.bridge.bench import FRIDGE, START
from tests.brokers import embedded_broker
from tests.waiting import wait_until

UP = {"$local/guard/ale/heat", "$local/guard/ale/cool"}


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BrokerAddress]:
    with embedded_broker(Path(tmp_path_factory.mktemp("broker"))) as address:
        yield address


@pytest.fixture
def shell(broker: BrokerAddress) -> Iterator[Shell]:
    made = Shell(loads(FRIDGE), broker)
    yield made
    made.close()


def hear(shell: Shell, bridge: Bridge, topics: set[str]) -> None:
    """Waits until the shell has said that these guards stand."""
    heard: set[str] = set()

    def all_heard() -> bool:
        for one in shell.poll(START):
            list(bridge.receive(one, START))
            heard.update({one.topic} if one.body == b"up" else set())
        return topics <= heard

    wait_until(all_heard, f"guards {topics}")


def test_every_relay_that_could_do_harm_gets_a_guard(shell):
    hear(shell, shell.build(None, START), UP)


def test_changed_output_hears_of_a_guard_that_stood_before(shell):
    bridge = shell.build(None, START)
    hear(shell, bridge, UP)
    plant = loads(FRIDGE.replace("{drives: heater,", "{drives: heater, power: 60 W,"))
    list(bridge.plant_changed(plant, START))
    hear(shell, bridge, {"$local/guard/ale/heat"})


def test_rewired_output_gets_a_new_guard(shell):
    bridge = shell.build(None, START)
    hear(shell, bridge, UP)
    list(bridge.plant_changed(loads(FRIDGE.replace("relay/heat", "relay/other")), START))
    hear(shell, bridge, {"$local/guard/ale/heat"})
