"""The recorder as a process on a real broker, killed at random while readings come: each is kept exactly once."""

import os
import random
import subprocess
import sys
import threading
from datetime import timedelta

import paho.mqtt.client as mqtt
import pytest

from schemas.contract import encode, topic_for
from services.recorder.__main__ import HISTORY
from services.recorder.rows import milliseconds
from services.recorder.samples import checksum, from_rows
from services.recorder.sqlite_store import SqliteStore
from services.recorder.store import Match, StoreUnreachable
from services.runtime.broker import prepare_broker
from services.runtime.clock import SystemClock
from services.runtime.durable import write_durably
from tests.recorder.history import BEER, DAY, FOR_EVER
from tests.recorder.stepping import OFFSET
from tests.recorder.test_app import PLANT as SHED
from tests.recorder.test_recorder import reading

COUNT = 3000
PAUSE = threading.Event()
PLANT = SHED + "history: {keep: {samples: 3650 d}}\n"
"""The readings are old already, so their days are packed while they come; they must not be dropped as well."""


def wait_until(true, seconds=60.0):
    for _ in range(int(seconds / 0.05)):
        if true():
            return
        PAUSE.wait(0.05)
    raise AssertionError("it did not happen in time")


@pytest.fixture
def broker(tmp_path):
    prepared = prepare_broker(tmp_path, 0)
    with (tmp_path / "broker.log").open("wb") as log:
        process = subprocess.Popen(prepared.command, stdout=log, stderr=log)
    wait_until(prepared.answers)
    yield prepared
    process.kill()
    process.wait()


@pytest.fixture
def recorder(tmp_path, broker):
    process = RecorderProcess(tmp_path, broker)
    yield process
    process.kill()


class RecorderProcess:
    def __init__(self, folder, broker):
        (folder / "shed.yaml").write_text(PLANT)
        words = ["recorder", "--plant", str(folder / "shed.yaml"), "--state", str(folder), "--broker", broker.url]
        self.command = [sys.executable, "-m", "services.commands.member", *words]
        self.log = folder / "recorder.log"
        self.start()

    def keep_time_by(self, folder, broker):
        """Begins anew with a clock that the test sets."""
        self.kill()
        self.command = [
            sys.executable, "-m", "tests.recorder.stepping", str(folder / "shed.yaml"), str(folder), broker.url
        ]  # fmt: skip
        self.start()

    def start(self):
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(self.command, stdout=log, stderr=log, env=os.environ)

    def kill(self):
        self.process.kill()
        self.process.wait()


def readings(count, begins=DAY):
    return [
        reading(0).model_copy(update={"at": begins + timedelta(seconds=number), "temperature_c": float(number % 90)})
        for number in range(count)
    ]


def publisher(broker):
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="bridge-in-a-test")
    client.max_inflight_messages_set(200)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    return client


def kept(folder):
    store = SqliteStore(folder / HISTORY, read_only=True)
    raw = store.raw(BEER, *FOR_EVER)
    store.close()
    return raw


def ready(folder):
    """Whether it listens: its own health has come back to it and is in the store."""
    try:
        store = SqliteStore(folder / HISTORY, read_only=True)
        heard = store.series(Match(kind="health"))
    except StoreUnreachable:
        return False
    store.close()
    return bool(heard)


@pytest.mark.parametrize("seed", range(3))
def test_every_reading_is_kept_exactly_once_while_the_recorder_is_killed_again_and_again(
    tmp_path, broker, recorder, seed
):
    chance = random.Random(seed)
    wait_until(lambda: ready(tmp_path))
    client, sent = publisher(broker), readings(COUNT)
    kills = sorted(chance.sample(range(COUNT), 4))
    for number, one in enumerate(sent):
        client.publish(topic_for("shed", one), encode(one), qos=1).wait_for_publish(10)
        if number in kills:
            recorder.kill()
            recorder.start()
    wait_until(lambda: len(kept(tmp_path)) >= COUNT)
    client.loop_stop()
    wanted = from_rows([(milliseconds(one.at), one.temperature_c, 0) for one in sent])
    assert checksum(kept(tmp_path)) == checksum(wanted)


DAY_S = 86_400
STEPS_S = (0.0, 400 * DAY_S + 0.25, 0.0, -2 * DAY_S - 0.125, 3_600.375)
"""How far the clock of the whole site is off, one after the other: far ahead, right again, behind, an hour ahead."""
BURST = 200


def test_readings_across_steps_of_the_clock_are_kept_exactly_once(tmp_path, broker, recorder):
    (tmp_path / "shed.yaml").write_text(SHED)
    recorder.keep_time_by(tmp_path, broker)
    wait_until(lambda: ready(tmp_path))
    client, sent, now = publisher(broker), [], SystemClock().now()
    for number, offset_s in enumerate(STEPS_S):
        expected = (number + 1) * BURST
        write_durably(tmp_path / OFFSET, str(offset_s).encode())
        begins = now + timedelta(seconds=offset_s + number * BURST)
        burst = readings(BURST, begins)
        for one in burst:
            client.publish(topic_for("shed", one), encode(one), qos=1).wait_for_publish(10)
        sent += burst
        wait_until(lambda expected=expected: len(kept(tmp_path)) >= expected)
        if abs(offset_s) > DAY_S:
            recorder.kill()
            recorder.start()
    client.loop_stop()
    wanted = from_rows(sorted((milliseconds(one.at), one.temperature_c, 0) for one in sent))
    assert checksum(kept(tmp_path)) == checksum(wanted)
