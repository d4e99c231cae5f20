"""The compose file, brought up as a person does it, with what no registry gives replaced by an override file."""

import json
import os
import shlex
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random
from threading import Event, Thread

from schemas.contract import decode
from schemas.journal import Health
from schemas.telemetry import Reading
from schemas.topics import TopicKind, parse
from services.commands.running import barn_file
from services.recorder.influx_server import InfluxServer
from services.recorder.influx_store import InfluxStore
from services.recorder.rows import milliseconds
from services.runtime.address import BrokerAddress
from services.runtime.broker import free_port
from services.runtime.bus import BrokerLink
from services.runtime.credentials import FOLDER, admitted
from tests.containers.engine import IMAGE, ROOT, SERVERS, docker

OVERRIDE = ROOT / "tests/containers/without-registry.yml"
COMPOSE = shlex.split(os.environ.get("COLDSIDE_TEST_COMPOSE", "docker-compose"))
"""The old command of Debian, unless another is named (`docker compose`, or where it lies)."""
STORE = 'history: {influx: {address: "http://influxdb:8086", writes: v1}}\n'
USER = os.getuid() or 1000
"""Root starts everything as an ordinary user, anybody else as themselves."""


def version() -> str:
    """Which compose this is."""
    said = subprocess.run([*COMPOSE, "version", "--short"], capture_output=True, text=True, timeout=60)
    return f"compose {said.stdout.strip()}"


class Deployment:
    """One project of compose in a folder of its own."""

    def __init__(self, folder: Path, project: str, *, store: bool = True) -> None:
        self.folder = folder
        self.project = project
        self.port = free_port(0)
        (folder / "plant").mkdir(parents=True)
        (folder / "secure").mkdir()
        text = barn_file().read_text(encoding="utf-8") + (STORE if store else "")
        (folder / "plant/plant.yaml").write_text(text, encoding="utf-8")
        for path in (folder, folder / "plant", folder / "plant/plant.yaml", folder / "secure"):
            os.chown(path, USER, -1)
        self._profiles = ("--profile", "demo", *(("--profile", "store") if store else ()))

    def compose(self, *words: str, stdin: str = "", **changes: str) -> subprocess.CompletedProcess[str]:
        """Compose as it stands in the documentation."""
        files = ("-f", str(ROOT / "docker-compose.yml"), "-f", str(OVERRIDE))
        environment = os.environ | {
            "COMPOSE_PROJECT_NAME": self.project,
            "COLDSIDE_UID": str(USER),
            "COLDSIDE_IMAGE": IMAGE,
            "COLDSIDE_MOSQUITTO": SERVERS,
            "COLDSIDE_SECURE": str(self.folder / "secure"),
            "COLDSIDE_PLANT_FOLDER": str(self.folder / "plant"),
            "COLDSIDE_BROKER_PORT": f"127.0.0.1:{self.port}",
            "COLDSIDE_CONSOLE_PORT": "127.0.0.1:",
            **changes,
        }
        command = [*COMPOSE, *files, *self._profiles, *words]
        return subprocess.run(command, input=stdin, capture_output=True, text=True, env=environment, timeout=600)

    def prepare(self) -> None:
        """Secrets and an operator: what comes before the first start."""
        made = self.compose("run", "--rm", "ready", "secure", "--host", "localhost")
        assert made.returncode == 0, made.stderr
        added = self.compose(
            "run",
            "-T",
            "--rm",
            "ready",
            "accounts",
            "add",
            "ann",
            "--role",
            "operator",
            stdin="a word for a test\n" * 2,
        )
        assert added.returncode == 0, added.stderr

    def up(self) -> None:
        """Everything, or an error with what compose said."""
        done = self.compose("up", "-d")
        assert done.returncode == 0, f"{done.stderr[-3000:]}\n{self.logs()}"

    def logs(self) -> str:
        """The end of what every container said."""
        return self.compose("logs", "--no-color", "--tail", "20").stdout[-6000:]

    def name_of(self, service: str) -> str:
        """Of its container."""
        found = self.compose("ps", "-a", "-q", service).stdout.strip()
        assert found, f"{service} has no container"
        return found

    def state_of(self, service: str) -> dict[str, object]:
        """As the engine sees it: `Running`, `ExitCode`, `Pid`, `Health` and so on."""
        found: dict[str, object] = json.loads(docker("inspect", "-f", "{{json .State}}", self.name_of(service)).stdout)
        return found

    def kill(self, service: str) -> None:
        """The service's own process, from outside, as the kernel does it when memory is short."""
        listed = docker("top", self.name_of(service), "-eo", "pid,args").stdout.splitlines()[1:]
        pids = [
            int(line.split()[0]) for line in listed if "services.commands" in line and "init" not in line.split()[1]
        ]
        assert pids, listed
        os.kill(pids[0], signal.SIGKILL)

    def coldside(self, *words: str) -> subprocess.CompletedProcess[str]:
        """A command in the console's container, where the operator's account is."""
        return self.compose("exec", "-T", "console", "coldside", *words)

    def store(self) -> InfluxStore:
        """The history, asked at the store's own address inside."""
        form = "{{range .NetworkSettings.Networks}}{{.IPAddress}} {{end}}"
        address = docker("inspect", "-f", form, self.name_of("influxdb")).stdout.split()[0]
        return InfluxStore(InfluxServer(url=f"http://{address}:8086", database="coldside", writes=1))

    def as_operator(self) -> BrokerAddress:
        """The published door, as a person on the network uses it."""
        address = BrokerAddress("localhost", self.port, tls=True)
        return admitted(address, "operator", {FOLDER: str(self.folder / "secure/accounts")})


@contextmanager
def deployed(deployment: Deployment) -> Iterator[Deployment]:
    """Taken down at the end with all its volumes, whatever happened."""
    try:
        yield deployment
    finally:
        deployment.compose("down", "--volumes", "--remove-orphans", "--timeout", "20")


class Ear:
    """Hears everything over TLS, from the first moment to the last, in a thread of its own."""

    def __init__(self, address: BrokerAddress) -> None:
        self.readings: set[tuple[str, str, int]] = set()
        self.relays: dict[str, bytes] = {}
        self.health: dict[str, Health] = {}
        self.connections = 0
        self._stop = Event()
        self._link = BrokerLink(address, "operator", Random(3), persistent=True)
        self._link.listen(("coldside/#", "simulated/#"))
        self._thread = Thread(target=self._listen, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """No more."""
        self._stop.set()
        self._thread.join()

    def _listen(self) -> None:
        while not self._stop.is_set():
            self._link.turn(0.1)
            self.connections = self._link.connections
            for delivery in self._link.take(1000):
                self._hear(delivery.topic, delivery.body if isinstance(delivery.body, bytes) else b"")
                self._link.acknowledge(delivery.ticket)
            self._link.flush()
        self._link.close()

    def _hear(self, topic: str, body: bytes) -> None:
        if topic.startswith("simulated/") and topic.endswith("/set"):
            self.relays[topic] = body
        address = parse(topic)
        if address is None or not body or address.kind not in (TopicKind.READING, TopicKind.HEALTH):
            return
        message = decode(topic, body)
        if isinstance(message, Health):
            self.health[message.service] = message
        elif isinstance(message, Reading):
            self.readings.add((message.chamber, message.probe, milliseconds(message.at)))
