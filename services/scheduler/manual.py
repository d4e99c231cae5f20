"""Setpoints of people's own, over whatever is programmed."""

from collections.abc import Iterable
from datetime import datetime

from schemas.requests import ClearTemperature, SetTemperature
from services.scheduler.answers import Refusal
from services.scheduler.book import Book
from services.scheduler.messages import SOURCE
from services.scheduler.records import Decision, ManualSetpoint


class ManualSetpoints:
    """One for each chamber at the most."""

    def __init__(self, book: Book, kept: Iterable[ManualSetpoint] = ()) -> None:
        self.by_chamber = {one.chamber: one for one in kept}
        self._book = book

    def set(self, request: SetTemperature, now: datetime) -> list[Decision]:
        """Raises Refusal where the chamber must not have that temperature, or the time is past."""
        self._book.ask_temperature(request.chamber, request.temperature_c)
        if request.until is not None and request.until <= now:
            raise Refusal(f"{request.until:%d %b %H:%M} UTC is past", "name a time to come, or none")
        self.by_chamber[request.chamber] = ManualSetpoint(
            chamber=request.chamber, temperature_c=request.temperature_c, until=request.until, who=request.who
        )
        facts = {"temperature_c": request.temperature_c}
        return [Decision("temperature-set", request.why, now, None, request.chamber, request.who, facts)]

    def clear(self, request: ClearTemperature, now: datetime) -> list[Decision]:
        """Raises Refusal where nobody has set one."""
        if request.chamber not in self.by_chamber:
            raise Refusal(f"nobody has set a temperature for {request.chamber}")
        return [self._lapse(request.chamber, request.why or "taken back", request.who, now)]

    def lapse(self, now: datetime) -> list[Decision]:
        """Those that have expired are no more."""
        expired = [name for name, one in self.by_chamber.items() if one.until is not None and one.until <= now]
        return [self._lapse(chamber, "it has expired", SOURCE, now) for chamber in expired]

    def wakes_at(self) -> datetime | None:
        """When the next one expires."""
        return min((one.until for one in self.by_chamber.values() if one.until is not None), default=None)

    def _lapse(self, chamber: str, why: str, who: str, now: datetime) -> Decision:
        """A chamber that nobody else asks anything of goes on holding it."""
        manual = self.by_chamber.pop(chamber)
        if self._book.in_chamber(chamber) is None and self._book.rests_at(chamber) is None:
            self._book.resting[chamber] = manual.temperature_c
        return Decision("temperature-cleared", why, now, None, chamber, who)
