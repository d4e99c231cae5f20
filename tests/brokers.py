"""Real brokers for tests: the embedded one and Debian's mosquitto, each on a free port of loopback."""

import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from services.runtime.address import BrokerAddress
from services.runtime.broker import EmbeddedBroker, free_port, prepare_broker
from services.runtime.family import Member
from tests.waiting import wait_until

MOSQUITTO = shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/usr/local/sbin:/usr/local/bin")


@contextmanager
def embedded_broker(folder: Path, port: int = 0) -> Iterator[BrokerAddress]:
    """nats-server as `coldside up` starts it, its store under the folder."""
    broker = prepare_broker(folder, preferred_port=port)
    member = Member("broker", broker.command, broker.user)
    member.start()
    try:
        wait_until(broker.answers, "the embedded broker to answer")
        yield BrokerAddress(port=broker.port)
    finally:
        member.stop()


@contextmanager
def mosquitto(folder: Path, port: int = 0) -> Iterator[BrokerAddress]:
    """mosquitto, open to anybody on loopback, keeping all that is queued and retained."""
    assert MOSQUITTO, "mosquitto is needed: apt-get install mosquitto"
    port = port or free_port(0)
    configuration = folder / "mosquitto.conf"
    configuration.write_text(_CONFIGURATION.format(port=port, folder=folder))
    process = subprocess.Popen([MOSQUITTO, "-c", str(configuration)], stderr=subprocess.DEVNULL)
    try:
        wait_until(EmbeddedBroker((), port, None).answers, "mosquitto to answer")
        yield BrokerAddress(port=port)
    finally:
        process.terminate()
        process.wait(10)


_CONFIGURATION = """listener {port} 127.0.0.1
allow_anonymous true
user root
max_queued_messages 0
persistence true
persistence_location {folder}/
autosave_on_changes true
autosave_interval 1
"""
