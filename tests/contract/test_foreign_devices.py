"""Real input: devices that know nothing of this project are held, whatever happens to broker and services.

Both brokers are used as they are, and mosquitto's own command-line clients stand for the devices.
"""

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.brokers import embedded_broker, mosquitto
from tests.contract.foreign_site import HOLD_C, OFF_K, Site, foreign_sites
from tests.waiting import wait_until

HELD_WITHIN_K = 2.2
"""Air is held within a band of 1 K and looked at every 10 s, in which these boards drift by 0.4 K."""
HELD_FOR_S = 30
"""In which they would be off by 1.2 K more if nobody held them."""
LAST_WILL_S = 25.0
"""One and a half keep-alives of 5 s, and what a busy machine adds; well under the minute after which leases end."""


@pytest.fixture(scope="module")
def sites(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Site]]:
    folder = Path(tmp_path_factory.mktemp("shed"))
    with foreign_sites(folder, {"mosquitto": mosquitto, "embedded": embedded_broker}) as made:
        yield made


@pytest.fixture(params=["mosquitto", "embedded"])
def site(request: pytest.FixtureRequest, sites: dict[str, Site]) -> Site:
    return sites[request.param]


def heating(site: Site) -> None:
    """Makes it cold, and waits until the heater is on."""
    site.cold.put(HOLD_C - OFF_K)
    wait_until(lambda: site.cold.is_on("heat"), "the heater to be on", 90)


def test_the_chambers_of_both_brokers_are_held(sites: dict[str, Site]) -> None:
    boards = [board for site in sites.values() for board in (site.cold, site.warm)]
    wait_until(lambda: all(board.temperature_c < HOLD_C + 1 for board in boards), "the compressors to catch up", 60)
    begins = [len(board.course()) for board in boards]
    wait_until(lambda: len(boards[-1].course()) >= begins[-1] + 2 * HELD_FOR_S, "time to pass", 5 * HELD_FOR_S)
    for board, begin in zip(boards, begins, strict=True):
        assert all(abs(one - HOLD_C) < HELD_WITHIN_K for one in board.course()[begin:])


def test_nonsense_on_a_devices_topic_is_counted_in_health_and_control_goes_on(site: Site) -> None:
    for payload in (b"\xff\xfe", b"{", b'{"p": []}', b'{"p": [1e999]}', b"x" * 17_000):
        site.publish("board-cold/probes", payload)
    wanted = {"not_text", "not_json", "missing", "not_finite", "huge"}
    wait_until(lambda: wanted <= site.health("bridge").counts.keys(), "health to tell", 30)
    site.await_control()


def test_retained_leftover_of_another_version_switches_nothing_on(site: Site) -> None:
    topic = "coldside/shed/command/warm/cool"
    site.publish(topic, b'{"v": 99, "chamber": "warm", "output": "cool", "level": 1}', "-r")
    wait_until(lambda: site.health("bridge").counts.get("unreadable-command", 0) > 0, "health to tell", 30)
    site.publish(topic, b"", "-r")
    site.await_control()


def test_control_goes_on_after_the_broker_was_restarted(site: Site) -> None:
    site.stop_broker()
    site.start_broker()
    site.await_control()


def test_control_goes_on_after_the_supervisor_was_killed(site: Site) -> None:
    site.signal("supervisor", signal.SIGKILL)
    site.start("supervisor")
    site.await_control()


def test_heater_goes_off_by_last_will_when_the_bridge_is_killed(site: Site) -> None:
    heating(site)
    site.signal("bridge", signal.SIGKILL)
    wait_until(lambda: not site.cold.is_on("heat"), "the last will", LAST_WILL_S)
    site.start("bridge")
    site.await_control()


@pytest.mark.soak
def test_heater_goes_off_by_last_will_when_the_bridge_hangs(site: Site) -> None:
    heating(site)
    site.signal("bridge", signal.SIGSTOP)
    wait_until(lambda: not site.cold.is_on("heat"), "the last will", LAST_WILL_S)
    site.signal("bridge", signal.SIGCONT)
    site.await_control()


@pytest.mark.soak
def test_bridge_that_is_stopped_in_good_order_leaves_the_heater_off(site: Site) -> None:
    heating(site)
    site.signal("bridge", signal.SIGTERM)
    wait_until(lambda: not site.cold.is_on("heat"), "the heater to be switched off", LAST_WILL_S)
    site.signal("bridge", signal.SIGKILL)
    site.start("bridge")
    site.await_control()


@pytest.mark.soak
def test_heater_goes_off_at_the_end_of_its_lease_when_the_supervisor_is_dead(site: Site) -> None:
    heating(site)
    site.signal("supervisor", signal.SIGKILL)
    wait_until(lambda: not site.cold.is_on("heat"), "the end of the lease", 66)
    site.start("supervisor")
    site.await_control()
