"""Local times of day, in the weeks when clocks are set too."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import DAILY, rrule
from hypothesis import given
from hypothesis import strategies as st

from schemas.ends import days_and_time
from services.scheduler import calendar

DUBLIN, LORD_HOWE = ZoneInfo("Europe/Dublin"), ZoneInfo("Australia/Lord_Howe")
ZONES = [DUBLIN, ZoneInfo("America/Chicago"), LORD_HOWE, ZoneInfo("UTC")]


def occurrences(written: str, zone: ZoneInfo, start: datetime, count: int) -> list[datetime]:
    found = [calendar.at_or_after(written, zone, start)]
    while len(found) < count:
        found.append(calendar.after(written, zone, found[-1]))
    return found


def test_friday_evening_is_the_first_one_to_come() -> None:
    wednesday = datetime(2026, 11, 25, 10, tzinfo=UTC)
    assert calendar.at_or_after("Fri 18:00", DUBLIN, wednesday) == datetime(2026, 11, 27, 18, tzinfo=UTC)


def test_moment_itself_counts_and_the_one_after_it_does_not() -> None:
    friday = datetime(2026, 11, 27, 18, tzinfo=UTC)
    assert calendar.at_or_after("Fri 18:00", DUBLIN, friday) == friday
    assert calendar.after("Fri 18:00", DUBLIN, friday) == friday + timedelta(days=7)


def test_summer_time_moves_the_moment_not_the_clock() -> None:
    found = occurrences("18:00", DUBLIN, datetime(2026, 3, 28, tzinfo=UTC), 2)
    assert [one.hour for one in found] == [18, 17]


@pytest.mark.parametrize("written", ["01:30", "01:00", "00:59", "02:00"])
def test_time_that_comes_twice_in_autumn_counts_once(written: str) -> None:
    found = occurrences(written, DUBLIN, datetime(2026, 10, 24, 12, tzinfo=UTC), 3)
    assert [one.astimezone(DUBLIN).day for one in found] == [25, 26, 27]


def test_time_that_is_skipped_in_spring_comes_an_hour_later_by_the_new_time() -> None:
    found = calendar.at_or_after("01:30", DUBLIN, datetime(2026, 3, 28, 12, tzinfo=UTC))
    assert found.astimezone(DUBLIN).strftime("%d %H:%M") == "29 02:30"


@given(
    zone=st.sampled_from(ZONES),
    minute=st.integers(0, 24 * 60 - 1),
    day=st.integers(0, 365),
)
def test_every_local_time_comes_once_a_day_the_year_round(zone: ZoneInfo, minute: int, day: int) -> None:
    start = datetime(2026, 1, 1, 12, tzinfo=zone).astimezone(UTC) + timedelta(days=day)
    found = occurrences(f"{minute // 60:02}:{minute % 60:02}", zone, start, 4)
    dates = [one.astimezone(zone).date() for one in found]
    assert [(later - earlier).days for earlier, later in zip(dates, dates[1:], strict=False)] == [1, 1, 1]


@given(minute=st.integers(4 * 60, 24 * 60 - 1), day=st.integers(0, 365))
def test_ordinary_times_agree_with_a_recurrence_rule_of_rfc_5545(minute: int, day: int) -> None:
    """dateutil's rule works on the wall clock; only times outside the hours of change can be compared."""
    start = datetime(2026, 1, 1, 4) + timedelta(days=day)
    rule = rrule(DAILY, dtstart=start.replace(hour=minute // 60, minute=minute % 60), count=3)
    wanted = [one.replace(tzinfo=DUBLIN).astimezone(UTC) for one in rule]
    begin = start.replace(tzinfo=DUBLIN).astimezone(UTC)
    assert occurrences(f"{minute // 60}:{minute % 60:02}", DUBLIN, begin, 3) == wanted


@pytest.mark.parametrize(
    ("written", "days"),
    [("Fri 18:00", "fri"), ("Mon-Thu 07:30", "mon-thu"), ("Sat,Sun 10:00", "sat,sun"), ("18:00", "*")],
)
def test_days_are_read_as_people_write_them(written: str, days: str) -> None:
    assert days_and_time(written)[0] == days


@pytest.mark.parametrize("written", ["", "Friday", "Fri", "Fri 25:00", "Fry 18:00", "18", "18:60", "Fri 18:00 h"])
def test_what_is_no_local_time_is_refused_with_an_example(written: str) -> None:
    with pytest.raises(ValueError, match="write it like 'Fri 18:00'"):
        days_and_time(written)


def test_date_without_an_offset_is_meant_by_the_sites_clocks() -> None:
    assert calendar.in_zone(datetime(2026, 7, 1, 18), DUBLIN) == datetime(2026, 7, 1, 17, tzinfo=UTC)
