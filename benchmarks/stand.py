"""A stand for measuring real processes: the embedded broker, a bridge and a supervisor with five chambers to heat."""

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from schemas.topics import everything
from services.runtime.address import BrokerAddress
from services.runtime.broker import prepare_broker
from services.runtime.bus import BrokerLink
from services.runtime.clock import machine_seconds
from services.runtime.family import Member
from services.runtime.link import Delivery

SITE = "stand"
CHAMBERS = tuple(f"fridge-{number}" for number in range(1, 6))
OTHERS = tuple((chamber, f"air-{number}") for chamber in CHAMBERS for number in range(1, 5))
COLD, TOO_WARM = b"19.00", b"21.30"
PATIENCE_S = 60.0
_CHAMBER = """  {name}:
    kind: fridge
    contents: {{volume: 23 L}}
    hold: 20.8 degC
    limits: {{highest: 21 degC}}
    probes:
      beer: {{measures: temperature, at: beer, every: 10 s, fastest_per_min: 100000, from: {{mqtt: {beer}}}}}
{others}
    outputs:
      heat: {{drives: heater, to: {{mqtt: {heat}, on: "1", off: "0"}}, power: 60 W}}
"""


def beer_topic(chamber: str) -> str:
    """Where a chamber's device publishes the beer's temperature."""
    return f"device/{chamber}/beer"


def relay_topic(chamber: str) -> str:
    """Where a chamber's device listens to what its heater is to do."""
    return f"device/{chamber}/heat"


def other_topics() -> list[str]:
    """Where the devices publish everything else."""
    return [f"device/{chamber}/{probe}" for chamber, probe in OTHERS]


def plant_text() -> str:
    """Five chambers with a heater each, and twenty probes that steer nothing."""
    lines = [f"site: {{name: {SITE}, timezone: Europe/Dublin, altitude: 0 m}}", "circuits: {}", "chambers:"]
    return "\n".join((*lines, *(_chamber(name) for name in CHAMBERS)))


def _chamber(name: str) -> str:
    others = "\n".join(
        f"      {probe}: {{measures: humidity, every: 10 s, from: {{mqtt: device/{name}/{probe}}}}}"
        for chamber, probe in OTHERS
        if chamber == name
    )
    return _CHAMBER.format(name=name, beer=beer_topic(name), heat=relay_topic(name), others=others)


@dataclass(frozen=True, slots=True)
class Stand:
    """What runs on it."""

    address: BrokerAddress
    folder: Path

    def program(self, *arguments: str) -> subprocess.Popen[str]:
        """Starts one of the bare programs against the broker."""
        name, *rest = arguments
        command = [sys.executable, "-m", "benchmarks.bare", name, str(self.address.port), *rest]
        return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)

    def link(self, name: str, *filters: str) -> BrokerLink:
        """A connection for measuring, listening."""
        made = BrokerLink(self.address, name, Random(name))
        made.listen(filters)
        turn_until(made, lambda _: made.listening)
        return made


def turn_until(link: BrokerLink, enough: Callable[[list[Delivery]], bool], patience_s: float = PATIENCE_S) -> None:
    """Turns the link, acknowledging all that comes, until what came last is enough; raises TimeoutError."""
    deadline_s = machine_seconds() + patience_s
    came: list[Delivery] = []
    while not enough(came):
        if machine_seconds() > deadline_s:
            raise TimeoutError(f"nothing that was waited for came within {patience_s:g} s; {link.trouble}")
        link.turn(0.05)
        came = link.take(1000)
        for delivery in came:
            link.acknowledge(delivery.ticket)


@contextmanager
def broker_alone() -> Iterator[Stand]:
    """The embedded broker on a free port, everything in a temporary folder."""
    with TemporaryDirectory(prefix="coldside-bench-") as name:
        folder = Path(name)
        folder.chmod(0o755)
        prepared = prepare_broker(folder, preferred_port=0)
        member = Member("broker", prepared.command, prepared.user)
        member.start()
        try:
            yield Stand(BrokerAddress(port=prepared.port), folder)
        finally:
            member.stop()


@contextmanager
def chambers() -> Iterator[Stand]:
    """Bridge and supervisor as processes of their own, up and speaking."""
    with ExitStack() as stack:
        stand = stack.enter_context(broker_alone())
        plant = stand.folder / "stand.yaml"
        plant.write_text(plant_text())
        ear = stand.link("stand-up", everything(SITE))
        stack.callback(ear.close)
        for service in ("supervisor", "bridge"):
            member = Member(service, _command(service, plant, stand))
            member.start()
            stack.callback(member.stop)
        _await_health(ear, {"supervisor", "bridge"})
        yield stand


def _await_health(ear: BrokerLink, services: set[str]) -> None:
    heard: set[str] = set()

    def all_up(came: list[Delivery]) -> bool:
        heard.update(one.topic.split("/")[-1] for one in came if "/health/" in one.topic)
        return services <= heard

    turn_until(ear, all_up)


def _command(service: str, plant: Path, stand: Stand) -> list[str]:
    options = ["--plant", str(plant), "--state", str(stand.folder / "state"), "--broker", str(stand.address)]
    log = str(stand.folder / f"{service}.log")
    return [sys.executable, "-m", "services.cli", "run", service, *options, "--log", log]
