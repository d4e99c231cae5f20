"""A socket that gathers small writes: on a busy two-core board, system calls are most of what a message costs."""

import ssl
from typing import Any


class BufferedSocket:
    """Wraps a non-blocking socket, TLS or not; everything not spelt out here is the wrapped socket's own.

    What is sent leaves with `flush`. A connection that breaks while flushing shows at the next `recv`, as any other.
    """

    def __init__(self, inner: Any) -> None:
        self.parting = False
        self._inner = inner
        self._unsent = bytearray()
        self._broken: OSError | None = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    @property
    def decrypted(self) -> bool:
        """Whether a TLS socket holds bytes that select cannot see."""
        return hasattr(self._inner, "pending") and self._inner.pending() > 0

    @property
    def unsent(self) -> bool:
        """Whether something is left to flush."""
        return bool(self._unsent)

    def recv(self, size: int) -> bytes:
        """As a socket's; raises what broke the connection while flushing."""
        if self._broken is not None:
            raise self._broken
        received: bytes = self._inner.recv(size)
        return received

    def send(self, data: bytes | bytearray) -> int:
        """Takes all of it, to leave with the next flush."""
        self._unsent += data
        return len(data)

    def flush(self) -> None:
        """Writes what the kernel takes now."""
        try:
            while self._unsent and self._broken is None:
                del self._unsent[: self._inner.send(self._unsent)]
        except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return
        except OSError as error:  # also TLS's own, when the other side goes without a goodbye
            self._broken = error

    def close(self) -> None:
        """Closes; only a connection that says goodbye still sends what is left, nothing old leaves a broken one."""
        if self.parting:
            self.flush()
        self._unsent.clear()
        self._inner.close()
