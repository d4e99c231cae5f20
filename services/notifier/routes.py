"""Whom an alarm concerns at a moment: routes by priority, chamber and time of day; quiet hours of people."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from schemas.alarms import Priority
from schemas.conditions import kind_of
from schemas.people import WEEK, NotifierRules, Person, Route, minutes_of, span_of
from schemas.plant import Plant


def members(plant: Plant) -> Iterator[str]:
    """Everybody's ways: `ann.phone`."""
    return (f"{person}.{way}" for person, one in plant.people.items() for way in one.ways)


def concerns(route: Route, chamber: str, name: str, priority: Priority) -> bool:
    """Whether a route is for such an alarm, whatever the time."""
    if priority not in route.priorities or (route.alarms and not {name, kind_of(name)} & set(route.alarms)):
        return False
    return not route.chambers or chamber in route.chambers


def is_open(route: Route, local: datetime) -> bool:
    """Whether a route speaks at this local time; a span over midnight belongs to the day on which it begins."""
    minute, day = local.hour * 60 + local.minute, local.weekday()
    if route.between is not None:
        if not in_span(route.between, minute):
            return False
        begins, ends = span_of(route.between)
        day -= 1 if ends < begins and minute < ends else 0
    return WEEK[day % 7] in route.days


def is_quiet(person: Person, local: datetime) -> bool:
    """Whether somebody wants to hear of nothing but what is critical."""
    return person.quiet is not None and in_span(person.quiet, local.hour * 60 + local.minute)


def in_span(span: str, minute: int) -> bool:
    """Whether a minute of the day lies in a span of it, its beginning counted and its end not."""
    begins, ends = span_of(span)
    return begins <= minute < ends if begins < ends else minute >= begins or minute < ends


def digest_after(raised: datetime, rules: NotifierRules, plant: Plant) -> datetime:
    """When what is low is told: the first time of the day set for it after it was raised, on the site's clocks."""
    local = raised.astimezone(plant.zone)
    hour, minute = divmod(minutes_of(rules.digest), 60)
    told = local.replace(hour=hour, minute=minute, second=0, microsecond=0)
    return told if told > local else (told + timedelta(days=1))


def week_ended(now: datetime, plant: Plant) -> datetime | None:
    """When a week of alarms ended last, in UTC; None where nobody wants to hear of weeks."""
    day, _, clock = plant.notifier.weekly.partition(" ")
    if not clock:
        return None
    local = now.astimezone(plant.zone)
    hour, minute = divmod(minutes_of(clock), 60)
    ended = local.replace(hour=hour, minute=minute, second=0, microsecond=0)
    ended -= timedelta(days=(ended.weekday() - WEEK.index(day)) % 7)
    return (ended if ended <= local else ended - timedelta(days=7)).astimezone(UTC)


def hears_of_weeks(plant: Plant) -> list[str]:
    """The addresses that are told what is low, each once."""
    routes = [route for route in plant.notifier.routes if Priority.LOW in route.priorities]
    return list(dict.fromkeys(member for route in routes for member in route.to))
