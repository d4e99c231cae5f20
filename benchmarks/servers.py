"""Real time-series servers on loopback, each with a folder of its own, for tests and benchmarks."""

import os
import random
import shutil
import socket
import subprocess
import threading
from contextlib import suppress
from pathlib import Path

import urllib3

from services.recorder.influx_server import InfluxQl, InfluxServer

READY_S = 60.0
PORTS = range(21_000, 31_000)


class NotInstalled(RuntimeError):
    """The program is not on this machine."""


class Server:
    """A program that can be killed and started again on the same data."""

    program = ""
    ready_path = ""

    def __init__(self, folder: Path) -> None:
        if shutil.which(self.program) is None:
            raise NotInstalled(f"{self.program} is not installed")
        self.folder = folder
        self.port, self.other_port = free_port(), free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[bytes] | None = None

    def command(self) -> list[str]:
        """How it is started."""
        raise NotImplementedError

    def environment(self) -> dict[str, str]:
        """What it finds in its environment besides."""
        return {}

    def start(self) -> None:
        """Returns when it answers; raises RuntimeError when it does not within a minute."""
        self.folder.mkdir(parents=True, exist_ok=True)
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                self.command(), stdout=log, stderr=log, env={**os.environ, **self.environment()}
            )
        for _ in range(int(READY_S / 0.05)):
            if self.answers():
                return
            threading.Event().wait(0.05)
        raise RuntimeError(f"{self.program} does not answer; see {self.folder / 'log'}")

    def answers(self) -> bool:
        """Whether it is up."""
        try:
            return urllib3.request("GET", self.url + self.ready_path, timeout=1.0, retries=False).status < 300
        except urllib3.exceptions.HTTPError:
            return False

    def kill(self) -> None:
        """As `kill -9` does."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None


class InfluxD(Server):
    """Debian's InfluxDB 1.6: InfluxQL, and the v1 write path."""

    program = "influxd"
    ready_path = "/ping"

    def command(self) -> list[str]:
        return ["influxd"]

    def environment(self) -> dict[str, str]:
        return {
            "INFLUXDB_REPORTING_DISABLED": "true",
            "INFLUXDB_BIND_ADDRESS": f"127.0.0.1:{self.other_port}",
            "INFLUXDB_HTTP_BIND_ADDRESS": f"127.0.0.1:{self.port}",
            "INFLUXDB_HTTP_LOG_ENABLED": "false",
            "INFLUXDB_MONITOR_STORE_ENABLED": "false",
            "INFLUXDB_META_DIR": str(self.folder / "meta"),
            "INFLUXDB_DATA_DIR": str(self.folder / "data"),
            "INFLUXDB_DATA_WAL_DIR": str(self.folder / "wal"),
        }

    def new_database(self, name: str) -> InfluxServer:
        """An empty one."""
        server = InfluxServer(url=self.url, database=name, writes=1)
        InfluxQl(server).ask(f'CREATE DATABASE "{name}"')
        return server


class VictoriaMetrics(Server):
    """Takes the v2 write path."""

    program = "victoria-metrics"
    ready_path = "/health"

    def command(self) -> list[str]:
        return [
            "victoria-metrics",
            f"-storageDataPath={self.folder / 'data'}",
            f"-httpListenAddr=127.0.0.1:{self.port}",
            "-retentionPeriod=100y",
            "-search.latencyOffset=0s",
        ]

    def exported(self, selector: str) -> list[bytes]:
        """Every series that matches, one line of JSON each."""
        urllib3.request("GET", f"{self.url}/internal/force_flush", timeout=10.0)
        fields = {"match[]": selector, "start": "0", "end": "4102444800"}
        return urllib3.request("GET", f"{self.url}/api/v1/export", fields=fields, timeout=30.0).data.splitlines()


def free_port() -> int:
    """One that was free a moment ago, from below those that systems hand out to outgoing connections."""
    for port in random.SystemRandom().sample(PORTS, len(PORTS)):
        with socket.socket() as listening, suppress(OSError):
            listening.bind(("127.0.0.1", port))
            return port
    raise RuntimeError(f"no port is free from {PORTS.start} to {PORTS.stop - 1}")
