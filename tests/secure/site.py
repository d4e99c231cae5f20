"""A shed with two boards, its secrets made, and both brokers closed to everybody else."""

import secrets
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from schemas.plant import Plant
from schemas.plant_file import load
from services.runtime.address import BrokerAddress
from services.runtime.broker import free_port, prepare_broker
from services.runtime.credentials import FOLDER, admitted
from services.runtime.family import Member
from services.secure.making import Outcome, Smith, Wishes
from services.secure.mosquitto import Places, configuration
from services.secure.rights import Holder
from services.secure.vault import Vault
from tests.brokers import MOSQUITTO
from tests.waiting import wait_until

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)
PLANT = """
site: {name: shed, timezone: Europe/Dublin}
chambers:
  ale-fridge:
    kind: fridge
    probes:
      beer: {measures: temperature, from: {mqtt: garage/node3/probes, value: "$.p[0]"}}
      air: {measures: temperature, from: {mqtt: garage/node3/probes, value: "$.p[1]"}}
    outputs:
      cool: {drives: compressor, to: {mqtt: garage/node3/relay/1}, power: 95 W}
      heat: {drives: heater, to: {mqtt: garage/node3/relay/2, state: garage/node3/state/2}, power: 60 W}
  keg:
    kind: kegerator
    probes:
      beer: {measures: temperature, from: {mqtt: kegs/temperature, device: keg-board}}
    outputs:
      cool: {drives: compressor, to: {mqtt: kegs/relay, device: keg-board}, power: 95 W}
"""


def plant_in(folder: Path, text: str = PLANT) -> Plant:
    """The shed, from a file."""
    path = folder / "plant.yaml"
    path.write_text(text)
    return load(path)


def secured(folder: Path, plant: Plant, wishes: Wishes | None = None, now: datetime | None = None) -> Outcome:
    """What `coldside secure` does."""
    return Smith(Vault(folder), now or datetime.now(UTC), secrets.token_bytes).make(plant, wishes or Wishes())


@dataclass(frozen=True, slots=True)
class Door:
    """A running broker, and how each account enters it."""

    name: str
    devices: BrokerAddress
    services: BrokerAddress
    folder: Path
    process: subprocess.Popen[bytes] | None = None

    def key(self, account: str, holder: Holder = Holder.SERVICE) -> BrokerAddress:
        """The address with what the account has."""
        inside = holder in (Holder.SERVICE, Holder.PERSON)
        address = self.services if inside else self.devices
        return admitted(address, account, {FOLDER: str(self.folder / "accounts")})


@contextmanager
def closed_mosquitto(folder: Path, data: Path) -> Iterator[Door]:
    """Debian's, on the files in `folder`; another pair of ports when one was taken meanwhile."""
    assert MOSQUITTO, "mosquitto is needed: apt-get install mosquitto"
    data.mkdir(exist_ok=True)
    for _ in range(5):
        ports = free_port(0), free_port(0)
        places = Places(str(folder / "broker"), str(data), "127.0.0.1", *ports)
        (data / "mosquitto.conf").write_text(configuration(places) + "user root\n")
        with (data / "log").open("ab") as log:
            process = subprocess.Popen([MOSQUITTO, "-c", str(data / "mosquitto.conf")], stderr=log)
        here = [BrokerAddress(port=port, tls=True) for port in ports]
        try:
            wait_until(lambda: process.poll() is not None or _listens(*ports), "mosquitto to listen")  # noqa: B023
            if process.poll() is None:
                yield Door("mosquitto", *here, folder, process)
                return
        finally:
            process.terminate()
            process.wait(10)
    raise AssertionError(f"mosquitto does not start: {(data / 'log').read_text()}")


@contextmanager
def closed_nats(folder: Path, state: Path) -> Iterator[Door]:
    """The embedded one, on loopback without TLS."""
    state.mkdir(exist_ok=True)
    broker = prepare_broker(state, 0, folder)
    member = Member("broker", broker.command, broker.user)
    member.start()
    try:
        wait_until(broker.answers, "the embedded broker to answer")
        here = BrokerAddress(port=broker.port)
        yield Door("embedded", here, here, folder)
    finally:
        member.stop()


def stranger(address: BrokerAddress, **changes: object) -> BrokerAddress:
    """The same with something wrong."""
    return replace(address, **changes)  # type: ignore[arg-type]


def _listens(*ports: int) -> bool:
    import socket

    for port in ports:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)):
                return False
    return True
