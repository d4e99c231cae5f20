"""Chores: what has to be done again and again, when it is due, and quiet hours in which nobody is told of one."""

import json
import tomllib
from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from schemas.base import Instant, Model, Name, Text
from schemas.ends import LocalTimes
from schemas.people import DaySpan, span_of
from schemas.requests import ClearChore, DoChore, SetChore, SetQuietHours, TellChores
from services.scheduler import calendar
from services.scheduler.answers import Refusal
from services.scheduler.records import Decision

_HALF_A_DAY = timedelta(hours=12)
"""Taken off what must lie between two, so that a clock that is set costs no week."""


class Chore(Model):
    """One chore. `due` is when it comes next; `open_since` when it was told and is not done yet."""

    chore: Name
    title: Text
    when: LocalTimes
    every_s: float
    instruction: Text
    due: Instant
    open_since: Instant | None = None
    done: Instant | None = None
    done_by: Text = ""


class ChoreList:
    """All chores of the site, and its quiet hours."""

    def __init__(self, zone: ZoneInfo, chores: Iterable[Chore] = (), quiet: DaySpan | None = None) -> None:
        self.zone = zone
        self.quiet = quiet
        self.chores = {one.chore: one for one in chores}

    def set(self, request: SetChore, now: datetime) -> list[Decision]:
        """Adds a chore, or changes it. Raises Refusal where it does not say when and is none of those known."""
        known = standard_chores().get(request.chore, {})
        when = request.when or known.get("when")
        if when is None:
            remedy = f"say when, as 'Sat 10:00', or name one of {', '.join(standard_chores())}"
            raise Refusal(f"{request.chore} does not say when it is due", remedy)
        every_s = known.get("every_days", 0) * 86400.0 if request.every_s is None else request.every_s
        chore = Chore(
            chore=request.chore,
            title=request.title or known.get("title", request.chore),
            when=when,
            every_s=every_s,
            instruction=request.instruction or known.get("instruction", ""),
            due=calendar.after(when, self.zone, now),
        )
        self.chores[request.chore] = chore
        return [Decision("chore-set", f"{chore.title}, {when}", now, who=request.who, facts={"chore": chore.chore})]

    def clear(self, request: ClearChore, now: datetime) -> list[Decision]:
        """Forgets a chore. Raises Refusal for one that is not set."""
        chore = self._known(request.chore)
        del self.chores[request.chore]
        return [Decision("chore-cleared", request.why or chore.title, now, who=request.who)]

    def do(self, request: DoChore, now: datetime) -> list[Decision]:
        """Somebody has done it; when it is due next counts from when it was due, or from now when done unasked."""
        chore = self._known(request.chore)
        update: dict[str, Any] = {"open_since": None, "done": now, "done_by": request.who}
        if chore.open_since is None:
            update["due"] = self._next(chore, now)
        self.chores[request.chore] = chore.model_copy(update=update)
        why = request.why or chore.title
        return [Decision("chore-done", why, now, who=request.who, facts={"chore": chore.chore})]

    def set_quiet(self, request: SetQuietHours, now: datetime) -> list[Decision]:
        """From now on chores keep to these hours."""
        self.quiet = request.span
        return [Decision("quiet-hours-set", request.span or "none", now, who=request.who)]

    def told(self, _request: TellChores) -> dict[str, float | str]:
        """All of them, soonest first, and the quiet hours: the answer's facts."""
        chores = sorted(self.chores.values(), key=lambda one: one.due)
        return {
            "chores": json.dumps([one.model_dump(mode="json") for one in chores]),
            "quiet": self.quiet or "",
            "known": ", ".join(standard_chores()),
        }

    def come_due(self, now: datetime) -> list[Decision]:
        """Chores whose time has come: each is told once until it is done, however long nobody was there."""
        found = [one for one in self.chores.values() if self.told_at(one) <= now]
        for one in found:
            update = {"open_since": one.open_since or now, "due": self._next(one, now)}
            self.chores[one.chore] = one.model_copy(update=update)
        fresh = [one for one in found if one.open_since is None]
        return [Decision("chore-due", _says(one, now), now, facts={"chore": one.chore}) for one in fresh]

    def told_at(self, chore: Chore) -> datetime:
        """When a chore is told next: when it is due, or when the quiet hours are over that it falls into."""
        return chore.due if self.quiet is None else out_of_quiet(chore.due, self.quiet, self.zone)

    def wakes_at(self) -> datetime | None:
        """When the next one has to be told."""
        return min((self.told_at(one) for one in self.chores.values()), default=None)

    def _next(self, chore: Chore, now: datetime) -> datetime:
        """From when it was due, so that the weekday's rhythm stays; never in the past."""
        if chore.every_s <= 0:
            return calendar.after(chore.when, self.zone, now)
        earliest = min(chore.due, now) + timedelta(seconds=chore.every_s) - _HALF_A_DAY
        return calendar.after(chore.when, self.zone, max(earliest, now))

    def _known(self, name: str) -> Chore:
        if name not in self.chores:
            raise Refusal(f"there is no chore {name}", f"those set are {', '.join(self.chores) or 'none'}")
        return self.chores[name]


def out_of_quiet(moment: datetime, span: DaySpan, zone: ZoneInfo) -> datetime:
    """The moment itself, or the end of the quiet hours that it falls into."""
    begins, ends = span_of(span)
    local = moment.astimezone(zone)
    minute = local.hour * 60 + local.minute
    inside = begins <= minute < ends if begins < ends else minute >= begins or minute < ends
    return calendar.at_or_after(f"{ends // 60:02}:{ends % 60:02}", zone, moment) if inside else moment


@lru_cache(maxsize=1)
def standard_chores() -> dict[str, dict[str, Any]]:
    """Those that are known by name."""
    return tomllib.loads((Path(__file__).parent / "chores.toml").read_text(encoding="utf-8"))


def _says(chore: Chore, now: datetime) -> str:
    late = now - chore.due
    return chore.title if late < timedelta(hours=12) else f"{chore.title}; it was due {chore.due:%d %b %H:%M} UTC"
