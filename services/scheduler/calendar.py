"""Local times of day on the site's clocks, by APScheduler's own trigger arithmetic used as a pure function.

`now` is always UTC: with a local `now` the hour that comes twice in autumn would run backwards.
"""

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from apscheduler.triggers.cron import CronTrigger  # type: ignore[import-untyped]

from schemas.ends import days_and_time

_MOMENT = timedelta(microseconds=1)


def at_or_after(local_times: str, zone: ZoneInfo, moment: datetime) -> datetime:
    """The first of the local times that is not before a moment (UTC), in UTC.

    A time that comes twice in autumn counts the first time only; one that is skipped in spring counts where the clock
    would have shown it, an hour later by the new time. So each comes exactly once a day.
    """
    trigger = cron_trigger(local_times, zone)
    found = _fire_time(trigger, moment)
    while _second_pass(found, zone):
        found = _fire_time(trigger, found + timedelta(seconds=1))
    return found


def after(local_times: str, zone: ZoneInfo, moment: datetime) -> datetime:
    """The first of the local times that is later than a moment (UTC), in UTC."""
    return at_or_after(local_times, zone, moment + _MOMENT)


@lru_cache(maxsize=1024)
def cron_trigger(local_times: str, zone: ZoneInfo) -> CronTrigger:
    """The trigger that fires at `Fri 18:00`, `Mon-Thu 07:30` or `18:00`. Raises ValueError."""
    days, hour, minute = days_and_time(local_times)
    return CronTrigger(day_of_week=days, hour=hour, minute=minute, second=0, timezone=zone)


def in_zone(written: datetime, zone: ZoneInfo) -> datetime:
    """A written date and time in UTC; without an offset it is by the site's clocks, where it comes twice the first."""
    return (written if written.tzinfo else written.replace(tzinfo=zone)).astimezone(UTC)


def _fire_time(trigger: CronTrigger, moment: datetime) -> datetime:
    found: datetime | None = trigger.get_next_fire_time(None, moment.astimezone(UTC))
    if found is None:
        raise ValueError(f"{trigger} never comes after {moment}")
    return found.astimezone(UTC)


def _second_pass(moment: datetime, zone: ZoneInfo) -> bool:
    """Whether the site's clocks showed this very time once before, with the other offset."""
    return moment.astimezone(zone).fold == 1
