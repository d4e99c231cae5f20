"""The calendar in the world: a feed that other calendars read, and bells that ring through restarts."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar

from schemas.requests import SetChore
from services.scheduler.__main__ import part
from services.scheduler.bells import Bells
from services.scheduler.core import WAKE_TOPIC, SchedulerState
from services.scheduler.feed import feed
from services.scheduler.shell import FEED, Shell
from tests.scheduler.bench import MONDAY, PLANT, Bench, days, hours, profile
from tests.waiting import wait_until

LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)
FAR = datetime(2100, 1, 1, tzinfo=UTC)
STEPS = ("name: ferment, hold: 18 degC, for: 3 d, instruction: Pitch.", "name: crash, to: 2 degC, over: 16 h")


@pytest.fixture
def bench() -> Bench:
    bench = Bench()
    bench.start(profile(*STEPS, "name: serve, hold: 4 degC"))
    bench.ask(SetChore, chore="coolant-check")
    return bench


def calendar_of(bench: Bench) -> Calendar:
    core = bench.scheduler
    return Calendar.from_ical(feed("barn", core.batch_states, core.chores.chores.values(), bench.now))


def test_feed_has_every_step_whose_begin_is_known(bench: Bench) -> None:
    events = calendar_of(bench).walk("VEVENT")
    assert [str(one["summary"]) for one in events] == ["41-pale: ferment", "41-pale: crash", "41-pale: serve"]
    assert [one.decoded("dtstart") for one in events] == [MONDAY, MONDAY + days(3), MONDAY + hours(88)]
    assert [str(one["status"]) for one in events] == ["CONFIRMED", "TENTATIVE", "TENTATIVE"]


def test_feed_has_what_rfc_5545_demands(bench: Bench) -> None:
    """PRODID and VERSION once (3.6), UID and DTSTAMP in every component (3.6.1, 3.6.2), lines of 75 octets (3.1)."""
    found = calendar_of(bench)
    assert (str(found["version"]), "prodid" in found) == ("2.0", True)
    assert all("uid" in one and "dtstamp" in one for one in found.walk() if one.name != "VCALENDAR")
    core = bench.scheduler
    lines = feed("barn", core.batch_states, core.chores.chores.values(), bench.now).split(b"\r\n")
    assert max(len(line) for line in lines) <= 75


def test_event_keeps_its_id_when_its_time_moves(bench: Bench) -> None:
    before = {str(one["uid"]) for one in calendar_of(bench).walk("VEVENT")}
    bench.sleep(days(10))
    assert {str(one["uid"]) for one in calendar_of(bench).walk("VEVENT")} == before


def test_chores_are_to_dos(bench: Bench) -> None:
    (to_do,) = calendar_of(bench).walk("VTODO")
    assert (str(to_do["summary"]), to_do.decoded("due")) == ("Check the coolant", MONDAY + days(5) + hours(2))


@pytest.fixture
def bells(tmp_path: Path) -> Iterator[Bells]:
    bells = Bells(tmp_path / "jobs.sqlite", ZoneInfo("Europe/Dublin"))
    bells.rung()
    yield bells
    bells.close()


def test_bell_whose_time_has_come_rings_once(bells: Bells) -> None:
    bells.hang({"batch-41": LONG_AGO})
    heard: list[str] = []
    wait_until(lambda: heard.extend(bells.rung()) or heard == ["batch-41"], "the bell")
    assert bells.waiting == {}


def test_bells_to_come_survive_a_restart(tmp_path: Path, bells: Bells) -> None:
    bells.hang({"batch-41": FAR, "chore-lines": "Sat 10:00"})
    other = Bells(tmp_path / "jobs.sqlite", ZoneInfo("Europe/Dublin"))
    assert set(other.waiting) == {"batch-41", "chore-lines"}
    other.close()


def test_bell_of_a_step_that_moved_is_hung_anew(bells: Bells) -> None:
    bells.hang({"batch-41": FAR, "batch-42": FAR})
    bells.hang({"batch-41": FAR + timedelta(days=1)})
    assert bells.waiting == {"batch-41": FAR + timedelta(days=1)}


def test_shell_hangs_bells_and_writes_the_feed(tmp_path: Path, bench: Bench) -> None:
    shell = Shell(PLANT, tmp_path)
    core = shell.build(bench.scheduler.snapshot(), bench.now)
    list(core.start(bench.now))
    list(shell.poll(bench.now))
    assert b"SUMMARY:41-pale: ferment" in (tmp_path / FEED).read_bytes()
    assert set(core.timetable()) == {"batch-41-pale", "chore-coolant-check"}
    shell.close()


def test_shell_passes_a_bell_on_and_the_core_looks_what_is_due(tmp_path: Path) -> None:
    shell = Shell(PLANT, tmp_path)
    bench = Bench()
    bench.start(profile(*STEPS))
    core = shell.build(bench.scheduler.snapshot(), bench.now)
    list(core.start(bench.now))
    heard: list[object] = []
    wait_until(lambda: heard.extend(shell.poll(bench.now)) or bool(heard), "the bell")
    assert heard[0].topic == WAKE_TOPIC  # type: ignore[attr-defined]
    shell.close()


def test_part_for_life_knows_its_state_and_stays_subscribed(tmp_path: Path) -> None:
    made = part(PLANT, tmp_path)
    assert (made.state, made.persistent) == (SchedulerState, True)


@pytest.mark.filterwarnings("error::pytest.PytestUnhandledThreadExceptionWarning")
def test_bells_that_are_taken_down_while_they_ring_end_in_peace(tmp_path: Path) -> None:
    for number in range(60):
        bells = Bells(tmp_path / f"{number}.sqlite", PLANT.zone)
        bells.hang({f"bell-{one}": LONG_AGO for one in range(8)})
        bells.close()
