"""How alarms behave over a week: how often each was announced, chattered, went stale. Kept by day, pruned by itself."""

from collections import defaultdict
from datetime import datetime, timedelta

from schemas.base import Model
from services.notifier.register import Change

WEEK = timedelta(days=7)
Key = tuple[str, str]


class Tally(Model):
    """Of one alarm: times announced, how many of them while it chattered, and times that it stood for over a day."""

    raised: int = 0
    chattering: int = 0
    stale: int = 0

    def plus(self, other: "Tally") -> "Tally":
        """Both together."""
        return Tally(
            raised=self.raised + other.raised,
            chattering=self.chattering + other.chattering,
            stale=self.stale + other.stale,
        )


class LedgerState(Model):
    """By day (UTC, as ISO 8601 writes it), then by `chamber/name`."""

    days: dict[str, dict[str, Tally]] = {}


class Ledger:
    """Counts changes of alarms; what is older than a week is forgotten."""

    def __init__(self, kept: LedgerState) -> None:
        self._days = {day: dict(tallies) for day, tallies in kept.days.items()}

    @property
    def kept(self) -> LedgerState:
        """For the snapshot."""
        return LedgerState(days=self._days)

    def note(self, change: Change, now: datetime) -> None:
        """One change; only announcements, and alarms that become stale, count."""
        record, event = change.record, change.event
        seen = Tally(
            raised=event == "alarm-raised",
            chattering=event == "alarm-raised" and record.chattering,
            stale=event == "alarm-stale",
        )
        if not seen.raised and not seen.stale:
            return
        today = self._days.setdefault(now.date().isoformat(), {})
        key = f"{record.chamber}/{record.name}"
        today[key] = today.get(key, Tally()).plus(seen)
        oldest = _oldest(now)
        self._days = {day: tallies for day, tallies in self._days.items() if day >= oldest}

    def week(self, now: datetime) -> dict[Key, Tally]:
        """Each alarm of the last seven days, today among them."""
        oldest = _oldest(now)
        found: dict[Key, Tally] = defaultdict(Tally)
        for day, tallies in self._days.items():
            for written, tally in tallies.items() if day >= oldest else ():
                chamber, _, name = written.partition("/")
                found[chamber, name] = found[chamber, name].plus(tally)
        return dict(found)


def _oldest(now: datetime) -> str:
    return (now - WEEK + timedelta(days=1)).date().isoformat()
