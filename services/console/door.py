"""Signing in and out: passwords are checked off the event loop, one at a time, and not again and again."""

import asyncio
from dataclasses import dataclass, field

from services.console.accounts import Account
from services.console.keys import Keys


@dataclass(frozen=True, slots=True)
class Wait:
    """Too many failures; how many seconds until the next attempt is looked at."""

    seconds: float


@dataclass(slots=True)
class Door:
    """`come_in` and `leave`."""

    keys: Keys
    _one_at_a_time: asyncio.Lock = field(default_factory=asyncio.Lock)

    async def come_in(self, name: str, password: str, place: str) -> str | Wait | None:
        """The secret of a new session; None for a wrong name or password. Raises OSError when the disk refuses."""
        async with self._one_at_a_time:
            elapsed_s = self.keys.clock.elapsed()
            wait_s = self.keys.attempts.wait_s(name, place, elapsed_s)
            if wait_s > 0:
                return Wait(wait_s)
            account: Account | None = await asyncio.to_thread(self.keys.accounts.check, name, password)
            if account is None:
                self.keys.attempts.failed(name, place, elapsed_s)
                return None
            self.keys.attempts.succeeded(name, place)
            return self.keys.sessions.begin(account, self.keys.clock.now())

    def leave(self, secret: str) -> None:
        """Ends a session."""
        self.keys.sessions.end(secret)
