"""InfluxDB 2 for tests and benchmarks, where the environment names one: Debian has no package of it.

COLDSIDE_TEST_INFLUX_URL, _TOKEN and _ORG name a server that runs, by a token that may make buckets and tokens there;
COLDSIDE_TEST_INFLUXD2 names the program, which is then started on loopback, set up, and killed at the end.
"""

import os
from pathlib import Path
from typing import Any

import urllib3

from benchmarks.servers import Server
from services.recorder.influx_server import InfluxServer

ADDRESS, PROGRAM = "COLDSIDE_TEST_INFLUX_URL", "COLDSIDE_TEST_INFLUXD2"
PATIENCE_S = 60.0
ORGANISATION, TOKEN = "coldside", "only-for-tests-on-loopback"


class InfluxDb2:
    """A server on which buckets of one's own are made, and taken away again."""

    def __init__(self, url: str, token: str, organisation: str) -> None:
        self.url, self._token, self._organisation = url, token, organisation
        self._owner = self.call("GET", f"/api/v2/orgs?org={organisation}")["orgs"][0]["id"]
        self._buckets: dict[str, str] = {}

    def new_database(self, name: str, *, keep_s: int = 0) -> InfluxServer:
        """An empty bucket; `keep_s` is its retention, 0 for ever."""
        rules = [{"type": "expire", "everySeconds": keep_s}] if keep_s else []
        made = self.call("POST", "/api/v2/buckets", {"orgID": self._owner, "name": name, "retentionRules": rules})
        self._buckets[name] = made["id"]
        return InfluxServer(url=self.url, database=name, organisation=self._organisation, token=self._token)

    def limited(self, server: InfluxServer, *rights: str) -> InfluxServer:
        """The same bucket by a new token that may only `read` or `write` it."""
        bucket = {"type": "buckets", "id": self._buckets[server.database], "orgID": self._owner}
        permissions = [{"action": right, "resource": bucket} for right in rights]
        made = self.call("POST", "/api/v2/authorizations", {"orgID": self._owner, "permissions": permissions})
        return server.model_copy(update={"token": made["token"]})

    def map(self, database: str, bucket: str) -> None:
        """As an upgrade from version 1 does, and `influx v1 dbrp create --default`."""
        mapping = {"database": database, "retention_policy": "autogen", "default": True}
        self.call("POST", "/api/v2/dbrps", {"orgID": self._owner, "bucketID": self._buckets[bucket], **mapping})

    def version(self) -> str:
        """As it tells itself."""
        return str(self.call("GET", "/health")["version"])

    def tidy_up(self) -> None:
        """Takes away every bucket that was made here."""
        while self._buckets:
            self.call("DELETE", f"/api/v2/buckets/{self._buckets.popitem()[1]}")

    def call(self, method: str, path: str, body: object = None) -> Any:
        """One request of its own interface. Raises RuntimeError with what it said."""
        asked: dict[str, Any] = {} if body is None else {"json": body}
        headers = {"Authorization": f"Token {self._token}"}
        answer = urllib3.request(method, self.url + path, headers=headers, timeout=PATIENCE_S, retries=False, **asked)
        if answer.status >= 300:
            raise RuntimeError(f"{method} {path}: {answer.status} {answer.data.decode(errors='replace')}")
        return answer.json() if answer.data else {}


class InfluxD2(Server):
    """The program that COLDSIDE_TEST_INFLUXD2 names."""

    ready_path = "/health"

    def __init__(self, folder: Path) -> None:
        self.program = os.environ[PROGRAM]
        super().__init__(folder)

    def command(self) -> list[str]:
        return [self.program, "--reporting-disabled", "--log-level=error"]

    def environment(self) -> dict[str, str]:
        return {
            "INFLUXD_HTTP_BIND_ADDRESS": f"127.0.0.1:{self.port}",
            "INFLUXD_BOLT_PATH": str(self.folder / "influxd.bolt"),
            "INFLUXD_SQLITE_PATH": str(self.folder / "influxd.sqlite"),
            "INFLUXD_ENGINE_PATH": str(self.folder / "engine"),
        }

    def set_up(self) -> InfluxDb2:
        """What `influx setup` does, on a server without any data."""
        owner = {"username": "coldside", "password": TOKEN, "org": ORGANISATION, "bucket": "first", "token": TOKEN}
        answer = urllib3.request("POST", f"{self.url}/api/v2/setup", json=owner, timeout=PATIENCE_S, retries=False)
        if answer.status >= 300:
            raise RuntimeError(f"{self.url} cannot be set up: {answer.data.decode(errors='replace')}")
        return InfluxDb2(self.url, TOKEN, ORGANISATION)

    def new_database(self, name: str) -> InfluxServer:
        """An empty bucket on a server without any data."""
        return self.set_up().new_database(name)


def named() -> InfluxDb2:
    """The one that runs."""
    return InfluxDb2(*(os.environ[f"COLDSIDE_TEST_INFLUX_{part}"] for part in ("URL", "TOKEN", "ORG")))
