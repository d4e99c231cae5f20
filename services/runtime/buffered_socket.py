"""A socket that gathers small writes and reads ahead, so that a message costs one system call and not eight.

paho asks for a packet's bytes in four small reads and writes each packet by itself; on a busy two-core board those
calls are most of what a message costs.
"""

import contextlib
import socket
from typing import Any

_READ_AHEAD = 65_536


class BufferedSocket:
    """Wraps a non-blocking socket, TLS or not; everything not spelt out here is the wrapped socket's own.

    What is sent leaves with `flush`. A connection that breaks while flushing shows at the next `recv`, as any other.
    """

    def __init__(self, inner: Any) -> None:
        self.parting = False
        self._inner = inner
        self._ahead = b""
        self._position = 0
        self._unsent = bytearray()
        self._broken: OSError | None = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    @property
    def unread(self) -> bool:
        """Whether there is something to read that select cannot see."""
        return self._position < len(self._ahead) or (hasattr(self._inner, "pending") and self._inner.pending() > 0)

    @property
    def unsent(self) -> bool:
        """Whether something is left to flush."""
        return bool(self._unsent)

    def recv(self, size: int) -> bytes:
        """As a socket's: at most `size` bytes, none at the end; raises BlockingIOError when there are none yet."""
        if self._position >= len(self._ahead):
            if self._broken is not None:
                raise self._broken
            self._ahead, self._position = self._inner.recv(_READ_AHEAD), 0
        taken = self._ahead[self._position : self._position + size]
        self._position += len(taken)
        return taken

    def send(self, data: bytes | bytearray) -> int:
        """Takes all of it, to leave with the next flush."""
        self._unsent += data
        return len(data)

    def flush(self) -> None:
        """Writes what the kernel takes now."""
        while self._unsent and self._broken is None:
            try:
                del self._unsent[: self._inner.send(self._unsent)]
            except (BlockingIOError, InterruptedError):
                return
            except OSError as error:
                if type(error).__name__ not in ("SSLWantReadError", "SSLWantWriteError"):
                    self._broken = error
                return

    def close(self) -> None:
        """Closes; only a connection that says goodbye still sends what is left, nothing old leaves a broken one."""
        if self.parting:
            self.flush()
        self._unsent.clear()
        self._inner.close()

    def shutdown(self, how: int = socket.SHUT_RDWR) -> None:
        """As a socket's."""
        with contextlib.suppress(OSError):
            self._inner.shutdown(how)
