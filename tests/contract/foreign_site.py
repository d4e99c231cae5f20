"""Two fridges on home-made boards that know nothing of this project, held by real processes over a real broker."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path

from schemas.contract import decode
from schemas.journal import Health
from services.runtime.address import BrokerAddress
from services.runtime.broker import free_port
from tests.waiting import wait_until

BrokerMaker = Callable[[Path, int], AbstractContextManager[BrokerAddress]]
BOARD = Path(__file__).with_name("board.sh")
HOLD_C = 20.0
OFF_K = 1.4
PLANT = f"""
site: {{name: shed}}
chambers:
  cold:
    kind: fridge
    hold: {HOLD_C} degC
    probes:
      air: {{measures: temperature, from: {{mqtt: board-cold/probes, value: "$.p[0]"}}}}
    outputs:
      heat: {{drives: heater, to: {{mqtt: board-cold/relay/heat}}, power: 60 W}}
  warm:
    kind: fridge
    hold: {HOLD_C} degC
    probes:
      air: {{measures: temperature, from: {{mqtt: board-warm/probes, value: "$.p[0]"}}}}
    outputs:
      cool: {{drives: compressor, to: {{mqtt: board-warm/relay/cool, on: "ON", off: "OFF"}}, power: 90 W,
             rest: 5 s, run: 5 s, starts_per_hour: 60}}
"""
"""One stands in the cold and needs heat, the other in the warm and needs cooling; both are held by their air, which
changes within seconds here, so the compressor's times are short, too."""


class Board:
    """One home-made board: a shell script on mosquitto's own command-line clients."""

    def __init__(self, folder: Path, port: int, name: str, drift: int) -> None:
        self.folder = folder / name
        self.folder.mkdir()
        command = ["sh", str(BOARD), str(port), name, str(self.folder), str(drift)]
        self._process = subprocess.Popen(command, start_new_session=True)

    @property
    def temperature_c(self) -> float:
        """What it measures now."""
        return int((self.folder / "temperature").read_text() or 0) / 1000

    def course(self) -> list[float]:
        """All that it has measured."""
        return [int(line) / 1000 for line in (self.folder / "course").read_text().split()]

    def heard(self, output: str) -> list[str]:
        """All payloads that a relay has got."""
        lines = (self.folder / "heard").read_text().splitlines() if (self.folder / "heard").exists() else []
        return [line.split(" ", 1)[1] for line in lines if line.startswith(f"{output} ")]

    def is_on(self, output: str) -> bool:
        """Whether a relay is on."""
        return self.heard(output)[-1:] in (["1"], ["ON"])

    def put(self, celsius: float) -> None:
        """Somebody warms or cools it by hand, and it was so far off after that."""
        (self.folder / "put").write_text(f"{celsius * 1000:.0f}\n")

    def stop(self) -> None:
        os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()


class Site:
    """A broker that can be restarted, two boards, and the services that hold them."""

    def __init__(self, folder: Path, broker: BrokerMaker) -> None:
        self.folder = folder
        self.port = free_port(0)
        self._maker = broker
        self._plant = folder / "plant.yaml"
        self._plant.write_text(PLANT)
        self._services: dict[str, subprocess.Popen[bytes]] = {}
        self.start_broker()
        self.cold = Board(folder, self.port, "board-cold", drift=-20)
        self.warm = Board(folder, self.port, "board-warm", drift=20)

    def start_broker(self) -> None:
        """On the same port and store as before."""
        self._broker = self._maker(self.folder, self.port)
        self._broker.__enter__()

    def stop_broker(self) -> None:
        """In good order; clients lose their connections."""
        self._broker.__exit__(None, None, None)

    def start(self, *names: str) -> None:
        """Starts services, each in a process of its own."""
        for name in names:
            command = [sys.executable, "-m", "services.commands.member", name, "--plant", str(self._plant)]
            command += ["--broker", f"mqtt://127.0.0.1:{self.port}", "--state", str(self.folder / "state")]
            command += ["--log", str(self.folder / f"{name}.jsonl")]
            self._services[name] = subprocess.Popen(command)

    def signal(self, name: str, number: signal.Signals) -> None:
        """Sends a service a signal."""
        self._services[name].send_signal(number)
        if number is signal.SIGKILL:
            self._services.pop(name).wait()

    def publish(self, topic: str, payload: bytes, *options: str) -> None:
        """A stranger says something."""
        where = ["-h", "127.0.0.1", "-p", str(self.port)]
        body = ["-s"] if payload else ["-n"]
        subprocess.run(["mosquitto_pub", *where, "-t", topic, *body, *options], input=payload, check=True)

    def health(self, name: str) -> Health:
        """What a service last said of itself."""
        topic = f"coldside/shed/health/{name}"
        where = ["-h", "127.0.0.1", "-p", str(self.port), "-C", "1", "-W", "20"]
        said = subprocess.run(["mosquitto_sub", *where, "-t", topic], capture_output=True, check=True)
        found = decode(topic, said.stdout.strip())
        assert isinstance(found, Health)
        return found

    def await_control(self) -> None:
        """Puts both off their temperature, and waits until each is switched on for it."""
        before = len(self.cold.heard("heat")), len(self.warm.heard("cool"))
        self.cold.put(HOLD_C - OFF_K)
        self.warm.put(HOLD_C + OFF_K)
        wait_until(lambda: "1" in self.cold.heard("heat")[before[0] :], "the heater to be switched on", 90)
        wait_until(lambda: "ON" in self.warm.heard("cool")[before[1] :], "the compressor to be switched on", 90)

    def close(self) -> None:
        for process in self._services.values():
            process.send_signal(signal.SIGCONT)
            process.terminate()
        for process in self._services.values():
            process.wait(20)
        self.cold.stop()
        self.warm.stop()
        self.stop_broker()


@contextmanager
def foreign_sites(folder: Path, brokers: dict[str, BrokerMaker]) -> Iterator[dict[str, Site]]:
    """A site on each broker, with its bridge and supervisor running and in control.

    All are started together: each takes a minute until it is sure that a compressor it knows nothing of has rested.
    """
    with ExitStack() as stack:
        sites: dict[str, Site] = {}
        for name, broker in brokers.items():
            (folder / name).mkdir()
            sites[name] = Site(folder / name, broker)
            stack.callback(sites[name].close)
            sites[name].start("bridge", "supervisor")
        for site in sites.values():
            site.await_control()
        yield sites
