"""A site on a real broker, its time running as fast as the machine can: hosts, links, queues and all.

Time goes on by a few seconds each time that everybody has heard everything, so that a busy machine makes it slower and
nothing else.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

from benchmarks.stand import broker_alone
from schemas.base import ServiceName
from schemas.contract import topic_for
from schemas.plant import Plant, as_simulated
from schemas.requests import RequestBase
from services.bridge.core import Bridge
from services.runtime.address import BrokerAddress
from services.runtime.bus import BrokerLink
from services.runtime.clock import VirtualClock, machine_seconds
from services.runtime.health import HealthBook
from services.runtime.host import Host
from services.runtime.service import Outgoing, Service
from services.runtime.state import Saved, StateFile
from services.scheduler.core import Scheduler
from services.simulator.core import Simulator
from services.supervisor.core import Supervisor

STEP = timedelta(seconds=5)
QUIET_PASSES = 2
WAIT_S = 0.001
PATIENCE_S = 30.0


class ScaledSite:
    """Simulator, bridge, supervisor and scheduler; `simulator` knows how things really are."""

    def __init__(self, plant: Plant, origin: datetime, seed: int, address: BrokerAddress, folder: Path) -> None:
        self.plant = as_simulated(plant)
        self.clock = VirtualClock(origin)
        self.simulator = Simulator(self.plant, seed=seed)
        cores: dict[ServiceName, Service] = {
            ServiceName.SIMULATOR: self.simulator,
            ServiceName.BRIDGE: Bridge(self.plant),
            ServiceName.SUPERVISOR: Supervisor(self.plant),
            ServiceName.SCHEDULER: Scheduler(self.plant),
        }
        self.links = {name: BrokerLink(address, f"scaled-{name}", Random(name)) for name in (*cores, "person")}
        self.hosts = [self._host(name, core, folder) for name, core in cores.items()]
        for host in self.hosts:
            host.begin()
        self._hear_all()

    def ask(self, request: RequestBase) -> None:
        """As a person would; the answer is not waited for."""
        self.links["person"].publish(Outgoing(topic_for(self.plant.site.name, request), request))
        self._hear_all()

    def run_until(self, moment: datetime) -> None:
        """Lets the site live up to a moment."""
        while self.clock.now() < moment:
            self.clock.advance(STEP)
            self._hear_all()

    def close(self) -> None:
        """Everybody says goodbye."""
        for host in self.hosts:
            host.end()
        self.links["person"].close()

    def _host(self, name: ServiceName, core: Service, folder: Path) -> Host:
        book = HealthBook(name, self.plant.site.name, "", self.clock.now())
        return Host(core, self.links[name], self.clock, book, StateFile(folder / f"{name}.json", Saved))

    def _hear_all(self) -> None:
        """Until nothing is under way, a few passes in a row. Raises TimeoutError."""
        quiet, deadline_s = 0, machine_seconds() + PATIENCE_S
        while quiet < QUIET_PASSES:
            if machine_seconds() > deadline_s:
                raise TimeoutError(f"something was still under way after {PATIENCE_S:g} s")
            self.links["person"].turn(WAIT_S)
            for host, link in zip(self.hosts, self.links.values(), strict=False):
                link.turn(WAIT_S)
                host.turn(0.0)
            busy = any(link.waiting or link.untaken or not link.connected for link in self.links.values())
            quiet = 0 if busy else quiet + 1


@contextmanager
def scaled_site(plant: Plant, origin: datetime, seed: int) -> Iterator[ScaledSite]:
    """A site from `origin` on, on the embedded broker."""
    with broker_alone() as stand:
        folder = stand.folder / "state"
        folder.mkdir()
        site = ScaledSite(plant, origin, seed, stand.address, folder)
        try:
            yield site
        finally:
            site.close()
