"""Whom a route is for and when it speaks, at the edges of spans, days and clocks."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from schemas.alarms import Priority
from schemas.people import NotifierRules, Person, Route
from schemas.plant_file import loads
from services.notifier.routes import concerns, digest_after, in_span, is_open, is_quiet, members

PLANT = loads("""\
site: {name: barn, timezone: Europe/Dublin}
chambers:
  ale: {kind: fridge, probes: {beer: {measures: temperature, from: {simulated: true}}}}
people:
  ann: {ways: {phone: {webhook: "https://example.org/a"}, mail: {mail: ann@example.org}}}
  bob: {ways: {mail: {mail: bob@example.org}}}
notifier: {mail: {server: "localhost:25", sender: barn@example.org}}
""")
FRIDAY = datetime(2026, 3, 6, tzinfo=UTC)


def route(**more: Any) -> Route:
    return Route(to=("ann.phone",), **more)


def at(clock: str, day: int = 0) -> datetime:
    hour, minute = clock.split(":")
    return FRIDAY + timedelta(days=day, hours=int(hour), minutes=int(minute))


def test_everybodys_ways_are_named_by_person_and_way() -> None:
    assert list(members(PLANT)) == ["ann.phone", "ann.mail", "bob.mail"]


@pytest.mark.parametrize(
    ("span", "clock", "inside"),
    [
        ("08:00-17:00", "08:00", True), ("08:00-17:00", "17:00", False), ("08:00-17:00", "07:59", False),
        ("22:00-07:00", "22:00", True), ("22:00-07:00", "00:00", True), ("22:00-07:00", "06:59", True),
        ("22:00-07:00", "07:00", False), ("22:00-07:00", "12:00", False),
    ],
)  # fmt: skip
def test_span_has_its_beginning_and_not_its_end(span: str, clock: str, inside: bool) -> None:
    moment = at(clock)
    assert in_span(span, moment.hour * 60 + moment.minute) is inside


def test_night_of_friday_goes_on_into_saturday_morning() -> None:
    friday_night = route(between="22:00-07:00", days=("fri",))
    open_at = [is_open(friday_night, moment) for moment in (at("23:00"), at("06:00", 1), at("06:00"), at("23:00", 1))]
    assert open_at == [True, True, False, False]


def test_night_of_sunday_goes_on_into_monday() -> None:
    assert is_open(route(between="22:00-07:00", days=("sun",)), at("06:00", 3))


def test_route_without_a_span_speaks_the_whole_of_its_days() -> None:
    friday = route(days=("fri",))
    assert [is_open(friday, moment) for moment in (at("00:00"), at("23:59"), at("00:00", 1))] == [True, True, False]


@pytest.mark.parametrize(("clock", "quiet"), [("21:59", False), ("22:00", True), ("06:59", True), ("07:00", False)])
def test_person_is_quiet_in_their_hours_only(clock: str, quiet: bool) -> None:
    ann = PLANT.people["ann"].model_copy(update={"quiet": "22:00-07:00"})
    assert is_quiet(ann, at(clock)) is quiet


def test_person_who_names_no_hours_is_never_quiet() -> None:
    ann: Person = PLANT.people["ann"]
    assert not any(is_quiet(ann, FRIDAY + timedelta(hours=hour)) for hour in range(24))


@pytest.mark.parametrize(
    ("more", "chamber", "name", "priority", "meant"),
    [
        ({}, "ale", "probe-silent-beer", Priority.LOW, True),
        ({"priorities": (Priority.CRITICAL,)}, "ale", "probe-silent-beer", Priority.LOW, False),
        ({"chambers": ("ale",)}, "bath", "probe-silent-beer", Priority.HIGH, False),
        ({"alarms": ("probe-silent",)}, "ale", "probe-silent-beer", Priority.HIGH, True),
        ({"alarms": ("probe-silent-air",)}, "ale", "probe-silent-beer", Priority.HIGH, False),
        ({"alarms": ("probe-silent-beer",)}, "ale", "probe-silent-beer", Priority.HIGH, True),
    ],
)
def test_route_is_for_what_all_its_conditions_let_through(
    more: dict[str, Any], chamber: str, name: str, priority: Priority, meant: bool
) -> None:
    assert concerns(route(**more), chamber, name, priority) is meant


@pytest.mark.parametrize(
    ("raised", "told"),
    [(at("17:59"), at("18:00")), (at("18:00"), at("18:00", 1)), (at("18:01"), at("18:00", 1))],
)
def test_digest_comes_at_the_first_time_after_something_was_raised(raised: datetime, told: datetime) -> None:
    assert digest_after(raised, NotifierRules(digest="18:00"), PLANT) == told


def test_digest_is_told_by_the_sites_clocks_on_both_sides_of_their_change() -> None:
    """Irish clocks went forward on 29 March 2026 at 01:00 UTC (EU Directive 2000/84/EC: the last Sunday of March)."""
    raised = datetime(2026, 3, 28, 19, tzinfo=UTC)
    assert digest_after(raised, NotifierRules(digest="18:00"), PLANT) == datetime(2026, 3, 29, 17, tzinfo=UTC)
