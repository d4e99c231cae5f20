"""Real servers on loopback, each with a folder of its own; skipped where their program is not installed."""

import os
import shutil
import socket
import subprocess
import threading
from pathlib import Path

import pytest
import urllib3

from services.recorder.influx_server import InfluxQl, InfluxServer

READY_S = 30.0


class Server:
    """A program that can be stopped, killed and started again on the same data."""

    program = ""
    ready_path = ""

    def __init__(self, folder: Path) -> None:
        if shutil.which(self.program) is None:
            pytest.skip(f"{self.program} is not installed")
        self.folder = folder
        self.port, self.other_port = free_port(), free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[bytes] | None = None

    def command(self) -> list[str]:
        raise NotImplementedError

    def environment(self) -> dict[str, str]:
        return {}

    def start(self) -> None:
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
        try:
            return urllib3.request("GET", self.url + self.ready_path, timeout=1.0, retries=False).status < 300
        except urllib3.exceptions.HTTPError:
            return False

    def kill(self) -> None:
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
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        port: int = listening.getsockname()[1]
        return port
