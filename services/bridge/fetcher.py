"""Fetches what devices do not send by themselves, in a thread of its own: one bus is read one sensor after another."""

import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from queue import Empty, SimpleQueue

from services.bridge.drivers.driver import LARGEST_PAYLOAD
from services.runtime.clock import machine_seconds
from services.runtime.service import Incoming

IDLE_S = 60.0


@dataclass(slots=True)
class Errand:
    """One probe: `fetch` gets its bytes, which come in on `topic` every `every_s`."""

    topic: str
    fetch: Callable[[], bytes]
    every_s: float
    due_s: float = 0.0


class Fetcher:
    """Runs errands until `close`; the thread is started with the first of them and ends with the process."""

    def __init__(self) -> None:
        self._errands: tuple[Errand, ...] = ()
        self._found: SimpleQueue[Incoming] = SimpleQueue()
        self._changed = threading.Event()
        self._closed = False
        self._thread: threading.Thread | None = None

    def want(self, errands: Iterable[Errand]) -> None:
        """Replaces the errands; each is run at once and then at its own pace."""
        self._errands = tuple(errands)
        self._changed.set()
        if self._errands and self._thread is None:
            self._thread = threading.Thread(target=self._run, name="fetcher", daemon=True)
            self._thread.start()

    def take(self) -> list[Incoming]:
        """What was fetched since the last call; does not wait."""
        taken: list[Incoming] = []
        while True:
            try:
                taken.append(self._found.get_nowait())
            except Empty:
                return taken

    def close(self) -> None:
        """Ends the thread once its present errand is done."""
        self._closed = True
        self._changed.set()

    def _run(self) -> None:
        while not self._closed:
            self._changed.clear()
            for errand in self._errands:
                if machine_seconds() >= errand.due_s:
                    self._go(errand)
            next_s = min((errand.due_s for errand in self._errands), default=machine_seconds() + IDLE_S)
            self._changed.wait(max(0.0, next_s - machine_seconds()))

    def _go(self, errand: Errand) -> None:
        errand.due_s = machine_seconds() + errand.every_s
        try:
            found = errand.fetch()
        except Exception as error:  # a driver's fault must not silence the other probes
            found = repr(error).encode()
        self._found.put(Incoming(errand.topic, found[: LARGEST_PAYLOAD + 1]))
