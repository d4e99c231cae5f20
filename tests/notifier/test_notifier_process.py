"""The notifier as people run it: a real process on a real broker, killed while it tells a real web server."""

import json
import subprocess
import sys
import urllib.request
from collections import Counter
from pathlib import Path
from random import Random

import pytest

from schemas.alarms import Condition
from schemas.contract import encode, topic_for
from services.runtime.broker import free_port
from services.runtime.bus import BrokerLink
from services.runtime.clock import SystemClock
from services.runtime.service import Outgoing
from tests.brokers import embedded_broker
from tests.notifier.outside import receiver
from tests.waiting import turn_until, wait_until

PLANT = """
site: {{name: shed}}
people: {{ben: {{ways: {{phone: {{webhook: "{url}"}}}}}}}}
notifier:
  routes: [{{to: [ben.phone], chambers: [left]}}]
  flood_at: 50
  link: {{base: "http://127.0.0.1:{port}", serve: "127.0.0.1:{port}"}}
chambers:
  left:
    kind: fridge
    probes: {{beer: {{measures: temperature, from: {{simulated: true}}}}}}
"""
ALARMS = [f"relay-welded-o{number}" for number in range(12)]


class Process:
    """`coldside run notifier`, or another service."""

    def __init__(self, folder: Path, broker: str, service: str = "notifier") -> None:
        words = [service, "--plant", str(folder / "shed.yaml"), "--state", str(folder / "state"), "--broker", broker]
        self._command = [sys.executable, "-m", "services.commands.member", *words, "--log", str(folder / "log.jsonl")]
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(self._command)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(20)


def raise_alarm(link: BrokerLink, name: str) -> None:
    now = SystemClock().now()
    one = Condition(at=now, source="test", chamber="left", name=name, active=True, since=now, detail="in words")
    link.publish(Outgoing(topic_for("shed", one), encode(one), retain=True))


def told(server) -> Counter[str]:
    once = {one["id"]: one for one in server.taken}
    return Counter(alarm["name"] for one in once.values() for alarm in one["alarms"])


def test_killed_again_and_again_it_tells_every_alarm_under_one_id_and_takes_the_link_it_sent(tmp_path):
    random = Random(7)
    with embedded_broker(tmp_path) as broker, receiver(["take", "slow", "lost"]) as server:
        (tmp_path / "shed.yaml").write_text(PLANT.format(url=server.url, port=free_port(0)))
        notifier = Process(tmp_path, str(broker))
        link = BrokerLink(broker, "test", random)
        for number in range(0, len(ALARMS), 4):
            for name in ALARMS[number : number + 4]:
                raise_alarm(link, name)
            enough = len(told(server)) + random.randrange(3)
            turn_until([link], lambda enough=enough: len(told(server)) >= enough, "some to be told", 40)
            notifier.kill()
            notifier.start()
        turn_until([link], lambda: set(told(server)) == set(ALARMS), "all to be told", 60)
        assert told(server) == Counter(ALARMS)
        acknowledge_by_link(server.taken[0]["acknowledge"])
        notifier.stop()
        link.close()
    kept = json.loads((tmp_path / "state" / "notifier.json").read_text())["snapshot"]["records"]
    assert [one["by"] for one in kept if one["phase"] == "acknowledged"] == ["ben"]


def acknowledge_by_link(url: str) -> None:
    wait_until(lambda: b"button" in urllib.request.urlopen(url, timeout=5).read(), "the page")
    with urllib.request.urlopen(url, data=b"", timeout=15) as answer:
        assert b"Thank you" in answer.read()


def test_a_test_message_is_asked_for_and_followed_on_the_command_line(tmp_path):
    with embedded_broker(tmp_path) as broker, receiver() as server:
        (tmp_path / "shed.yaml").write_text(PLANT.format(url=server.url, port=free_port(0)))
        notifier = Process(tmp_path, str(broker))
        wait_until(lambda: coldside("test", "ben", broker).returncode == 0, "a test message to be accepted", 40)
        wait_until(lambda: bool(server.taken), "the test message")
        (report,) = json.loads(coldside("deliveries", "--json", broker).stdout)
        notifier.stop()
    assert "Nothing is wrong" in server.taken[0]["text"]
    assert report["recent"][-1]["state"] == "delivered"


def coldside(*words: object) -> subprocess.CompletedProcess[str]:
    """`coldside alarm ...`; the broker comes last."""
    *said, broker = map(str, words)
    command = [sys.executable, "-m", "services.cli", "alarm", *said, "--broker", broker, "--site", "shed"]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


@pytest.mark.soak
def test_a_notifier_that_is_killed_for_good_is_told_by_the_deputy(tmp_path):
    with embedded_broker(tmp_path) as broker, receiver() as server:
        (tmp_path / "shed.yaml").write_text(PLANT.format(url=server.url, port=free_port(0)).replace("[left]", "[site]"))
        notifier, deputy = Process(tmp_path, str(broker)), Process(tmp_path, str(broker), "deputy")
        wait_until((tmp_path / "state" / "notifier.json").exists, "the notifier to run", 40)
        wait_until((tmp_path / "state" / "deputy.json").exists, "the deputy to run", 40)
        notifier.kill()
        wait_until(lambda: "service-lost-notifier" in told(server), "the deputy's message", 90)
        deputy.stop()


@pytest.mark.soak
def test_a_notifier_with_nobody_outside_to_reach_stops_at_once_when_told(tmp_path):
    with embedded_broker(tmp_path) as broker:
        url = f"http://127.0.0.1:{free_port(0)}/x"
        (tmp_path / "shed.yaml").write_text(PLANT.format(url=url, port=free_port(0)))
        notifier = Process(tmp_path, str(broker))
        wait_until((tmp_path / "state" / "notifier.json").exists, "the notifier to run", 40)
        notifier.stop()
    assert notifier.process.returncode == 0
