"""Threads that carry messages, one an address, so that one that hangs keeps no other waiting."""

import queue
import threading
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

IDLE_S = 30.0


@dataclass(slots=True)
class Porter:
    """One address's thread and what it is to carry; it goes away when it has had nothing to do for a while."""

    errands: "queue.SimpleQueue[Callable[[], None] | None]" = field(default_factory=queue.SimpleQueue)
    thread: threading.Thread | None = None


class PostRoom:
    """`run` gives an errand to an address's thread; `done` yields what errands said, on the caller's thread."""

    def __init__(self) -> None:
        self._porters: dict[str, Porter] = {}
        self._said: deque[tuple[str, str]] = deque()
        self._lock = threading.Lock()

    def run(self, address: str, errand_id: str, errand: Callable[[], None]) -> None:
        """Does not wait. What the errand raises becomes the words of its result, none when it raises nothing."""
        with self._lock:
            porter = self._porters.setdefault(address, Porter())
            porter.errands.put(lambda: self._do(errand_id, errand))
            if porter.thread is None:
                porter.thread = threading.Thread(target=self._serve, args=(address, porter), daemon=True)
                porter.thread.start()

    def done(self) -> Iterator[tuple[str, str]]:
        """Ids of errands that are over, each with its error, in the order in which they ended."""
        while self._said:
            yield self._said.popleft()

    def close(self) -> None:
        """Lets the threads go; one that hangs is left to end with the process."""
        with self._lock:
            for porter in self._porters.values():
                porter.errands.put(None)
            self._porters = {}

    def _do(self, errand_id: str, errand: Callable[[], None]) -> None:
        try:
            errand()
        except Exception as error:
            self._said.append((errand_id, str(error) or type(error).__name__))
        else:
            self._said.append((errand_id, ""))

    def _serve(self, address: str, porter: Porter) -> None:
        while (errand := self._next(address, porter)) is not None:
            errand()

    def _next(self, address: str, porter: Porter) -> Callable[[], None] | None:
        try:
            return porter.errands.get(timeout=IDLE_S)
        except queue.Empty:
            with self._lock:
                if porter.errands.empty():
                    self._porters.pop(address, None)
                    return None
            return porter.errands.get()
