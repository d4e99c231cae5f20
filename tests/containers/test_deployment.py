"""The whole compose file under load and loss: a batch, a broker restarted, services killed, the store taken away.

One story, told in order: each test takes over where the one before it left off.
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest

from schemas.journal import Wellness
from services.recorder.store import Match
from tests.containers.deployment import OVERRIDE, Deployment, Ear, deployed, version
from tests.containers.engine import RAN_ON
from tests.waiting import wait_until

SERVICES = ("bridge", "supervisor", "scheduler", "notifier", "deputy", "recorder", "console", "simulator")
PATIENCE_S = 120.0


@dataclass
class Story:
    """The deployment and who listens to it."""

    deployment: Deployment
    ear: Ear

    def readings_since(self, count: int, more: int) -> bool:
        """Whether so many more were heard."""
        return len(self.ear.readings) >= count + more


@pytest.fixture(scope="module")
def story(images: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Story]:
    """Everything up, from nothing."""
    RAN_ON["deployment"] = f"{version()}, with {OVERRIDE.name}: influxdb 1.6 for 2, nothing for grafana"
    folder = tmp_path_factory.mktemp("deployment")
    with deployed(Deployment(folder / "site", f"coldside-test-{os.getpid()}")) as deployment:
        deployment.prepare()
        deployment.up()
        ear = Ear(deployment.as_operator())
        yield Story(deployment, ear)
        ear.stop()


def test_every_service_is_well_over_tls(story: Story) -> None:
    wait_until(lambda: all(runs(story, service) for service in SERVICES), "every service to be well", PATIENCE_S)


def runs(story: Story, service: str, since: datetime | None = None) -> bool:
    """Whether it says so, after a moment."""
    said = story.ear.health.get(service)
    return said is not None and said.state is Wellness.RUNNING and (since is None or said.at > since)


def test_nothing_is_published_but_the_console_and_the_brokers_tls_port(story: Story) -> None:
    listed = story.deployment.compose("ps").stdout
    published = sorted(part.split("->")[1] for line in listed.splitlines() for part in line.split() if "->" in part)
    assert published == ["8765/tcp", "8883/tcp"]


def test_batch_is_started_and_steers_its_chamber(story: Story) -> None:
    batch = ("41-oat-pale", "--chamber", "ale-fridge", "--profile", "weekend-crash", "--original-gravity", "1.052")
    done = story.deployment.coldside("batch", "start", *batch)
    assert done.returncode == 0, done.stderr
    wanted = "simulated/barn/ale-fridge"
    wait_until(lambda: any(topic.startswith(wanted) for topic in story.ear.relays), "its relays to be told", PATIENCE_S)


def test_control_goes_on_after_the_broker_was_restarted(story: Story) -> None:
    connections, moment = story.ear.connections, datetime.now(UTC)
    assert story.deployment.compose("restart", "broker").returncode == 0
    wait_until(lambda: story.ear.connections > connections, "the door to open again", PATIENCE_S)
    absent = set(SERVICES)

    def all_are_back() -> bool:
        absent.difference_update([one for one in absent if runs(story, one, moment)])
        return not absent

    try:
        wait_until(all_are_back, "everybody back", PATIENCE_S)
    except AssertionError:
        pytest.fail(
            f"not back: {absent}; {[story.ear.health.get(one) for one in absent]}; "
            f"{[story.deployment.compose('logs', '--no-color', one).stdout[-3000:] for one in absent]}"
        )


@pytest.mark.parametrize("service", ["bridge", "scheduler"])
def test_killed_service_is_started_again(story: Story, service: str) -> None:
    before = story.ear.health[service].started
    story.deployment.kill(service)
    wait_until(lambda: story.ear.health[service].state is Wellness.LOST, "its last will", PATIENCE_S)
    wait_until(lambda: runs(story, service) and story.ear.health[service].started != before, "its return", PATIENCE_S)


def test_no_reading_is_lost_while_the_store_was_away(story: Story) -> None:
    assert story.deployment.compose("stop", "influxdb").returncode == 0
    count = len(story.ear.readings)
    wait_until(lambda: story.readings_since(count, 30), "readings without a store", PATIENCE_S)
    assert story.deployment.compose("start", "influxdb").returncode == 0
    heard = set(story.ear.readings)
    assert len(heard) >= 30
    wait_until(lambda: not heard - recorded(story), "every reading to be in the store", PATIENCE_S)


def recorded(story: Story) -> set[tuple[str, str, int]]:
    """Every sample in the store, by chamber, probe and time."""
    now = datetime.now(UTC)
    try:
        store = story.deployment.store()
        found = [
            (series.chamber, series.name, int(at))
            for series in store.series(Match(site="barn"))
            for at in store.raw(series, now - timedelta(hours=2), now + timedelta(hours=1)).at_ms
        ]
    except (OSError, RuntimeError, ValueError):
        return set()
    return set(found)


def test_no_secret_is_in_any_log_or_in_what_the_engine_tells(story: Story) -> None:
    folder = story.deployment.folder / "secure"
    secrets = [path.read_text() for path in (*folder.glob("accounts/*/password"), *folder.glob("store/*"))]
    told = story.deployment.compose("logs", "--no-color").stdout + story.deployment.compose("config").stdout
    assert len(secrets) > 10
    assert not [one for one in secrets if one in told]


def test_all_goes_down_clean_with_every_output_off(story: Story) -> None:
    before = dict(story.ear.relays)
    assert before
    done = story.deployment.compose("stop", "--timeout", "20")
    assert done.returncode == 0, done.stderr
    assert set(story.ear.relays.values()) == {b"0"}, story.ear.relays
    codes = {service: story.deployment.state_of(service)["ExitCode"] for service in SERVICES}
    assert set(codes.values()) == {0}, codes
