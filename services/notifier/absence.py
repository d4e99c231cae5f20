"""Whether the power was off: nobody was here for a while, and the computer was started meanwhile."""

from datetime import datetime, timedelta

NOTED_EVERY = timedelta(minutes=1)


class Absence:
    """`seen` is when somebody was last here, to the minute; it is kept with the state. `booted`: None if not known."""

    def __init__(self, seen: datetime | None, booted: datetime | None) -> None:
        self.seen = seen
        self._booted = booted

    def here(self, now: datetime) -> None:
        """Somebody is."""
        if self.seen is None or not timedelta(0) <= now - self.seen < NOTED_EVERY:
            self.seen = now

    def returned(self, now: datetime, told_after_s: float) -> str:
        """Since when the power was off, in words; empty when it was not, or for too short a time to tell."""
        if self.seen is None or (now - self.seen).total_seconds() < told_after_s:
            return ""
        if self._booted is not None and self._booted < self.seen:
            return ""
        minutes = (now - self.seen).total_seconds() / 60
        lasted = f"{minutes / 60:.1f} h" if minutes >= 120 else f"{minutes:.0f} min"
        return f"The power was off for {lasted}, since {self.seen:%Y-%m-%d %H:%M} UTC."
