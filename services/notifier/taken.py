"""Which messages the other side has taken, on disk before anybody is told: a kill then sends none of them twice.

What remains is the moment between the other side's word and this file's: a message taken in it goes again, by its id.
"""

import logging
import os
import threading
from pathlib import Path

LOG = logging.getLogger("coldside.notifier")
REMEMBERED = 1000


class Taken:
    """One id a line, of the last thousand or more; safe to use from several threads.

    A file that cannot be read or written costs only the certainty: it is logged, and messages go on.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._ids = dict.fromkeys(self._remembered())

    def __contains__(self, message_id: str) -> bool:
        return message_id in self._ids

    def add(self, message_id: str) -> None:
        """On disk when it returns, or logged that it is not."""
        with self._lock:
            self._ids[message_id] = None
            try:
                with self._path.open("a", encoding="utf-8") as file:
                    file.write(f"{message_id}\n")
                    file.flush()
                    os.fsync(file.fileno())
            except OSError as error:
                LOG.warning("that message %s was taken is not kept: %s", message_id, error)

    def _remembered(self) -> list[str]:
        """Shortens a long file; its last line may be half a one, after a kill."""
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            text = self._path.read_text(encoding="utf-8") if self._path.exists() else ""
            whole = text[: text.rfind("\n") + 1].split()
            if len(whole) > 2 * REMEMBERED or not text.endswith("\n"):
                whole = whole[-REMEMBERED:]
                self._path.write_text("".join(f"{one}\n" for one in whole), encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            LOG.warning("which messages were taken before is not known: %s", error)
            return []
        return whole
