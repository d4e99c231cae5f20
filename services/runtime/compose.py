"""Puts services together in a process: state restored, links and hosts built, threads run until a signal."""

import fcntl
import gc
import json
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path
from random import SystemRandom
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from schemas.base import ServiceName
from services.runtime.address import BrokerAddress
from services.runtime.bus import BrokerLink
from services.runtime.clock import Clock, SystemClock
from services.runtime.credentials import admitted
from services.runtime.health import HealthBook, last_will
from services.runtime.host import Host, Options
from services.runtime.metrics import serve_metrics
from services.runtime.outbox import Outbox
from services.runtime.service import Outgoing, Service
from services.runtime.state import Saved, StateFile

S = TypeVar("S", bound=BaseModel)


class AlreadyRunning(RuntimeError):
    """Another process runs the same service on the same state folder."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part(Generic[S]):
    """One service of a process.

    `build` gets the state of its earlier life, or None, and the time. With `persistent`, the broker keeps its messages
    while it is away.
    """

    name: ServiceName
    build: Callable[[S | None, datetime], Service]
    state: type[S]
    options: Options = field(default_factory=Options)
    persistent: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What all services of a process share; `metrics_port` 0 means no metrics."""

    site: str
    broker: BrokerAddress
    state_folder: Path
    version: str = ""
    clock: Clock = field(default_factory=SystemClock)
    metrics_port: int = 0

    def broker_for(self, service: ServiceName) -> BrokerAddress:
        """The broker as a service enters it: by its own account where there is one. Raises SecretUnusable."""
        return admitted(self.broker, service)


def run_services(parts: Sequence[Part[Any]], surroundings: Surroundings) -> int:
    """Runs until SIGTERM or SIGINT (exit status 0) or until one of them fails beyond what its host can catch (1).

    Raises AlreadyRunning. Call it from the main thread.
    """
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: stop.set())
    with sole_owner([surroundings.state_folder / f"{part.name}.lock" for part in parts]):
        return run_until(stop, [partial(build_host, part, surroundings) for part in parts], surroundings.metrics_port)


def build_host(part: Part[S], surroundings: Surroundings) -> Host:
    """One service's host, its state restored; a state that its core cannot read is moved aside and reported."""
    clock, site = surroundings.clock, surroundings.site
    file = StateFile(surroundings.state_folder / f"{part.name}.json", Saved)
    saved = file.load()
    core = part.build(_restored(file, saved, part.state), clock.now())
    link = BrokerLink(
        surroundings.broker_for(part.name),
        f"coldside-{site}-{part.name}",
        SystemRandom(),
        will=lambda: _will(part.name, site, clock),
        persistent=part.persistent,
    )
    book = HealthBook(part.name, site, surroundings.version, clock.now())
    return Host(core, link, clock, book, file, part.options, Outbox(saved.unsent if saved else ()))


def run_until(stop: threading.Event, makers: Sequence[Callable[[], Host]], metrics_port: int = 0) -> int:
    """Builds and runs each host in a thread of its own, the first in this one; returns the exit status.

    One that fails stops them all: whoever keeps this process starts it again.
    """
    books: list[HealthBook] = []
    failed = threading.Event()

    def run(make: Callable[[], Host]) -> None:
        try:
            host = make()
            books.append(host.book)
            _settle_memory()
            host.run(stop)
        except BaseException:
            failed.set()
            raise
        finally:
            stop.set()

    with serve_metrics(books, metrics_port):
        others = [threading.Thread(target=run, args=(make,)) for make in makers[1:]]
        for thread in others:
            thread.start()
        try:
            run(makers[0])
        finally:
            for thread in others:
                thread.join()
    return 1 if failed.is_set() else 0


@contextmanager
def sole_owner(locks: Sequence[Path]) -> Iterator[None]:
    """Holds the locks while inside; they go with the process, however it ends. Raises AlreadyRunning."""
    descriptors: list[int] = []
    try:
        for path in locks:
            path.parent.mkdir(parents=True, exist_ok=True)
            descriptors.append(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
            _lock(descriptors[-1], path)
        yield
    finally:
        for descriptor in descriptors:
            os.close(descriptor)


def _lock(descriptor: int, path: Path) -> None:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        raise AlreadyRunning(
            f"{path.stem} already runs with the state in {path.parent}: stop it, or give this one another --state"
        ) from error


def _restored(file: StateFile[Saved], saved: Saved | None, model: type[S]) -> S | None:
    if saved is None:
        return None
    try:
        return model.model_validate_json(json.dumps(saved.snapshot))
    except ValidationError as error:
        file.refuse(error)
        return None


def _settle_memory() -> None:
    """What was built to stay need not be searched for garbage again: that would hold a service up for milliseconds."""
    gc.collect()
    gc.freeze()


def _will(name: ServiceName, site: str, clock: Clock) -> Outgoing:
    return last_will(name, site, clock.now())
