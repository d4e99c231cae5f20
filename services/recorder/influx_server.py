"""Talking to an InfluxDB server: lines in by the v2 or v1 write path, answers out by InfluxQL."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any, Literal, Protocol

import urllib3

from schemas.base import Model
from services.recorder.influx_remedies import NO_ORGANISATION, remedy
from services.recorder.rows import EPOCH
from services.recorder.store import StoreError, StoreUnreachable

PATIENCE_S = 10.0
Precision = Literal["ms", "ns"]
REFUSED = frozenset({400, 413, 422})
"""Statuses that say the lines themselves are wrong: sending them again will not help.

A missing organisation is answered with 400, too; there the plant file is wrong, and the lines must wait.
"""


class BatchRefused(StoreError):
    """The server will never take these lines."""


class InfluxServer(Model):
    """Where it is and how to get in. `writes` is 1 for servers before 1.8, which have no v2 write path."""

    url: str
    database: str
    organisation: str = ""
    token: str = ""
    user: str = ""
    password: str = ""
    writes: Literal[1, 2] = 2


class LineWriter(Protocol):
    """Takes lines."""

    def write(self, lines: str, precision: Precision) -> None:
        """The server has them when it returns. Raises StoreUnreachable when it does not answer, else BatchRefused."""
        ...

    def drop_before(self, measurement: str, moment: datetime) -> None:
        """Deletes what is older."""
        ...

    def close(self) -> None:
        """Lets go of connections."""
        ...


class InfluxQl:
    """Asks questions in InfluxQL."""

    def __init__(self, server: InfluxServer) -> None:
        self._server = server
        self._http = urllib3.PoolManager(timeout=PATIENCE_S, retries=False)

    def ask(self, statement: str, precision: Precision = "ms") -> list[dict[str, Any]]:
        """The series of one statement's answer: `name`, `tags`, `columns`, `values`. Raises StoreError."""
        fields = {"db": self._server.database, "q": statement, "epoch": precision}
        answer = json.loads(self.request("POST", "/query", fields=fields))
        result = answer.get("results", [{}])[0]
        if "error" in result or "error" in answer:
            said = str(result.get("error") or answer.get("error"))
            raise StoreError(f"{self._server.url}: {said}{remedy(said)}; asked: {statement}")
        series: list[dict[str, Any]] = result.get("series", [])
        return series

    def request(self, method: str, path: str, **parts: Any) -> bytes:
        """One request. Raises StoreUnreachable when nobody answers or is too busy, BatchRefused for wrong lines."""
        url = self._server.url.rstrip("/") + path
        try:
            response = self._http.request(method, url, headers=_key(self._server), encode_multipart=False, **parts)
        except urllib3.exceptions.HTTPError as error:
            raise StoreUnreachable(f"{self._server.url} does not answer: {error}") from error
        if response.status >= 300:
            raise refusal(self._server.url, response.status, response.data.decode(errors="replace"))
        return response.data

    def close(self) -> None:
        """Closes connections."""
        self._http.clear()


class WriterV1:
    """The write path of version 1, for servers that have no other."""

    def __init__(self, server: InfluxServer) -> None:
        self._server = server
        self._ql = InfluxQl(server)

    def write(self, lines: str, precision: Precision) -> None:
        """Posts them."""
        path = f"/write?db={self._server.database}&precision={precision}"
        self._ql.request("POST", path, body=lines.encode())

    def drop_before(self, measurement: str, moment: datetime) -> None:
        """By InfluxQL."""
        self._ql.ask(f'DELETE FROM "{measurement}" WHERE time < {_nanoseconds(moment)}')

    def close(self) -> None:
        """Closes connections."""
        self._ql.close()


class WriterV2:
    """The v2 write path by `influxdb-client`, synchronously and without its own retries: the spool sees to those."""

    def __init__(self, server: InfluxServer) -> None:
        from influxdb_client.client.influxdb_client import InfluxDBClient  # an extra, and heavy: loaded where needed
        from influxdb_client.client.write_api import SYNCHRONOUS

        self._server = server
        self._client: Any = InfluxDBClient(
            server.url, server.token, org=server.organisation, timeout=int(PATIENCE_S * 1000), retries=False
        )
        self._writing: Any = self._client.write_api(write_options=SYNCHRONOUS)

    def write(self, lines: str, precision: Precision) -> None:
        """Posts them."""
        with self._told():
            self._writing.write(self._server.database, record=lines.encode(), write_precision=precision)

    def drop_before(self, measurement: str, moment: datetime) -> None:
        """By the v2 delete path, whose range includes its end."""
        last, predicate = moment - moment.resolution, f'_measurement="{measurement}"'
        with self._told():
            self._client.delete_api().delete(EPOCH, last, predicate, self._server.database)

    @contextmanager
    def _told(self) -> Iterator[None]:
        """What the client raises, in the store's own words."""
        from influxdb_client.rest import ApiException

        try:
            yield
        except ApiException as error:
            raise refusal(self._server.url, error.status or 0, str(error.body)) from error
        except urllib3.exceptions.HTTPError as error:
            raise StoreUnreachable(f"{self._server.url} does not answer: {error}") from error

    def close(self) -> None:
        """Closes connections."""
        self._writing.close()
        self._client.close()


def writer_for(server: InfluxServer) -> LineWriter:
    """By the path that the server has."""
    return WriterV1(server) if server.writes == 1 else WriterV2(server)


def refusal(url: str, status: int, text: str) -> StoreError:
    """The error that a status other than success stands for, with what helps where that is known."""
    kind = BatchRefused if status in REFUSED and NO_ORGANISATION not in text else StoreUnreachable
    return kind(f"{url} answered {status}: {text.strip()[:500]}{remedy(text, status)}")


def _key(server: InfluxServer) -> dict[str, str]:
    if server.token:
        return {"Authorization": f"Token {server.token}"}
    return urllib3.make_headers(basic_auth=f"{server.user}:{server.password}") if server.user else {}


def _nanoseconds(moment: datetime) -> int:
    return (moment - EPOCH) // moment.resolution * 1000
