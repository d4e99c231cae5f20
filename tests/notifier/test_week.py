"""A week of alarms, and which of them are a nuisance themselves (ISA-18.2: chattering, stale), in digest and review."""

from datetime import UTC, datetime, timedelta

import pytest

from schemas.alarms import AlarmPhase
from schemas.plant_file import PlantFileError, loads
from schemas.requests import AcknowledgeAlarm, ShelveAlarm
from services.notifier.ledger import Ledger, LedgerState
from services.notifier.records import quiet_record
from services.notifier.register import Change
from services.notifier.review import main
from services.notifier.routes import hears_of_weeks, week_ended
from services.runtime.state import Saved, StateFile
from tests.notifier.bench import NOON, Bench, site_with

PEOPLE = {
    "ann": {"ways": {"mail": {"webhook": "http://a/x"}}},
    "ben": {"ways": {"phone": {"webhook": "http://b/x"}}},
}
ROUTES = [{"to": ["ann.mail"]}, {"to": ["ben.phone"], "priorities": ["critical"]}]
WELDED, DOOR = "relay-welded", "door-open"


def site(**notifier):
    return Bench(site_with(PEOPLE, {"routes": ROUTES, **notifier}))


def until(bench, moment):
    """Every ten minutes, all delivered at once."""
    while bench.now < moment:
        bench.deliver(10, step=10)
    return bench


SUNDAY = datetime(2026, 3, 8, 18, 0, tzinfo=UTC)
"""The first after the bench's Wednesday."""


def weeks(bench):
    return [one for one in bench.sent if one.subject.startswith("[week]")]


def test_a_week_ends_on_the_day_and_hour_that_the_plant_file_says():
    plant = site().plant
    assert week_ended(SUNDAY, plant) == SUNDAY
    assert week_ended(SUNDAY - timedelta(seconds=1), plant) == SUNDAY - timedelta(days=7)
    assert week_ended(SUNDAY + timedelta(days=6), plant) == SUNDAY


def test_a_week_ends_by_the_clocks_on_the_wall_in_summer_too():
    plant = loads(
        "site: {name: shed, timezone: Europe/Dublin}\n"
        "chambers: {left: {kind: fridge, probes: {beer: {measures: temperature, from: {simulated: true}}}}}\n",
        "shed.yaml",
    )
    assert week_ended(datetime(2026, 7, 6, tzinfo=UTC), plant) == datetime(2026, 7, 5, 17, 0, tzinfo=UTC)


def test_who_is_told_what_is_low_is_told_of_the_week_and_nobody_else():
    assert hears_of_weeks(site().plant) == ["ann.mail"]


def test_a_week_with_alarms_is_told_once_with_how_many_and_which():
    bench = site().condition(DOOR).deliver(30).condition(DOOR, active=False).deliver(30)
    until(bench, SUNDAY + timedelta(hours=3))
    (told,) = weeks(bench)
    assert told.member == "ann.mail"
    assert "1 alarms in seven days" in told.text
    assert "1: left: door open" in told.text


def test_a_week_without_an_alarm_is_not_told():
    assert weeks(until(site(), SUNDAY + timedelta(hours=1))) == []


def test_nobody_is_told_of_weeks_where_the_plant_file_says_never():
    bench = site(weekly="never").condition(DOOR).deliver(30)
    assert weeks(until(bench, SUNDAY + timedelta(hours=1))) == []


def test_an_alarm_that_stands_for_a_day_is_told_as_stale():
    bench = site().condition(DOOR).deliver(30)
    bench.ask(AcknowledgeAlarm, DOOR)
    (told,) = weeks(until(bench, SUNDAY + timedelta(minutes=20)))
    assert "Stale: left: door open, since Wed 04 Mar 12:00" in told.text


def chatter(bench):
    for _ in range(3):
        bench.condition(WELDED).deliver(1).condition(WELDED, active=False).deliver(12)
    return bench


def test_an_alarm_that_came_and_went_is_told_as_chattering():
    (told,) = weeks(until(chatter(site()), SUNDAY + timedelta(minutes=20)))
    assert "Chattered: left: relay will not switch off. Mend" in told.text


def test_what_is_set_aside_is_asked_after():
    bench = site().condition(DOOR).deliver(30)
    bench.ask(ShelveAlarm, DOOR, until=bench.now + timedelta(days=6), why="new seal on order")
    assert bench.phase(DOOR) is AlarmPhase.SHELVED
    (told,) = weeks(until(bench, SUNDAY + timedelta(minutes=20)))
    assert "Shelved: left: door open until Tue 10 Mar" in told.text


def test_a_week_is_told_once_though_the_notifier_is_restarted_at_every_tick():
    bench = site().condition(DOOR).deliver(30)
    until(bench, SUNDAY - timedelta(minutes=5))
    for _ in range(30):
        bench.deliver(1).restart()
    assert len({one.id for one in weeks(bench)}) == 1


def test_a_week_that_ended_while_the_power_was_off_is_told_late_and_once():
    bench = site().condition(DOOR).deliver(30)
    bench.now = SUNDAY + timedelta(days=2)
    bench.restart().deliver(30)
    assert len(weeks(bench)) == 1


def noted(ledger, at):
    ledger.note(Change(quiet_record("left", DOOR, at), "alarm-raised", "notifier", ""), at)


def test_what_is_older_than_a_week_is_forgotten():
    ledger = Ledger(LedgerState())
    for day in range(30):
        noted(ledger, NOON + timedelta(days=day))
    assert len(ledger.kept.days) == 7
    assert ledger.week(NOON + timedelta(days=29))["left", DOOR].raised == 7
    assert ledger.week(NOON + timedelta(days=60)) == {}


PLANT_FILE = """site: {name: shed}
chambers:
  left: {kind: fridge, probes: {beer: {measures: temperature, from: {simulated: true}}}}
  right: {kind: fridge, probes: {beer: {measures: temperature, from: {simulated: true}}}}
"""


def test_the_review_of_a_site_with_its_state_shows_chattering_and_stale_alarms(tmp_path):
    bench = chatter(site().condition(DOOR).deliver(30)).deliver(25 * 60, step=10)
    (tmp_path / "shed.yaml").write_text(PLANT_FILE)
    state = Saved(snapshot=bench.notifier.snapshot().model_dump(mode="json"))
    StateFile(tmp_path / "notifier.json", Saved).save(state)
    report = main(str(tmp_path / "shed.yaml"), str(tmp_path))
    assert "How the alarms behaved in the last week" in report
    assert "Stale: left: door open, since" in report


def test_the_review_without_a_state_says_only_what_holds(tmp_path):
    (tmp_path / "shed.yaml").write_text(PLANT_FILE)
    assert "behaved" not in main(str(tmp_path / "shed.yaml"))


@pytest.mark.parametrize("written", ["sunday 18:00", "sun", "sun 25:00"])
def test_a_week_that_ends_at_no_time_is_refused(written):
    with pytest.raises(PlantFileError, match="weekly"):
        loads(f"notifier: {{weekly: '{written}'}}\n{PLANT_FILE}", "shed.yaml")
