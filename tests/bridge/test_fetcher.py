"""Sensors that have to be asked are asked in a thread, each at its own pace, and none silences another."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from schemas.plant_file import loads
from services.bridge.fetcher import Errand, Fetcher
from services.bridge.shell import Shell
from services.runtime.address import BrokerAddress
from services.runtime.broker import free_port
from tests.bridge.bench import START
from tests.waiting import wait_until

SENSOR = "28-0000075f3c1a"


@pytest.fixture
def fetcher() -> Iterator[Fetcher]:
    made = Fetcher()
    yield made
    made.close()


def until(fetcher: Fetcher, count: int) -> list[tuple[str, bytes]]:
    """The first so many answers."""
    found: list[tuple[str, bytes]] = []

    def enough() -> bool:
        found.extend((one.topic, one.body) for one in fetcher.take())
        return len(found) >= count

    wait_until(enough, f"{count} answers")
    return found


def test_sensor_is_asked_again_and_again(fetcher):
    fetcher.want([Errand("a", lambda: b"1", every_s=0.01)])
    assert until(fetcher, 5)[:5] == [("a", b"1")] * 5


def test_slow_sensor_keeps_nobody_waiting(fetcher):
    asked, release = threading.Event(), threading.Event()

    def slow() -> bytes:
        asked.set()
        return b"late" if release.wait(10) else b"never"

    fetcher.want([Errand("a", slow, every_s=0.01)])
    assert asked.wait(10)
    assert fetcher.take() == []
    release.set()
    assert until(fetcher, 1)[0] == ("a", b"late")


def test_driver_that_raises_does_not_silence_the_others(fetcher):
    fetcher.want([Errand("a", lambda: 1 / 0, every_s=60), Errand("b", lambda: b"2", every_s=60)])  # type: ignore[arg-type]
    found = dict(until(fetcher, 2))
    assert found["b"] == b"2"
    assert b"ZeroDivisionError" in found["a"]


def test_new_errands_replace_the_old_at_once(fetcher):
    fetcher.want([Errand("a", lambda: b"1", every_s=3600)])
    until(fetcher, 1)
    fetcher.want([Errand("b", lambda: b"2", every_s=3600)])
    assert until(fetcher, 1) == [("b", b"2")]


def test_shell_brings_what_a_one_wire_sensor_says_to_its_bridge(tmp_path: Path):
    folder = tmp_path / SENSOR
    folder.mkdir()
    (folder / "temperature").write_text("18125\n")
    plant = loads(f"""
site: {{name: barn}}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {{measures: temperature, from: {{onewire: {SENSOR}, folder: {tmp_path}}}}}
""")
    shell = Shell(plant, BrokerAddress(port=free_port(0)))
    bridge = shell.build(None, START)
    said: list[float] = []

    def heard() -> bool:
        answers = [answer for one in shell.poll(START) for answer in bridge.receive(one, START)]
        said.extend(answer.body.temperature_c for answer in answers)
        return bool(said)

    wait_until(heard, "a reading")
    shell.close()
    assert said == [18.125]
