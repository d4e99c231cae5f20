"""What containers cost: the image on disk, the services in memory, and the time from nothing to control.

The demonstration barn by `docker-compose.yml`, with its history in a file; the images are those of `scripts/images`.
Memory is what the kernel charges each of our containers, without file cache that nobody uses, as `docker stats` shows
it, two minutes after the start. Time begins with `docker-compose up -d`, on images and secrets that are there, and ends
when the supervisor has told every chamber's status.
"""

import os
import sys
from collections.abc import Iterable
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from threading import Event

from benchmarks.rows import Row, at_most
from schemas.topics import TopicKind, every
from services.runtime.bus import BrokerLink
from services.runtime.clock import machine_seconds
from tests.containers.deployment import Deployment, deployed
from tests.containers.engine import IMAGE, NoEngine, build_images, docker, start

NAME = "containers"
IMAGE_MB = 350.0
RESIDENT_MB = 450.0
UP_S = 30.0
SETTLED_S = 120.0
PATIENCE_S = 300.0
CHAMBERS = 5
OURS = ("bridge", "supervisor", "scheduler", "notifier", "deputy", "recorder", "console", "simulator")


def run() -> Iterable[Row]:
    """Rows that cannot be measured, for want of an engine, are NaN and do not hold."""
    try:
        start()
    except NoEngine as error:
        print(error, file=sys.stderr)
        nothing = (
            ("image_mb", "MB", IMAGE_MB),
            ("stack_resident_mb", "MB", RESIDENT_MB),
            ("up_to_control_s", "s", UP_S),
        )
        yield from (at_most(NAME, figure, float("nan"), unit, goal) for figure, unit, goal in nothing)
        return
    build_images()
    yield at_most(
        NAME, "image_mb", int(docker("image", "inspect", "-f", "{{.Size}}", IMAGE).stdout) / 1e6, "MB", IMAGE_MB
    )
    with TemporaryDirectory(prefix="coldside-bench-") as name:
        place = Deployment(Path(name) / "site", f"coldside-bench-{os.getpid()}", store=False)
        with deployed(place) as deployment:
            deployment.prepare()
            up_s = _up_s(deployment)
            Event().wait(SETTLED_S)
            resident = {service: _resident_mb(deployment, service) for service in OURS}
    yield at_most(NAME, "stack_resident_mb", sum(resident.values()), "MB", RESIDENT_MB)
    yield at_most(NAME, "up_to_control_s", up_s, "s", UP_S)
    yield from (Row(NAME, f"resident_mb_{service}", megabytes, "MB") for service, megabytes in resident.items())


def _up_s(deployment: Deployment) -> float:
    began_s = machine_seconds()
    deployment.up()
    link = BrokerLink(deployment.as_operator(), "operator", Random(1))
    link.listen((every("barn", TopicKind.STATUS),))
    heard: set[str] = set()
    while len(heard) < CHAMBERS and machine_seconds() - began_s < PATIENCE_S:
        link.turn(0.1)
        heard |= {delivery.topic for delivery in link.take(100)}
    link.close()
    return machine_seconds() - began_s if len(heard) == CHAMBERS else float("nan")


def _resident_mb(deployment: Deployment, service: str) -> float:
    """In millions of bytes."""
    form = ("stats", "--no-stream", "--format", "{{.MemUsage}}", deployment.name_of(service))
    written = docker(*form).stdout.split(" /")[0].strip()
    units = {"KiB": 1024, "MiB": 1024**2, "GiB": 1024**3}
    return float(written[:-3]) * units[written[-3:]] / 1e6
