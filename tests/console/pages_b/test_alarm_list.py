"""Alarms in the order in which a person goes through them, and how many there were."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from schemas.alarms import Alarm, AlarmPhase, Priority
from services.console.desk.alarm_list import MAY, PHASES, per_day, place, raised, rate_words, silent, title, waiting
from services.console.sources import Annotation

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
DUBLIN = ZoneInfo("Europe/Dublin")


def alarm(
    name: str, phase: AlarmPhase = AlarmPhase.UNACKNOWLEDGED, priority: Priority = Priority.LOW, hours: int = 0
) -> Alarm:
    return Alarm(
        at=NOON, source="notifier", chamber="conical", name=name, phase=phase, priority=priority,
        since=NOON - timedelta(hours=hours), detail="", cause="", consequence="", response="",
    )  # fmt: skip


def said(name: str, days: float = 0, phase: str = "unacknowledged", priority: str = "high") -> Annotation:
    at_ms = round((NOON - timedelta(days=days)).timestamp() * 1000)
    return Annotation(f"{name}{days}", at_ms, "alarm", name, "conical", facts={"phase": phase, "priority": priority})


def test_what_nobody_has_seen_comes_first_then_what_is_urgent_then_what_is_old() -> None:
    alarms = [
        alarm("seen", AlarmPhase.ACKNOWLEDGED, Priority.CRITICAL),
        alarm("low-old", hours=9),
        alarm("low-new"),
        alarm("critical", priority=Priority.CRITICAL),
        alarm("shelved", AlarmPhase.SHELVED),
    ]
    assert [one.name for one in waiting(alarms)] == ["critical", "low-old", "low-new", "seen"]
    assert [one.name for one in silent(alarms)] == ["shelved"]


@pytest.mark.parametrize("phase", AlarmPhase)
def test_every_state_has_words(phase: AlarmPhase) -> None:
    assert PHASES[phase]


def test_every_state_that_stands_says_what_a_person_may_do() -> None:
    assert set(MAY) == set(AlarmPhase) - {AlarmPhase.NORMAL}
    assert all(MAY.values())


def test_names_are_told_as_people_say_them() -> None:
    assert title(alarm("door-open")) == "Door open"
    assert (place("site"), place("conical")) == ("the whole site", "conical")


def test_only_the_beginning_of_an_alarm_counts() -> None:
    found = raised([said("door-open", 1), said("door-open", 0.9, "acknowledged"), said("leak", 0)], DUBLIN)
    assert [one.name for one in found] == ["leak", "door-open"]


def test_alarms_are_counted_by_day_on_the_sites_clocks() -> None:
    found = raised([said("leak", 0), said("leak", 1, priority="low"), said("leak", 1)], DUBLIN)
    counts = per_day(found, date(2026, 3, 2), 3)
    assert [day for day, _ in counts] == ["Sat 28", "Sun 1", "Mon 2"]
    assert dict(counts[1][1]) == {Priority.CRITICAL: 0, Priority.HIGH: 1, Priority.MEDIUM: 0, Priority.LOW: 1}


def test_the_rate_is_told_with_what_came_most_often() -> None:
    assert rate_words([], 14) == "No alarm in 14 days."
    assert rate_words(raised([said("leak")], DUBLIN), 14) == "1 in 14 days, 0.1 a day."
    assert "most often leak in conical, 2 times" in rate_words(raised([said("leak"), said("leak", 1)], DUBLIN), 14)
