"""The parts that are needed only where history goes to a server. They are heavy, so nothing else imports them."""

import threading
from datetime import datetime
from pathlib import Path

from schemas.history import Influx
from services.recorder.backlog import Waiting
from services.recorder.forwarder import Forwarder
from services.recorder.housekeeping import Retention
from services.recorder.influx_server import InfluxServer
from services.recorder.influx_store import InfluxStore
from services.recorder.segments import Happened, happened_in, waiting_in
from services.recorder.spool import Spool
from services.recorder.steady import Steadiness
from services.runtime.clock import Clock

SPOOL = "spool"
"""The spool's folder, in the state folder."""


def forwarding(
    influx: Influx, state_folder: Path, policy: Retention, clock: Clock, steadiness: Steadiness
) -> Forwarder:
    """A sink with a spool, and a thread of its own that empties it for as long as the process lives."""
    sink = forwarder(influx, state_folder, policy, steadiness)
    threading.Thread(target=sink.run, args=(threading.Event(), clock), name="forwarder", daemon=True).start()
    return sink


def forwarder(influx: Influx, state_folder: Path, policy: Retention, steadiness: Steadiness | None = None) -> Forwarder:
    """The sink alone, to be emptied by hand."""
    return Forwarder(Spool(state_folder / SPOOL), InfluxStore(server(influx)), policy, steadiness)


def waiting_for_server(state_folder: Path, now: datetime) -> tuple[Waiting, Happened]:
    """What the spool holds, and what became of rows in it; seen from another process, which changes nothing."""
    folder = state_folder / SPOOL
    return waiting_in(folder, now), happened_in(folder)


def influx_store(influx: Influx) -> InfluxStore:
    """The server itself, for reading."""
    return InfluxStore(server(influx))


def server(influx: Influx) -> InfluxServer:
    """With the secrets read from their files; raises OSError when one cannot be read."""
    return InfluxServer(
        url=influx.address,
        database=influx.database,
        organisation=influx.organisation,
        token=_secret(influx.token_file),
        user=influx.user or "",
        password=_secret(influx.password_file),
        writes=1 if influx.writes == "v1" else 2,
    )


def _secret(path: str | None) -> str:
    return Path(path).read_text(encoding="utf-8").strip() if path else ""
